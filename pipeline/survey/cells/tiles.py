"""How a field's grid is cut up for gridding: cells in blocks, blocks in planes, planes in tiles.

A reference block (about 0.5 m) is the smallest piece of ground whose height is looked at on its own, a plane
block is 3 x 3 of them, a tile (about 12 m) is what one thread works on at a time. All three hang on the grid's
north-west corner. A point is one 64-bit key: height, distance from the tile's north edge, distance from its west
edge, all in TICK_M. Keys in rising order are points from low to high.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.frame import Grid
from pipeline.survey.points import TICK_M

BLOCK_M, TILE_M = 0.5, 12.0
PLACE_BITS = 18  # of each place in its tile: 26 m in TICK_M
PLACE_MASK = (1 << PLACE_BITS) - 1
HEIGHT_SHIFT = 2 * PLACE_BITS
HEIGHT_MAX = (1 << (63 - HEIGHT_SHIFT)) - 1  # 13 km in TICK_M
RECIPROCAL_SHIFT = 44


def reciprocal(divisor: int) -> int:
    """m such that v // divisor == (v * m) >> RECIPROCAL_SHIFT for v >= 0, v * divisor < 2**44, v // divisor < 2**19.

    source: division by an invariant integer by multiplication, Granlund & Montgomery 1994 (from memory).
    """
    return -(-(1 << RECIPROCAL_SHIFT) // divisor)


@dataclass(frozen=True)
class Tiling:
    """One grid cut into tiles.

    grid  : the field's grid
    ticks : cell size in TICK_M
    block : cells along a reference block's side
    tile  : cells along a tile's side, a whole number of plane blocks
    """

    grid: Grid
    ticks: int
    block: int
    tile: int

    @classmethod
    def of(cls, grid: Grid) -> Tiling:
        """Raises ValueError where the cell is no whole number of TICK_M, or too large to pack."""
        ticks = round(grid.cell_m / TICK_M)
        if ticks < 1 or abs(ticks * TICK_M - grid.cell_m) > 1e-9:
            raise ValueError(f"found a cell of {grid.cell_m} m; expected a whole number of {TICK_M} m")
        block = max(1, round(BLOCK_M / grid.cell_m))
        tile = 3 * block * max(1, round(TILE_M / (3 * block * grid.cell_m)))
        if tile * ticks > PLACE_MASK:
            raise ValueError(f"found a cell of {grid.cell_m} m; the largest that can be gridded is 8.7 m")
        if max(grid.ny, grid.nx) * ticks * tile * ticks >= 1 << RECIPROCAL_SHIFT:
            raise ValueError(f"found a grid of {grid.ny} x {grid.nx} cells of {grid.cell_m} m; one field is smaller")
        return cls(grid, ticks, block, tile)

    @property
    def plane(self) -> int:
        """Cells along a plane block's side."""
        return 3 * self.block

    @property
    def rows(self) -> int:
        """Tiles from north to south."""
        return -(-self.grid.ny // self.tile)

    @property
    def cols(self) -> int:
        """Tiles from west to east."""
        return -(-self.grid.nx // self.tile)

    @property
    def count(self) -> int:
        return self.rows * self.cols

    @property
    def padded(self) -> tuple[int, int]:
        """Rows and columns of cells of all tiles: the grid grown south and east to whole tiles."""
        return self.rows * self.tile, self.cols * self.tile

    @property
    def blocks(self) -> tuple[int, int]:
        """Rows and columns of reference blocks of all tiles."""
        return self.padded[0] // self.block, self.padded[1] // self.block

    @property
    def extent_ticks(self) -> tuple[int, int]:
        """North to south and west to east size of the grid, TICK_M."""
        return self.grid.ny * self.ticks, self.grid.nx * self.ticks

    @property
    def numbers(self) -> tuple[int, int, int, int, int]:
        """What a kernel needs to find a point's tile: extents, a tile's size, tiles in a row, the size's reciprocal."""
        size = self.tile * self.ticks
        return *self.extent_ticks, size, self.cols, reciprocal(size)

    @cached_property
    def rank(self) -> tuple[np.ndarray, np.ndarray]:
        """(tile,) int32 by row, (tile,) int32 by column: their sum is a cell's rank in its tile.

        Ranks run plane block by plane block, reference block by reference block, cell by cell, so that the
        points of any of the three lie side by side once a tile is sorted by rank.
        """
        cell = np.arange(self.tile)
        plane, block, inner = cell // self.plane, cell % self.plane // self.block, cell % self.block
        planes = self.tile // self.plane
        by_row = plane * planes * self.plane**2 + block * 3 * self.block**2 + inner * self.block
        by_col = plane * self.plane**2 + block * self.block**2 + inner
        return by_row.astype(np.int32), by_col.astype(np.int32)

    def corner_ticks(self, tile: int) -> tuple[int, int]:
        """Distance of a tile's north-west corner from the grid's, south and east, TICK_M."""
        return tile // self.cols * self.tile * self.ticks, tile % self.cols * self.tile * self.ticks

    def unpack(self, keys: np.ndarray, tile: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """x east of the grid's west edge, y north of its south edge, z above 0, (n,) int32, TICK_M."""
        south, east = self.corner_ticks(tile)
        x = (keys & PLACE_MASK) + east
        y = self.extent_ticks[0] - south - (keys >> PLACE_BITS & PLACE_MASK)
        return x.astype(np.int32), y.astype(np.int32), (keys >> HEIGHT_SHIFT).astype(np.int32)
