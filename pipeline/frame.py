"""The field's one fixed grid, and a surface on it.

A `Grid` is a value: two grids are equal or they are not, there is no "nearly". Row 0 is north.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.errors import GridMismatch


@dataclass(frozen=True)
class Grid:
    """A north-up grid whose edges are whole multiples of the cell.

    crs       : the working CRS, "EPSG:6564" or WKT; its unit is the metre
    col0,row0 : the west edge is col0 * cell_m, the north edge is row0 * cell_m
    cell_m    : cell size, m
    ny, nx    : rows (north to south), columns (west to east)
    """

    crs: str
    col0: int
    row0: int
    cell_m: float
    ny: int
    nx: int

    @property
    def west(self) -> float:
        return round(self.col0 * self.cell_m, 6)

    @property
    def north(self) -> float:
        return round(self.row0 * self.cell_m, 6)

    @property
    def east(self) -> float:
        return round((self.col0 + self.nx) * self.cell_m, 6)

    @property
    def south(self) -> float:
        return round((self.row0 - self.ny) * self.cell_m, 6)

    @property
    def shape(self) -> tuple[int, int]:
        return self.ny, self.nx

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """west, south, east, north, m."""
        return self.west, self.south, self.east, self.north

    @property
    def cell_area_m2(self) -> float:
        return self.cell_m**2

    @classmethod
    def covering(cls, bounds: tuple[float, float, float, float], crs: str, cell_m: float) -> Grid:
        """The smallest grid over `bounds` (west, south, east, north, m)."""
        west, south, east, north = bounds
        eps = 1e-6  # of a cell: a bound on a cell edge buys no further cell, also at 2,000,000 m
        col0, row0 = math.floor(west / cell_m + eps), math.ceil(north / cell_m - eps)
        nx = math.ceil(east / cell_m - eps) - col0
        ny = row0 - math.floor(south / cell_m + eps)
        return cls(crs, col0, row0, cell_m, max(ny, 1), max(nx, 1))

    def centres(self) -> tuple[np.ndarray, np.ndarray]:
        """Eastings (nx,) and northings (ny,) of the cell centres, m."""
        e = self.west + (np.arange(self.nx) + 0.5) * self.cell_m
        n = self.north - (np.arange(self.ny) + 0.5) * self.cell_m
        return e, n

    def mesh(self) -> tuple[np.ndarray, np.ndarray]:
        """Eastings and northings of the cell centres, each (ny, nx), m."""
        e, n = self.centres()
        return np.broadcast_to(e, self.shape), np.broadcast_to(n[:, None], self.shape)

    def rows_cols(self, e: np.ndarray, n: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Row and column of each point, int; may lie outside the grid (see `holds`)."""
        col = np.floor((np.asarray(e) - self.west) / self.cell_m).astype(np.int64)
        row = np.floor((self.north - np.asarray(n)) / self.cell_m).astype(np.int64)
        return row, col

    def holds(self, row: np.ndarray, col: np.ndarray) -> np.ndarray:
        """True where a row and column lie on the grid."""
        return (row >= 0) & (row < self.ny) & (col >= 0) & (col < self.nx)

    def mask(self, polygon) -> np.ndarray:
        """Cells whose centre lies inside a shapely polygon, bool (ny, nx)."""
        import shapely

        if polygon is None or polygon.is_empty:
            return np.zeros(self.shape, bool)
        out = np.zeros(self.shape, bool)
        west, south, east, north = polygon.bounds
        r0 = max(int((self.north - north) / self.cell_m) - 1, 0)
        r1 = min(int((self.north - south) / self.cell_m) + 2, self.ny)
        c0 = max(int((west - self.west) / self.cell_m) - 1, 0)
        c1 = min(int((east - self.west) / self.cell_m) + 2, self.nx)
        if r0 >= r1 or c0 >= c1:
            return out
        e, n = self.centres()
        ee, nn = np.meshgrid(e[c0:c1], n[r0:r1])
        shapely.prepare(polygon)
        out[r0:r1, c0:c1] = shapely.contains_xy(polygon, ee, nn)
        return out


@dataclass(frozen=True)
class Surface:
    """Heights on a grid.

    z     : height, (ny, nx) float64, m; NaN where nothing was measured
    sigma : one s.d. of z, white and correlated parts together, same shape, m; NaN where z is NaN
    count : ground points behind z, same shape, uint32; 0 where z is NaN
    """

    grid: Grid
    z: np.ndarray
    sigma: np.ndarray
    count: np.ndarray


def require_same_grid(a: Grid, b: Grid) -> None:
    """Raise GridMismatch unless the two grids are equal."""
    if a != b:
        raise GridMismatch(f"found grids {a} and {b}; surveys of one field share one grid, rerun the field's layout")
