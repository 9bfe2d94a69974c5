"""Earthwork by the handbooks: from end areas, from corner heights, from prisms. For records and for checks of the cells.

source : average end area, prismoidal rule (Simpson) and unit areas as in surveying handbooks
"""

from __future__ import annotations

from typing import Sequence

import numpy as np


def end_areas(stations_m: Sequence[float], areas_m2: Sequence[float]) -> float:
    """Volume between cross-sections by the average of their areas; a pyramid where one of them is nothing, m3."""
    s, a = np.asarray(stations_m, float), np.asarray(areas_m2, float)
    one, other = a[:-1], a[1:]
    mean = np.where((one == 0) | (other == 0), (one + other) / 3, (one + other) / 2)
    return float((np.diff(s) * mean).sum())


def prismoidal(length: float, first: float, middle: float, last: float) -> float:
    """L (A1 + 4 Am + A2) / 6."""
    return length * (first + 4 * middle + last) / 6


def unit_areas(heights: np.ndarray, area: float) -> float:
    """Borrow pit over a lattice of squares: A / 4 (S1 + 2 S2 + 3 S3 + 4 S4), S_k the heights that k squares share.

    heights : (ny, nx) at the corners, NaN where there is none; a square counts whose four corners are given
    """
    held = np.isfinite(heights)
    square = held[:-1, :-1] & held[1:, :-1] & held[:-1, 1:] & held[1:, 1:]
    used = np.zeros(heights.shape, int)
    for di in (0, 1):
        for dj in (0, 1):
            used[di : di + square.shape[0], dj : dj + square.shape[1]] += square
    return float(area / 4 * (used * np.nan_to_num(heights)).sum())
