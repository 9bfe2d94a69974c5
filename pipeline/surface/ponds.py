"""Closed depressions: where water would stand, how deep, over what area, and how much.

What makes a pond false, and the answer: noise on flat ground (heights are smoothed, ponds under KEEP_M dropped, and
`pond_chance` says how sure each is); the border of the raster and of what was surveyed (it drains); a hole in the data
(two readings: shut and open; where they disagree the pond is not measured).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from pipeline.frame import Grid
from pipeline.surface.block_heights import Smoother
from pipeline.surface.flood import Drainage, drain, fill, standing
from pipeline.surface.runoff import steered

SMOOTH_SD_M = 0.15
WET_M = 1e-6  # a cell that deep belongs to a pond
KEEP_M = 0.006  # ponds no deeper are dropped
RAIN_M = 0.010
SMALL_HOLE_M = 0.6  # a hole without a square of this side in it is gone round, it drains nothing
LEVEL_KNOWN_M = 0.001  # open and shut readings of the spill level may differ by so much
HOLE_RIM_M = 0.2
MOST_HOLE = 0.2  # share of a pond that may be unmeasured, as for a ring's disc
EIGHT = np.ones((3, 3), bool)


@dataclass(frozen=True)
class Pond:
    """One closed depression.

    cells        : flat indices of its cells on the ground asked for, ascending
    row, col     : its deepest cell
    depth_m      : greatest depth of water when full
    area_m2, volume_m3 : of the water when full
    standing_m3  : water left by RAIN_M of rain on the ground that drains into it, at most volume_m3
    catchment_m2 : that ground, as far as it was measured
    reason       : why depth and volume are not to be trusted, or None
    """

    cells: np.ndarray
    row: int
    col: int
    depth_m: float
    area_m2: float
    volume_m3: float
    standing_m3: float
    catchment_m2: float
    reason: str | None


@dataclass(frozen=True)
class Ponding:
    """All ponds of one survey.

    ground   : (ny, nx) bool, where water runs: the ground handed in less the holes that reach its border
    depth    : (ny, nx), depth of water when full, m; 0 where dry, NaN outside the ground asked for or unmeasured
    smoothed : (ny, nx), the heights it was read from, m
    ponds    : deepest first
    drainage : how water runs over that ground, every hole shut
    number   : (ny, nx) int32, of which pond a cell is (from 1, in the order of `ponds`), 0 of none; the part of a pond
               that lies on ground not asked for counts
    """

    ground: np.ndarray
    depth: np.ndarray
    smoothed: np.ndarray
    ponds: tuple[Pond, ...]
    drainage: Drainage
    number: np.ndarray


def walls(holes: np.ndarray, cell_m: float) -> np.ndarray:
    """The small holes of the data: water is taken round them, where a larger one may be a way out."""
    side = max(int(round(SMALL_HOLE_M / cell_m)), 1)
    core = ndimage.binary_opening(holes, np.ones((side, side), bool))
    number, _ = ndimage.label(holes, EIGHT)
    return holes & ~np.isin(number, np.unique(number[core]))


def find_ponds(
    z: np.ndarray, grid: Grid, ground: np.ndarray, asked: np.ndarray, keep_m: float = KEEP_M
) -> Ponding:
    """Ponds of a surface.

    z      : (ny, nx), m; NaN where nothing was measured
    ground : bool, the ground water runs over: skin, mound and some 0.5 m beyond the edge, so that a lip dams and flush
             turf drains; everything outside it is a way out
    asked  : bool, ground on which ponds are reported, within `ground`: skin without mound and keep-outs
    keep_m : ponds no deeper are dropped, m
    A hole that reaches the border of `ground` is a way out, as where a survey ends. One inside is read twice: shut, it
    is a wall, and water stands no lower than in truth; open, it is a way out, and water stands no higher. Where the two
    differ the pond is kept with a reason.
    """
    ground = _surveyed(ground, np.isfinite(z))
    held = ground & np.isfinite(z)
    smoothed = Smoother(held, grid.cell_m, SMOOTH_SD_M, twice=True).heights(z)
    holes = ground & ~held
    shut = steered(drain(smoothed, holes))
    depth = shut.filled - smoothed
    number, count = ndimage.label(depth > WET_M, EIGHT)
    deepest = deepest_of(np.where(asked, depth, 0.0), number, count)
    kept = np.flatnonzero(deepest > keep_m) + 1
    number = np.where(np.isin(number, kept), number, 0)
    number = np.searchsorted(kept, number, side="left").astype(np.int32) * (number > 0) + (number > 0)
    level = fill(smoothed, walls(holes, grid.cell_m)) if len(kept) and holes.any() else shut.filled
    capacity = np.bincount(number.ravel(), np.nan_to_num(depth).ravel(), len(kept) + 1)[1:] * grid.cell_area_m2
    stands, catchment = standing(shut, number, capacity, RAIN_M, grid.cell_area_m2)
    wet = number * asked
    order = np.argsort(wet.ravel(), kind="stable")
    bounds = np.searchsorted(wet.ravel()[order], np.arange(1, len(kept) + 2))
    ponds = [
        _pond(order[a:b], depth, shut.filled - level, holes, grid, stands[k], catchment[k])
        for k, (a, b) in enumerate(zip(bounds[:-1], bounds[1:]))
    ]
    ranked = sorted(range(len(ponds)), key=lambda k: (-ponds[k].depth_m, int(ponds[k].cells[0])))
    rank = np.zeros(len(kept) + 1, np.int32)
    rank[np.array(ranked, int) + 1] = np.arange(1, len(kept) + 1)
    deepest_first = tuple(ponds[k] for k in ranked)
    return Ponding(ground, np.where(asked & held, depth, np.nan), smoothed, deepest_first, shut, rank[number])


def _surveyed(ground: np.ndarray, measured: np.ndarray) -> np.ndarray:
    """Ground without the holes that reach its border or the raster's."""
    number, _ = ndimage.label(ground & ~measured, EIGHT)
    beyond = ndimage.binary_dilation(~ground, EIGHT, border_value=1)
    return ground & ~((number > 0) & np.isin(number, np.unique(number[beyond])))


def deepest_of(depth: np.ndarray, number: np.ndarray, count: int) -> np.ndarray:
    """Greatest depth of each numbered pond, (count,), m; 0 where it has none."""
    out = np.zeros(count)
    wet = (number > 0) & (depth > 0)
    np.maximum.at(out, number[wet] - 1, depth[wet])
    return out


def _pond(cells, depth, drop, holes, grid: Grid, stands: float, catchment: float) -> Pond:
    """`drop`: spill level shut less open, m, NaN where open ground has no level."""
    d = depth.ravel()[cells]
    at = int(cells[np.argmax(d)])
    volume = float(d.sum() * grid.cell_area_m2)
    return Pond(
        cells, at // grid.nx, at % grid.nx, float(d.max()), float(len(cells) * grid.cell_area_m2), volume,
        float(min(stands, volume)), float(catchment), _doubt(cells, drop.ravel()[at], holes, grid),
    )  # fmt: skip


def _doubt(cells: np.ndarray, drop: float, holes: np.ndarray, grid: Grid) -> str | None:
    """Whether a hole in the data leaves the pond unmeasured."""
    if not drop <= LEVEL_KNOWN_M:
        return "a hole in the data lies where the water would spill"
    reach = int(round(HOLE_RIM_M / grid.cell_m)) + 1
    row, col = cells // grid.nx, cells % grid.nx
    r0, c0 = max(row.min() - reach, 0), max(col.min() - reach, 0)
    box = np.s_[r0 : row.max() + reach + 1, c0 : col.max() + reach + 1]
    if not holes[box].any():
        return None
    here = np.zeros(holes[box].shape, bool)
    here[row - r0, col - c0] = True
    missing = (ndimage.binary_dilation(here, EIGHT, max(reach - 1, 1)) & holes[box]).sum()
    share = missing / (missing + len(cells))
    if share > MOST_HOLE:
        return f"{100 * share:.0f} % of it was not measured, {100 * MOST_HOLE:.0f} allowed"
    return None
