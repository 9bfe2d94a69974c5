"""What the points of each cell hold beside their height: colour, intensity, scatter, as sums that can be pooled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frame import Grid
from pipeline.survey.points import TICK_M, Ground

MM_PER_TICK = TICK_M * 1000


@dataclass(frozen=True)
class CellSums:
    """Sums over the points of each cell of a grid; integers held as floats, so that no order of points changes a bit.

    count     : (ny, nx) points
    rgb       : (ny, nx, 3) sum of red, green, blue, or None without colour
    intensity : (ny, nx) sum of intensity, or None without it
    scatter   : (ny, nx) sum of squares of the heights about their cell's mean, mm2
    """

    count: np.ndarray
    rgb: np.ndarray | None
    intensity: np.ndarray | None
    scatter: np.ndarray


def cell_sums(ground: Ground, grid: Grid) -> CellSums:
    """Sum a survey's ground points by cell; points beside the grid are left out.

    ground : its origin is the grid's south-west corner
    """
    row, col = _cells(ground, grid)
    on = grid.holds(row, col)
    cell = (row * grid.nx + col)[on]

    def summed(values: np.ndarray | None) -> np.ndarray:
        return np.bincount(cell, None if values is None else values[on], grid.ny * grid.nx).reshape(grid.shape).astype(float)

    count = summed(None)
    rgb = intensity = None
    if ground.rgb is not None:
        rgb = np.stack([summed(ground.rgb[:, k].astype(float)) for k in range(3)], axis=-1)
    if ground.intensity is not None:
        intensity = summed(ground.intensity.astype(float))
    # Whole tenths of a millimetre below 2^26 squared and summed stay whole in a float.
    z = ground.z.astype(float)
    total = summed(z)
    middle = np.rint(total / np.maximum(count, 1))
    off = np.zeros(len(z))
    off[on] = z[on] - middle.ravel()[cell]
    first, second = summed(off), summed(off * off)
    return CellSums(count, rgb, intensity, np.maximum(second - first**2 / np.maximum(count, 1), 0.0) * MM_PER_TICK**2)


def pooled(values: np.ndarray, chosen: np.ndarray, half: int) -> np.ndarray:
    """Sums of the chosen cells over squares of 2 half + 1 cells about each, the shape of values."""
    held = np.where(chosen if values.ndim == 2 else chosen[..., None], values, 0.0)
    for axis in (0, 1):
        padded = np.concatenate([np.zeros_like(held.take([0], axis)), held.cumsum(axis=axis)], axis=axis)
        at = np.arange(held.shape[axis])
        high, low = np.minimum(at + half + 1, held.shape[axis]), np.maximum(at - half, 0)
        held = padded.take(high, axis) - padded.take(low, axis)
    return held


def _cells(ground: Ground, grid: Grid) -> tuple[np.ndarray, np.ndarray]:
    """Row and column of every point."""
    side = grid.cell_m / TICK_M
    return grid.ny - 1 - np.floor(ground.y / side).astype(np.int64), np.floor(ground.x / side).astype(np.int64)
