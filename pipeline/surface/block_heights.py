"""A raster in blocks: means and medians of k x k cells, and heights smoothed without leaking over an edge.

Blocks stand on whole multiples of the block size in the working CRS, so that they keep their place when the extent
of a field changes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from pipeline.frame import Grid

LEAST_SHARE = 0.5  # a block with fewer of its cells measured is empty
EVEN_MEDIAN = 2.5  # the mean of the two middle values scatters less
TRUNCATE = 4.0  # s.d. at which the smoothing kernel ends


@dataclass(frozen=True)
class BlockHeights:
    """Block values of a raster.

    grid  : of the blocks
    value : (ny, nx) mean or median of the cells taken, m; NaN where too few were
    white : one s.d. of the value's independent error, same shape, m; NaN where value is
    count : cells taken, same shape, int
    cells : cells of a whole block
    """

    grid: Grid
    value: np.ndarray
    white: np.ndarray
    count: np.ndarray
    cells: int

    @property
    def held(self) -> np.ndarray:
        return np.isfinite(self.value)


def block_grid(grid: Grid, factor: int) -> tuple[Grid, int, int]:
    """The grid of blocks of factor x factor cells over a grid, and the rows and columns of padding north and west."""
    row0, col0 = -(-grid.row0 // factor), grid.col0 // factor
    north, west = row0 * factor - grid.row0, grid.col0 - col0 * factor
    ny, nx = -(-(grid.ny + north) // factor), -(-(grid.nx + west) // factor)
    return Grid(grid.crs, col0, row0, grid.cell_m * factor, ny, nx), north, west


def block_of(cells: np.ndarray, grid: Grid, factor: int) -> np.ndarray:
    """Flat index of the block that each cell (flat index) lies in."""
    out, north, west = block_grid(grid, factor)
    return (cells // grid.nx + north) // factor * out.nx + (cells % grid.nx + west) // factor


def stacked(values: np.ndarray, grid: Grid, factor: int, empty) -> np.ndarray:
    """The cells of each block along the last axis, (ny, nx, factor * factor); `empty` beyond the raster."""
    out, north, west = block_grid(grid, factor)
    padded = np.full((out.ny * factor, out.nx * factor), empty, dtype=values.dtype)
    padded[north : north + grid.ny, west : west + grid.nx] = values
    cut = padded.reshape(out.ny, factor, out.nx, factor).swapaxes(1, 2)
    return np.ascontiguousarray(cut).reshape(out.ny, out.nx, factor * factor)


def blocks(
    z: np.ndarray, grid: Grid, factor: int, white: np.ndarray, chosen: np.ndarray | None = None, median: bool = False
) -> BlockHeights:
    """Block means (or medians) of the measured cells.

    z      : (ny, nx), m; NaN where nothing was measured
    white  : one s.d. of each cell's independent error, same shape, m
    chosen : cells that may take part, bool; None: all
    source : variance of a median of n normals, pi n / (2 n + pi - 2) times that of their mean for odd n (exact for 1,
             pi / 2 for many), EVEN_MEDIAN in place of pi - 2 for even n: s.d. within 2 % (checked in the tests)
    """
    cells = stacked(np.where(True if chosen is None else chosen, z, np.nan), grid, factor, np.nan)
    held = np.isfinite(cells)
    count = held.sum(axis=-1)
    enough = count >= LEAST_SHARE * factor**2
    n = np.maximum(count, 1)
    if median:
        ordered = np.sort(cells, axis=-1)  # NaN last
        low, high = ((n - 1) // 2)[..., None], (n // 2)[..., None]
        value = 0.5 * (np.take_along_axis(ordered, low, -1) + np.take_along_axis(ordered, high, -1))[..., 0]
        dearer = np.pi * n / (2 * n + np.where(n % 2 == 1, np.pi - 2, EVEN_MEDIAN))
    else:
        value = np.where(held, cells, 0.0).sum(axis=-1) / n
        dearer = 1.0
    own = np.where(held, stacked(np.asarray(white, float), grid, factor, np.nan), 0.0)
    sigma = np.sqrt(dearer * (own**2).sum(axis=-1)) / n
    return BlockHeights(
        block_grid(grid, factor)[0], np.where(enough, value, np.nan), np.where(enough, sigma, np.nan), count, factor**2
    )  # fmt: skip


def block_share(mask: np.ndarray, grid: Grid, factor: int) -> np.ndarray:
    """Share of each block's cells that a mask holds, (ny, nx), 0 to 1."""
    return stacked(np.asarray(mask, bool), grid, factor, False).mean(axis=-1)


class Smoother:
    """Smoothed heights over the measured cells of one mask, for as many rasters as wanted.

    held    : (ny, nx) bool, cells with a height
    cell_m  : cell size, m
    sd_m    : s.d. of the Gaussian kernel, m; 0 leaves the heights as they are
    twice   : add the smoothed remainder once more (twicing, Tukey 1977, from memory): the kernel has no second moment,
              so that hollows keep their depth. A Gaussian of 0.15 m alone takes 2 mm off pits 0.7-2 m wide (measured)
    """

    def __init__(self, held: np.ndarray, cell_m: float, sd_m: float, twice: bool = False):
        self.held, self.sd_cells, self.twice = held, sd_m / cell_m, twice
        self.share = np.where(held, self._spread(held.astype(float)), 1.0)

    def _spread(self, values: np.ndarray) -> np.ndarray:
        return gaussian_filter(values, self.sd_cells, mode="constant", truncate=TRUNCATE) if self.sd_cells else values

    def _mean(self, values: np.ndarray) -> np.ndarray:
        return np.where(self.held, self._spread(np.where(self.held, values, 0.0)) / self.share, 0.0)

    def errors(self, e: np.ndarray) -> np.ndarray:
        """Errors as the smoothing of heights passes them on; 0 where nothing is held."""
        once = self._mean(e)
        return once + self._mean(np.where(self.held, e, 0.0) - once) if self.twice else once

    def heights(self, z: np.ndarray) -> np.ndarray:
        """Smoothed heights, NaN where nothing is held.

        The least-squares plane is taken off and put back: at an edge the kernel is one-sided and would otherwise
        raise or lower sloping ground by 1.2 mm per % at 0.15 m.
        """
        plane = self._plane(z)
        return np.where(self.held, plane + self.errors(np.where(self.held, z, 0.0) - plane), np.nan)

    def _plane(self, z: np.ndarray) -> np.ndarray:
        """Least-squares plane over the held cells, (ny, nx). Plain sums do not depend on the number of threads."""
        row, col = np.nonzero(self.held)
        if len(row) == 0:
            return np.zeros_like(z)
        r, c, z0 = row - row.mean(), col - col.mean(), z[self.held].mean()
        h = z[self.held] - z0
        normal = np.array([[(r * r).sum(), (r * c).sum()], [(r * c).sum(), (c * c).sum()]])
        b = np.linalg.pinv(normal, rcond=1e-12, hermitian=True) @ np.array([(r * h).sum(), (c * h).sum()])
        rows, cols = np.ogrid[: z.shape[0], : z.shape[1]]
        return z0 + b[0] * (rows - row.mean()) + b[1] * (cols - col.mean())
