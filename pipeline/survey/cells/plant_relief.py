"""Plants on the skin without colour: where the ground is rougher than the skin is elsewhere, or stands up in a small patch.

Neither is plants for sure: a heap of mix stands up too, and low or smooth plants do neither.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.survey.cells.cell_sums import CellSums, pooled

ROUGHER = 2.0  # variance of a point's height over the skin's own
SURE = 4.0  # s.d. of the skin's own roughness from place to place: real ground is not rough alike everywhere
WIDE_M = 2.5  # what stands up and is wider is taken for the ground
STANDS_M = 0.020  # less than so much is what drags and feet leave
SMOOTH_M = 0.15
USUAL = 2.0  # times what the median cell stands up by
SMOOTH_PART = 0.35  # of the skin is smoother than its own roughness is read at: plants over half of it do not move that much
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
    return variance / max(float(np.quantile(own, SMOOTH_PART)), 1e-9), freedom


def _rough(sums: CellSums, skin: np.ndarray, half: int) -> np.ndarray:
    """Rougher than the smoother part of the skin by SURE of what that part scatters by, read below its middle: plants make
    rougher, nothing makes smoother."""
    ratio, _ = roughness(sums, skin, half)
    with np.errstate(invalid="ignore", divide="ignore"):
        log = np.log(ratio)
    own = log[skin & np.isfinite(log)]
    if len(own) == 0:
        return np.zeros(skin.shape, bool)
    spread = 1.4826 * float(np.median(-own[own < 0])) if (own < 0).any() else 0.0
    with np.errstate(invalid="ignore"):
        return log > max(np.log(ROUGHER), SURE * spread)


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
    return over > STANDS_M + USUAL * float(np.median(over[held]))  # noise and drag marks stand up too


def _trend(smooth: np.ndarray, held: np.ndarray) -> np.ndarray:
    """Least-squares plane, so that a slope is no step."""
    row, col = np.nonzero(held)
    a = np.column_stack([np.ones(len(row)), row - row.mean(), col - col.mean()])
    b = np.linalg.lstsq(a, smooth[held], rcond=None)[0]
    rows, cols = np.ogrid[: smooth.shape[0], : smooth.shape[1]]
    return b[0] + b[1] * (rows - row.mean()) + b[2] * (cols - col.mean())
