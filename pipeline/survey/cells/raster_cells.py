"""A raster that somebody else gridded, brought onto the field's grid: cell means of its pixel centres."""

from __future__ import annotations

import numpy as np

from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.survey.points import TICK_M, Ground


def means(ground: Ground, grid: Grid) -> tuple[np.ndarray, np.ndarray]:
    """Mean height of the pixel centres in each cell, (ny, nx), m, NaN where there is none; and their number, uint32."""
    row = (round((grid.north - ground.south) / TICK_M) - ground.y.astype(np.int64)) // round(grid.cell_m / TICK_M)
    col = ground.x.astype(np.int64) // round(grid.cell_m / TICK_M)
    on = grid.holds(row, col)
    index = row[on] * grid.nx + col[on]
    count = np.bincount(index, minlength=grid.ny * grid.nx)
    total = np.bincount(index, weights=ground.z[on].astype(float), minlength=grid.ny * grid.nx)  # whole ticks: exact
    with np.errstate(invalid="ignore"):
        z = np.where(count > 0, ground.z0 + total / np.maximum(count, 1) * TICK_M, np.nan)
    return z.reshape(grid.shape), count.astype(np.uint32).reshape(grid.shape)


def require_fine_enough(pixel_m: float, cell_m: float, name: str) -> None:
    """Raise Refused `too_sparse` where a raster's pixels are larger than the cell: nothing is made finer than it is."""
    if pixel_m > cell_m * 1.001:
        raise Refused(
            "too_sparse",
            f"{name}: found pixels of {pixel_m:.3g} m; expected at most the cell, {cell_m:g} m. Ask for the finer raster or the "
            f"points behind it, or set cell_size_m to {np.ceil(pixel_m * 100 - 1e-6) / 100:g} in config.yaml.",
        )
