"""Plants on the skin without colour: where the ground is rougher than the skin is elsewhere, or stands up in a small patch.

Neither is plants for sure: a heap of mix stands up too, and low or smooth plants do neither.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.survey.cells.cell_sums import CellSums, pooled

ROUGHER = 2.0  # variance of a point's height over the skin's own
SURE = 4.0  # s.d.
WIDE_M = 2.5  # what stands up and is wider is taken for the ground
STANDS_M = 0.020  # less than so much is what drags and feet leave
SMOOTH_M = 0.15
LEAST_POINTS = 20  # pooled, for a scatter to say anything


def standing_out(sums: CellSums, z: np.ndarray, skin: np.ndarray, cell_m: float, half: int) -> np.ndarray:
    """Cells of the skin that are rough or stand up, (ny, nx) bool.

    z    : height, (ny, nx), m; NaN where nothing was measured
    skin : (ny, nx) bool
    half : cells to either hand over which scatter is pooled
    """
    return skin & (_rough(sums, skin, half) | _up(z, skin, cell_m))


def roughness(sums: CellSums, skin: np.ndarray, half: int) -> tuple[np.ndarray, np.ndarray]:
    """Variance of a point's height over the bare skin's own, pooled, and its freedom, (ny, nx); NaN where too few points fell."""
    held = skin & (sums.count >= 2)
    freedom = pooled(sums.count - 1, held, half)
    with np.errstate(invalid="ignore", divide="ignore"):
        variance = pooled(sums.scatter, held, half) / freedom
    variance = np.where(freedom >= LEAST_POINTS, variance, np.nan)
    own = variance[skin & np.isfinite(variance)]
    if len(own) == 0:
        return variance, freedom
    low = np.quantile(own, 0.25)  # half of the smoother half: plants make rougher, nothing makes smoother
    return variance / max(float(low), 1e-9), freedom


def _rough(sums: CellSums, skin: np.ndarray, half: int) -> np.ndarray:
    ratio, freedom = roughness(sums, skin, half)
    with np.errstate(invalid="ignore"):
        return ratio > np.maximum(ROUGHER, 1.0 + SURE * np.sqrt(2.0 / np.maximum(freedom, 1.0)))


def _up(z: np.ndarray, skin: np.ndarray, cell_m: float) -> np.ndarray:
    """Patches narrower than WIDE_M that stand STANDS_M over what lies around: heights less their opening."""
    held = skin & np.isfinite(z)
    if not held.any():
        return np.zeros(z.shape, bool)
    share = ndimage.gaussian_filter(held.astype(float), SMOOTH_M / cell_m)
    level = float(np.median(z[held]))
    smooth = np.where(held, ndimage.gaussian_filter(np.where(held, z - level, 0.0), SMOOTH_M / cell_m) / np.maximum(share, 1e-6), np.nan)
    smooth = smooth - _trend(smooth, held)
    reach = max(int(round(WIDE_M / cell_m / 2)), 1)
    y, x = np.ogrid[-reach : reach + 1, -reach : reach + 1]
    disc = x * x + y * y <= reach * reach
    spacing = max(1, reach // 6)  # a disc of so many cells thinned: its rim and rings decide
    disc = disc & (((x % spacing == 0) & (y % spacing == 0)) | (x * x + y * y >= (reach - spacing) ** 2))
    lowest = ndimage.minimum_filter(np.where(held, smooth, np.inf), footprint=disc, mode="constant", cval=np.inf)
    opened = ndimage.maximum_filter(np.where(held & np.isfinite(lowest), lowest, -np.inf), footprint=disc, mode="constant", cval=-np.inf)
    with np.errstate(invalid="ignore"):
        over = np.where(held & np.isfinite(opened), smooth - opened, 0.0)
    return over > STANDS_M + _usual(over, held)


def _usual(over: np.ndarray, held: np.ndarray) -> float:
    """What noise and drag marks alone stand up by: the median over the skin."""
    return float(np.median(over[held]))


def _trend(smooth: np.ndarray, held: np.ndarray) -> np.ndarray:
    """Least-squares plane, so that a slope is no step."""
    row, col = np.nonzero(held)
    a = np.column_stack([np.ones(len(row)), row - row.mean(), col - col.mean()])
    b = np.linalg.lstsq(a, smooth[held], rcond=None)[0]
    rows, cols = np.ogrid[: smooth.shape[0], : smooth.shape[1]]
    return b[0] + b[1] * (rows - row.mean()) + b[2] * (cols - col.mean())
