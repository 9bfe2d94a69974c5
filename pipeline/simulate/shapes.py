"""Cross-sections: how grass begins, how mix lies in it, how a mound stands."""

from __future__ import annotations

import numpy as np

from pipeline.diamond.dimensions import PLATE_BEHIND_CENTRE_M, Dimensions
from pipeline.units import inches

TABLE_LONG_M, TABLE_WIDE_M = inches(34), inches(60)  # flat top, 5 ft x 34 in (rule diagrams)
FLAT_AHEAD_M = inches(6)  # the front slope begins 6 in before the pitcher's plate (rule 2.01)
FRONT_SLOPE = 1.0 / 12.0  # 1 in per ft (rule 2.01)


def smoothstep(t: np.ndarray) -> np.ndarray:
    """0 below 0, 1 above 1, 3 t^2 - 2 t^3 between."""
    t = np.clip(t, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def bump(d: np.ndarray, crest: np.ndarray, inside: np.ndarray, outside: np.ndarray) -> np.ndarray:
    """A lip's section, 1 at its crest: exp(-|x/w|^2.3), x = d - crest, w = `inside` toward the skin, else `outside`."""
    x = np.asarray(d, float) - crest
    return np.exp(-(np.abs(x / np.where(x < 0, inside, outside)) ** 2.3))


def cover(d: np.ndarray) -> np.ndarray:
    """Share of the ground that grass covers at distance d into it: rises over 0.12 m from 0.02 m before the edge."""
    return smoothstep((np.asarray(d, float) + 0.02) / 0.12)


def skin_share(d: np.ndarray) -> np.ndarray:
    """1 on the skin, 0 in the grass, smooth over 0.15 m: how far a change of the skin reaches at the edge."""
    return 1.0 - smoothstep((np.asarray(d, float) + 0.10) / 0.15)


def mound(x: np.ndarray, y: np.ndarray, size: Dimensions, table_m: float) -> np.ndarray:
    """Height of the mound over the ground around it at diamond coordinates, (n,), m.

    table_m : height of the flat top. In front it falls 1 in per ft from 6 in before the plate; elsewhere evenly along
    the straight way from the table to the circle. On level ground a 10 in mound of 18 ft is both on its middle line.
    """
    front = size.pitch_m - FLAT_AHEAD_M
    dx = np.sign(x) * np.maximum(np.abs(x) - TABLE_WIDE_M / 2, 0.0)
    dy = np.maximum(y - front - TABLE_LONG_M, 0.0) - np.maximum(front - y, 0.0)
    to_table = np.hypot(dx, dy)
    away = np.where(to_table > 0, to_table, 1.0)
    cx, cy = x, y - (size.pitch_m - PLATE_BEHIND_CENTRE_M)
    outward = (cx * dx + cy * dy) / away
    inside = size.mound_m**2 - cx**2 - cy**2
    to_rim = np.where(inside > 0, np.sqrt(np.maximum(outward**2 + inside, 0.0)) - outward, 0.0)
    even = table_m * np.where(to_rim > 0, to_rim / np.where(to_rim > 0, to_rim + to_table, 1.0), 0.0)
    ahead = table_m - FRONT_SLOPE * np.maximum(front - y, 0.0)
    return np.maximum(np.minimum(even, ahead), 0.0)
