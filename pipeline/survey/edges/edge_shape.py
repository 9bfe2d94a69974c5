"""The shapes a height profile takes across a grass edge; d is the distance from the edge, + in the grass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SHARPNESS = 2.3  # exponent of the bump's flanks: between a bell (2) and a box


@dataclass(frozen=True)
class Bump:
    """Where a lip stands and how wide it is, m.

    crest : distance of the crest from the edge, + in the grass
    w_in  : half-width of the flank toward the skin
    w_out : half-width of the flank toward the turf
    """

    crest: float = 0.13
    w_in: float = 0.13
    w_out: float = 0.30


DEFAULT_BUMP = Bump()  # the middle of what lips look like: what is assumed where no lip is seen


def smoothstep(t: np.ndarray) -> np.ndarray:
    """3 t^2 - 2 t^3, 0 below t = 0, 1 above t = 1; same shape as t."""
    t = np.clip(np.asarray(t, float), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def ramp(d: np.ndarray, start_m: float = -0.02, width_m: float = 0.12) -> np.ndarray:
    """How grass cover rises across an edge: 0 up to start_m, 1 from start_m + width_m on; same shape as d.

    A rover's pole and its own scatter blur it: there start_m = -0.05, width_m = 0.25.
    """
    return smoothstep((np.asarray(d, float) - start_m) / width_m)


def bump(d: np.ndarray, shape: Bump = DEFAULT_BUMP) -> np.ndarray:
    """A lip of unit height: exp(-|x / w|^2.3), x = d - crest, w = w_in before the crest, w_out beyond it."""
    x = np.asarray(d, float) - shape.crest
    width = np.where(x < 0, shape.w_in, shape.w_out)
    return np.exp(-np.abs(x / width) ** SHARPNESS)
