"""A cloud to ground points, and ground points to heights on the field's one grid.

`grid_cloud` screens and grids what one pass over the file left in `Buckets`; `regrid` grids ground points again after
they were moved sideways. Tiles are worked on by any number of threads; no figure depends on how many.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Callable, Iterable, Iterator

import numpy as np

from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.survey.cells.blocks import block_levels, ground_blocks
from pipeline.survey.cells.buckets import NOISE, Buckets, carried, from_ground
from pipeline.survey.cells.cells import block_scatter, cell_error, cells_of_tile, field_scatter
from pipeline.survey.cells.order import in_order
from pipeline.survey.cells.scatter import own_scatter, scatter_freedom
from pipeline.survey.cells.scratch import Scratch
from pipeline.survey.cells.screen import ABOVE, BELOW, OBJECT, screen_tile
from pipeline.survey.cells.tiles import Tiling
from pipeline.survey.points import Ground
from pipeline.survey.reading.rounding import Steps


class GroundPoints:
    """The ground points of one survey on one field, tile by tile; the same order whatever order they were read in."""

    def __init__(self, buckets: Buckets, kept: np.ndarray) -> None:
        self._buckets, self._kept = buckets, kept

    def __len__(self) -> int:
        return int(self._kept.sum())

    def __iter__(self) -> Iterator[Ground]:
        """A part for each tile that holds points, so that a large cloud never stands in memory at once."""
        tiling = self._buckets.tiling
        carries = self._buckets.carries or frozenset()
        for tile in range(tiling.count):
            n = int(self._kept[tile])
            if n:
                keys, extra = (part[:n] for part in self._buckets.tile(tile))
                x, y, z = tiling.unpack(keys, tile)
                yield Ground(tiling.grid.west, tiling.grid.south, 0.0, x, y, z, *carried(extra, carries))

    def whole(self) -> Ground:
        """All of them in one."""
        grid, parts = self._buckets.tiling.grid, list(self)
        if not parts:
            none = np.empty(0, np.int32)
            return Ground(grid.west, grid.south, 0.0, none, none, none)
        columns = {name: [getattr(part, name) for part in parts] for name in ("x", "y", "z", "rgb", "intensity")}
        joined = {n: None if v[0] is None else np.concatenate(v) for n, v in columns.items()}
        return Ground(grid.west, grid.south, 0.0, **joined)


@dataclass(frozen=True)
class Gridded:
    """One survey on one field's grid.

    z             : height, (ny, nx) float64, m; NaN where fewer than 3 ground points fell
    white         : one s.d. of z's error that is independent from cell to cell, m; NaN where z is NaN
    count         : ground points behind z, uint32; 0 where z is NaN
    points        : ground points in the cell, uint32, also where they are too few for a height
    white_point_m : s.d. of one point, m, over the cells asked for; NaN where no cell had a height
    ground        : the ground points
    removed       : points left out by reason
    points_read   : points handed in
    steep_share   : share of the blocks steeper than 15 %, where the screen is outside its use; NaN where none was run
    objects       : True in cells of reference blocks on which something stands, bool; all False where no screen was run
    steps         : the step in which the source's coordinates move
    """

    grid: Grid
    z: np.ndarray
    white: np.ndarray
    count: np.ndarray
    points: np.ndarray
    white_point_m: float
    ground: GroundPoints
    removed: dict[str, int]
    points_read: int
    steep_share: float
    objects: np.ndarray
    steps: Steps


def grid_cloud(buckets: Buckets, smooth: np.ndarray | None = None, workers: int = 1, screen: bool = True) -> Gridded:
    """Screen and grid one survey on one field. The buckets are used up: they hold the ground points after.

    smooth  : (ny, nx) bool, bare even ground (the skin) on which the noise of a point is read; None takes all cells
    workers : threads
    screen  : False: every point is ground already, as after `regrid`
    raises  : Refused `misses_field` where no point fell on the grid
    """
    if buckets.held == 0:
        raise Refused("misses_field", _missed(buckets))
    tiling = buckets.tiling
    if not screen:
        return _grid_all(buckets, smooth, workers, buckets.sample.steps(buckets.projection, tiling.grid.cell_m))
    ordered = _each_tile(tiling, workers, lambda tile: _sort_back(buckets, tile))
    levels = (_blocks_to_field(tiling, [by_rank[k] for by_rank, _ in ordered]) for k in range(3))
    found = ground_blocks(*levels, tiling.block * tiling.grid.cell_m)
    around = tuple(np.pad(a, 1, constant_values=np.nan) for a in (found.clean, found.bottom, found.ridge))
    around += (np.pad(found.object, 1),)
    field = _Field.of(tiling)
    dropped = _each_tile(tiling, workers, lambda tile: _screen_and_grid(buckets, tile, ordered[tile][1], around, field))
    removed = {**buckets.removed, **dict(zip((ABOVE, BELOW, OBJECT), np.sum(dropped, axis=0).tolist()))}
    objects = np.kron(found.object, np.ones((tiling.block, tiling.block), bool))[: tiling.grid.ny, : tiling.grid.nx]
    steps = buckets.sample.steps(buckets.projection, tiling.grid.cell_m)
    return _gridded(buckets, field, smooth, removed, found.steep_share, objects, steps)


def regrid(
    ground: Ground | Iterable[Ground],
    grid: Grid,
    smooth: np.ndarray | None = None,
    workers: int = 1,
    scratch: Scratch | None = None,
    steps: Steps = Steps(np.nan, np.nan, np.nan),
) -> Gridded:
    """Grid ground points as they are, without screening them again; those that fall beside the grid are left out.

    ground : the points, in one or in parts, moved perhaps (`Ground.moved`)
    steps  : of the first gridding, for the cells' error
    """
    buckets = from_ground([ground] if isinstance(ground, Ground) else ground, grid, workers, scratch)
    return _grid_all(buckets, smooth, workers, steps)


def _grid_all(buckets: Buckets, smooth: np.ndarray | None, workers: int, steps: Steps) -> Gridded:
    """Grid every point there is."""
    field = _Field.of(buckets.tiling)
    _each_tile(buckets.tiling, workers, lambda tile: _sort_and_grid(buckets, tile, field))
    return _gridded(buckets, field, smooth, buckets.removed, np.nan, np.zeros(buckets.tiling.grid.shape, bool), steps)


@dataclass(frozen=True)
class _Field:
    """Figures of all tiles' cells, each written in its own tile: height, points, scatter; ground points by tile."""

    height: np.ndarray
    points: np.ndarray
    variance: np.ndarray
    kept: np.ndarray

    @classmethod
    def of(cls, tiling: Tiling) -> _Field:
        shape = tiling.padded
        return cls(np.empty(shape), np.empty(shape, np.uint32), np.empty(shape), np.zeros(tiling.count, np.int64))

    def take(self, tiling: Tiling, tile: int, keys: np.ndarray, starts: np.ndarray) -> None:
        """Work out one tile's cells from its ground points in order."""
        r, c = tile // tiling.cols * tiling.tile, tile % tiling.cols * tiling.tile
        here = np.s_[r : r + tiling.tile, c : c + tiling.tile]
        out = self.height[here], self.points[here], self.variance[here]
        cells_of_tile(keys, starts, tiling.block, tiling.ticks, *out)
        self.kept[tile] = len(keys)


def _each_tile(tiling: Tiling, workers: int, work: Callable) -> list:
    """`work` of every tile, in the tiles' order."""
    if workers <= 1:
        return [work(tile) for tile in range(tiling.count)]
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(work, range(tiling.count)))


def _sort_back(buckets: Buckets, tile: int) -> tuple[np.ndarray, np.ndarray]:
    """Put a tile's points back in order; returns its reference blocks' levels by rank, m, and its cells' starts."""
    tiling = buckets.tiling
    levels = np.empty((3, (tiling.tile // tiling.block) ** 2))
    keys, extra, starts = in_order(tiling, *buckets.tile(tile))
    block_levels(keys, starts, tiling.block, levels)
    buckets.put_back(tile, keys, extra)
    return levels, starts


def _screen_and_grid(
    buckets: Buckets, tile: int, starts: np.ndarray, around: tuple[np.ndarray, ...], field: _Field
) -> np.ndarray:
    """Drop what is not ground from a tile and work out its cells; returns the points dropped by reason."""
    tiling, removed = buckets.tiling, np.zeros(3, np.int64)
    keys, extra = buckets.tile(tile)
    blocks = tiling.tile // tiling.block
    r, c = tile // tiling.cols * blocks, tile % tiling.cols * blocks
    near = (a[r : r + blocks + 2, c : c + blocks + 2] for a in around)
    kept = screen_tile(keys, extra, starts, tiling.block, tiling.tile // tiling.plane, tiling.ticks, *near, removed)
    buckets.put_back(tile, keys[:kept], extra[:kept])
    field.take(tiling, tile, keys[:kept], starts)
    return removed


def _sort_and_grid(buckets: Buckets, tile: int, field: _Field) -> None:
    keys, extra, starts = in_order(buckets.tiling, *buckets.tile(tile))
    buckets.put_back(tile, keys, extra)
    field.take(buckets.tiling, tile, keys, starts)


def _blocks_to_field(tiling: Tiling, by_tile: list[np.ndarray]) -> np.ndarray:
    """Figures of each tile's reference blocks by rank, laid out over the field, (rows, cols)."""
    blocks, by_row, by_col = tiling.tile // tiling.block, *tiling.rank
    rank = (by_row[:: tiling.block, None] + by_col[None, :: tiling.block]) // tiling.block**2
    out = np.empty(tiling.blocks)
    for tile, values in enumerate(by_tile):
        r, c = tile // tiling.cols * blocks, tile % tiling.cols * blocks
        out[r : r + blocks, c : c + blocks] = values[rank]
    return out


def _gridded(
    buckets: Buckets,
    field: _Field,
    smooth: np.ndarray | None,
    removed: dict[str, int],
    steep: float,
    objects: np.ndarray,
    steps: Steps,
) -> Gridded:
    tiling = buckets.tiling
    here = np.s_[: tiling.grid.ny, : tiling.grid.nx]
    z, points, variance = (np.ascontiguousarray(a[here]) for a in (field.height, field.points, field.variance))
    everywhere = np.ones(z.shape, bool)
    even = everywhere if smooth is None else smooth
    point_variance = field_scatter(variance, points, even)
    known = point_variance if np.isfinite(point_variance) else field_scatter(variance, points, everywhere)
    step = 0.0 if np.isnan(steps.z_m) else steps.z_m
    around = block_scatter(variance, points, tiling.plane, known)
    own = own_scatter(variance, points, around, scatter_freedom(variance, points, around, even))
    white = cell_error(own, points, step)
    return Gridded(
        tiling.grid, z, white, np.where(np.isnan(z), np.uint32(0), points), points, float(np.sqrt(point_variance)),
        GroundPoints(buckets, field.kept), removed, buckets.points_read, steep, objects, steps,
    )  # fmt: skip


def _missed(buckets: Buckets) -> str:
    """Why no point fell on the grid, as far as the coordinates tell."""
    if buckets.points_read == 0:
        return "found no points at all; expected a cloud that covers the field."
    noise = buckets.removed[NOISE]
    if noise:
        return f"found {noise} points on the field, all marked as noise in the file; expected ground. Reclassify them."
    seen = buckets.seen_bounds
    where = "" if seen is None else " (x, y from {:.2f}, {:.2f} to {:.2f}, {:.2f})".format(*seen)
    return (
        f"found {buckets.points_read} points{where}, none of them on the field; expected some between x, y "
        "{:.2f}, {:.2f} and {:.2f}, {:.2f} of the file's own coordinates. ".format(*buckets.projection.box)
        + "Check the survey's crs and the field it names."
    )
