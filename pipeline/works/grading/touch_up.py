"""Only what is out of tolerance: each low spot filled to the plane of the ground around it, nothing else touched.

source : the plane through a ring of sound ground, least squares; as a crew does with a string across the hollow
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from pipeline.survey.plane import fit_plane

LEAST_RING = 30  # cells of sound ground around a hollow, fewer make no plane


@dataclass(frozen=True)
class Hollow:
    """e, n (m), inner: the ground to be filled lies within; ring_in, ring_out: the ground its plane is laid through, m."""

    name: str
    e: float
    n: float
    inner_m: float
    ring_in_m: float
    ring_out_m: float


def touched_up(z: np.ndarray, e: np.ndarray, n: np.ndarray, sound: np.ndarray, hollows: Sequence[Hollow]) -> tuple[np.ndarray, tuple[str, ...]]:
    """Heights after filling, (ny, nx), m, and the hollows for which there was not enough sound ground around.

    z, e, n : (ny, nx), m; sound: bool, ground that may be read and filled
    Where two hollows meet the higher plane stands.
    """
    out, left = z.copy(), []
    held = sound & np.isfinite(z)
    others = np.zeros(z.shape, bool)
    for h in hollows:
        others |= np.hypot(e - h.e, n - h.n) <= h.inner_m
    for h in hollows:
        away = np.hypot(e - h.e, n - h.n)
        ring = held & (away >= h.ring_in_m) & (away <= h.ring_out_m) & ~others
        if ring.sum() < LEAST_RING:
            left.append(h.name)
            continue
        inside = held & (away <= h.inner_m)
        out[inside] = np.maximum(out[inside], fit_plane(e[ring], n[ring], z[ring]).at(e[inside], n[inside]))
    return out, tuple(left)
