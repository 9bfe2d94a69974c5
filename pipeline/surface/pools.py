"""What rain leaves standing: how deep and how wide in each pond after so much of it, where a full pond spills, and into
which; nothing seeps away, nothing dries, nothing runs in from beyond the ground water runs over.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numba import njit

from pipeline.frame import Grid
from pipeline.surface.flood import Drainage, standing
from pipeline.surface.ponds import RAIN_M, WET_M, Ponding

RAINS_M = (0.002, 0.005, RAIN_M, 0.025)
MOST_RAIN_M = 0.25  # a pond that no such rain fills is said to be never full


@dataclass(frozen=True)
class Pool:
    """The water of one pond, on the ground asked for.

    pour      : row and column of the cell on its rim over which a full pond spills
    into      : the pond (index) that this water reaches next, or None: it leaves the field
    fills_m   : rain that fills it, with what fuller ponds above pass on, m; inf beyond MOST_RAIN_M
    stands_m3, deepest_m, wet_m2 : after each of RAINS_M
    catchment_m2 : ground that drains into it without another pond between
    """

    pour: tuple[int, int]
    into: int | None
    fills_m: float
    stands_m3: tuple[float, ...]
    deepest_m: tuple[float, ...]
    wet_m2: tuple[float, ...]
    catchment_m2: float


@dataclass(frozen=True)
class StandingWater:
    """pools: one for each of `Ponding.ponds`; depth: (ny, nx) after RAIN_M, m, 0 where dry, NaN as `Ponding.depth`."""

    pools: tuple[Pool, ...]
    depth: np.ndarray


def standing_water(ponding: Ponding, grid: Grid) -> StandingWater:
    """Each pond after each of RAINS_M, from the ponds of one survey."""
    count, area = len(ponding.ponds), grid.cell_area_m2
    flow = ponding.drainage
    full = np.bincount(ponding.number.ravel(), np.nan_to_num(flow.filled - ponding.smoothed).ravel(), count + 1)[1:] * area
    after = [rained(flow, ponding.smoothed, ponding.number, full, rain, area) for rain in RAINS_M]
    catchment = standing(flow, ponding.number, full, RAIN_M, area)[1]
    pours = [_pour(flow, ponding.number, p.cells) for p in ponding.ponds]
    into = [_reached(flow, ponding.number, pour) for pour in pours]
    fills = _fills(full, catchment, into)
    pools = []
    for k, pond in enumerate(ponding.ponds):
        water = [depth.ravel()[pond.cells] for depth in after]
        pools.append(Pool(
            (pours[k] // grid.nx, pours[k] % grid.nx), into[k], fills[k], tuple(float(w.sum() * area) for w in water),
            tuple(float(w.max()) for w in water), tuple(float((w > WET_M).sum() * area) for w in water), float(catchment[k]),
        ))  # fmt: skip
    return StandingWater(tuple(pools), np.where(np.isnan(ponding.depth), np.nan, after[RAINS_M.index(RAIN_M)]))


def rained(flow: Drainage, heights: np.ndarray, number: np.ndarray, full_m3: np.ndarray, rain_m: float, cell_area_m2: float) -> np.ndarray:
    """Depth of water after a rain, (ny, nx), m; 0 where dry.

    number  : (ny, nx), of which pond a cell is, from 1; 0 of none
    full_m3 : (count,) what each holds
    """
    stands = standing(flow, number, full_m3, rain_m, cell_area_m2)[0]
    cells = np.flatnonzero(number)
    cells = cells[np.lexsort((heights.ravel()[cells], number.ravel()[cells]))]
    level = _levels(heights.ravel()[cells], number.ravel()[cells], stands / cell_area_m2)
    out = np.zeros(heights.size)
    out[cells] = np.maximum(level - heights.ravel()[cells], 0.0)
    return out.reshape(heights.shape)


@njit(cache=True, nogil=True)
def _levels(heights, pond, volume):
    """Level of the water over each cell: cells by pond and height, of each pond its volume in metres times cells."""
    out = np.empty(heights.size)
    i = 0
    while i < heights.size:
        j = i
        while j < heights.size and pond[j] == pond[i]:
            j += 1
        left, k = volume[pond[i] - 1], i + 1
        level = heights[i]
        while k < j and left > (heights[k] - level) * (k - i):
            left -= (heights[k] - level) * (k - i)
            level = heights[k]
            k += 1
        out[i:j] = level + left / (k - i)
        i = j
    return out


def _pour(flow: Drainage, number: np.ndarray, cells: np.ndarray) -> int:
    """Where a pond spills: the cell that the first of its cells reached was reached from."""
    flat = number.ravel()
    mine = flat[cells[0]]
    here = int(cells[0])
    while flat[here] == mine and flow.receiver[here] >= 0:  # within a pond every receiver is nearer to its way out
        here = int(flow.receiver[here])
    return here


def _reached(flow: Drainage, number: np.ndarray, here: int) -> int | None:
    """The pond (index) that water at a cell reaches next; None where it leaves."""
    flat = number.ravel()
    while here >= 0 and flat[here] == 0:
        here = int(flow.receiver[here])
    return int(flat[here]) - 1 if here >= 0 else None


def _fills(full_m3: np.ndarray, catchment_m2: np.ndarray, into: list[int | None]) -> list[float]:
    """Rain that fills each pond, m. What runs in grows with the rain, so halving finds it."""
    above: list[list[int]] = [[] for _ in full_m3]
    for k, there in enumerate(into):
        if there is not None and there != k:
            above[there].append(k)

    def runs_in(k: int, rain_m: float) -> float:
        return catchment_m2[k] * rain_m + sum(max(runs_in(a, rain_m) - full_m3[a], 0.0) for a in above[k])

    out = []
    for k, full in enumerate(full_m3):
        low, high = 0.0, MOST_RAIN_M
        if runs_in(k, high) < full:
            out.append(inf)
            continue
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if runs_in(k, middle) >= full else (middle, high)
        out.append(high)
    return out
