"""What the ground is taken for before any point is dropped: one height per reference block.

A low quantile per block sees past players and grass tips, a median over neighbours past whatever is smaller than a
block or two, an opening with growing windows past vehicles, piled tarps and roofs. What is flat-topped, steep-sided
and higher than its window allows is an object; a mound, a lip and a crown are none of these.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from pipeline.survey.cells.tiles import HEIGHT_SHIFT

QUANTILE = 0.30
# Opening windows, blocks, and how far a block may stand above what the opening leaves: 80 mm and 50 mm for each metre
# of the window. A mound of 0.254 m loses up to 0.15 m under 2.5 m, all but a little under 4.5 m: allowed are 0.205 and
# 0.305 m. A pile of 0.3 m on 2 m, a car, a dugout's roof and a hut lose all they have. What is lower and wider than
# that is taken for ground: a spread tarp, a drag mat, a heap of 0.15 m; and a low pile against a mound or a car can
# pass with it. Fly an empty field, or draw such things as `ignore`.
WINDOWS = (3, 5, 9, 17, 33)
STEP_BASE_M, STEP_PER_M = 0.08, 0.05
RIDGE_M, RIDGE_BLOCKS = (0.025, 0.20), 6  # rise of a ridge's highest cells, and the length that makes it one
FEWEST_IN_CELL = 3
STEEP = 0.15  # beyond this slope the filter is outside its use


@dataclass(frozen=True)
class Blocks:
    """Heights of the reference blocks of a field, all (rows, cols), m.

    clean  : what the ground is taken for; NaN where neither block nor neighbours tell
    bottom : the lowest cell, where most of a cell's points lie low; NaN without points
    ridge  : the highest cell, where the block is part of a long low ridge, as a lip or a grass edge is; else NaN
    object : True where something stands on the ground
    steep_share : share of the blocks with points, objects left out, whose slope is over 15 %
    """

    clean: np.ndarray
    bottom: np.ndarray
    ridge: np.ndarray
    object: np.ndarray
    steep_share: float


def ground_blocks(lowest: np.ndarray, bottom: np.ndarray, top: np.ndarray, block_m: float) -> Blocks:
    """The ground's height by block, from `block_levels` of each block of `block_m`, m."""
    middle = median3(lowest)
    found = grown(objects(middle, block_m)) & np.isfinite(middle)
    bare = np.where(found, np.nan, middle)
    clean = filled(bare, found)
    ridge = np.where(long_ridges(top - clean), top, np.nan)
    return Blocks(clean, bottom, ridge, found, steep_share(bare, block_m))


def long_ridges(rise: np.ndarray) -> np.ndarray:
    """Blocks whose highest cell stands a little above the ground, and that run on for some blocks, bool.

    A lip does, and grass beside skin; a base, a ball bag or a kneeling player is as high but short. What the field's
    evenest fifth reaches by noise alone is no rise: twice that is asked for.
    """
    from scipy.ndimage import find_objects, label

    noise = np.nanquantile(rise, 0.2) if np.isfinite(rise).any() else 0.0
    low = (rise > max(RIDGE_M[0], 2 * noise)) & (rise < RIDGE_M[1])
    piece, count = label(low, np.ones((3, 3), int))
    long = np.zeros(count + 1, bool)
    for i, (rows, cols) in enumerate(find_objects(piece), 1):
        long[i] = max(rows.stop - rows.start, cols.stop - cols.start) >= RIDGE_BLOCKS
    return long[piece]


def objects(height: np.ndarray, block_m: float) -> np.ndarray:
    """Blocks that stand above the ground by more than any part of a ball field does, bool.

    height : by block, m; NaN without points
    source : progressive opening, Zhang et al. 2003, IEEE TGRS 41 (from memory); windows and steps are ours
    """
    left, out = height.copy(), np.zeros(height.shape, bool)
    for window in WINDOWS:
        opened = _opened(left, window)
        high = left - opened > STEP_BASE_M + STEP_PER_M * window * block_m
        out |= high
        left[high] = opened[high]
    return out


def _opened(height: np.ndarray, window: int) -> np.ndarray:
    from scipy.ndimage import maximum_filter, minimum_filter

    empty = np.isnan(height)
    low = minimum_filter(np.where(empty, np.inf, height), window, mode="constant", cval=np.inf)
    low[np.isinf(low)] = -np.inf
    out = maximum_filter(low, window, mode="constant", cval=-np.inf)
    out[empty] = np.nan
    return out


def grown(mask: np.ndarray) -> np.ndarray:
    """A mask and its eight neighbours: a block beside an object holds some of its side."""
    from scipy.ndimage import binary_dilation

    return binary_dilation(mask, np.ones((3, 3), bool))


def steep_share(height: np.ndarray, block_m: float) -> float:
    """Share of the blocks with a slope whose slope is over 15 %, by central differences over two blocks."""
    down = (height[2:, 1:-1] - height[:-2, 1:-1]) / (2 * block_m)
    across = (height[1:-1, 2:] - height[1:-1, :-2]) / (2 * block_m)
    slope = np.hypot(down, across)
    known = np.isfinite(slope)
    return float(np.count_nonzero(slope[known] > STEEP) / np.count_nonzero(known)) if known.any() else 0.0


@njit(nogil=True, cache=True)
def block_levels(keys, starts, block, levels):
    """Low quantile, lowest and highest cell of each reference block of one tile, m.

    keys, starts : a tile's points in order (`order.in_order`)
    block        : cells along a block's side
    levels       : (3, blocks in rank order), filled; NaN without points. The quantile is the value of rank
                   floor(0.3 (n - 1)), counted from the lowest: numpy's method "lower". A cell stands for its middle
                   point, and only with at least 3.
    """
    per = block * block
    most = 0
    for b in range(levels.shape[1]):
        most = max(most, starts[(b + 1) * per] - starts[b * per])
    height = np.empty(most, np.int32)
    for b in range(levels.shape[1]):
        levels[:, b] = np.nan
        first, n = starts[b * per], starts[(b + 1) * per] - starts[b * per]
        if n == 0:
            continue
        for i in range(n):
            height[i] = keys[first + i] >> HEIGHT_SHIFT
        low, high = np.inf, -np.inf
        for c in range(b * per, (b + 1) * per):
            if starts[c + 1] - starts[c] >= FEWEST_IN_CELL:
                middle = height[(starts[c] + starts[c + 1]) // 2 - first] * 1e-4
                low, high = min(low, middle), max(high, middle)
        if low <= high:
            levels[1, b], levels[2, b] = low, high
        levels[0, b] = _of_rank(height, n, np.int64(QUANTILE * (n - 1))) * 1e-4


@njit(nogil=True, cache=True)
def _of_rank(values, n, k):
    """The whole number of rank k (0 the lowest) of values[:n], by halving: counting below a bound takes no branch."""
    low, high = values[0], values[0]
    for i in range(n):
        low, high = min(low, values[i]), max(high, values[i])
    while low < high:
        middle = low + (high - low) // 2
        below = 0
        for i in range(n):
            below += values[i] <= middle
        if below > k:
            high = middle
        else:
            low = middle + 1
    return low


@njit(nogil=True, cache=True)
def kth_smallest(values, n, k):
    """The value of rank k (0 the lowest) of values[:n], which are reordered (Hoare's selection)."""
    low, high = 0, n - 1
    while low < high:
        pivot = values[(low + high) // 2]
        i, j = low, high
        while i <= j:
            while values[i] < pivot:
                i += 1
            while values[j] > pivot:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i += 1
                j -= 1
        if k <= j:
            high = j
        elif k >= i:
            low = i
        else:
            break
    return values[k]


@njit(nogil=True, cache=True)
def median3(height):
    """Median of each block and its eight neighbours, of those that are not NaN; NaN stays NaN, (rows, cols)."""
    rows, cols = height.shape
    out = np.full((rows, cols), np.nan)
    near = np.empty(9)
    for r in range(rows):
        for c in range(cols):
            if np.isnan(height[r, c]):
                continue
            n = 0
            for i in range(max(r - 1, 0), min(r + 2, rows)):
                for j in range(max(c - 1, 0), min(c + 2, cols)):
                    if not np.isnan(height[i, j]):
                        near[n] = height[i, j]
                        n += 1
            near[:n].sort()
            out[r, c] = 0.5 * (near[(n - 1) // 2] + near[n // 2])
    return out


@njit(nogil=True, cache=True)
def filled(height, wanted):
    """Heights with the wanted gaps filled smoothly from their rims (Laplace's equation, relaxed); NaN elsewhere stays.

    A gap that touches no known block stays NaN.
    """
    out = height.copy()
    rows, cols = out.shape
    todo = np.flatnonzero(wanted)
    left = len(todo)
    while left:  # first, ring by ring inward, the mean of the neighbours known so far
        ring = np.full(left, np.nan)
        for n in range(left):
            ring[n] = _mean_of_neighbours(out, todo[n] // cols, todo[n] % cols)
        stay = 0
        for n in range(left):
            if np.isnan(ring[n]):
                todo[stay] = todo[n]
                stay += 1
            else:
                out[todo[n] // cols, todo[n] % cols] = ring[n]
        if stay == left:
            break
        left = stay
    todo = np.flatnonzero(wanted)
    for _ in range(200):  # then smoothed until no block moves by 1 mm
        moved = 0.0
        for n in range(len(todo)):
            r, c = todo[n] // cols, todo[n] % cols
            if not np.isnan(out[r, c]):
                new = _mean_of_neighbours(out, r, c)
                moved = max(moved, abs(new - out[r, c]))
                out[r, c] = new
        if moved < 1e-3:
            break
    return out


@njit(nogil=True, cache=True, inline="always")
def _mean_of_neighbours(height, r, c):
    rows, cols = height.shape
    total, n = 0.0, 0
    for i in range(max(r - 1, 0), min(r + 2, rows)):
        for j in range(max(c - 1, 0), min(c + 2, cols)):
            if (i != r or j != c) and not np.isnan(height[i, j]):
                total += height[i, j]
                n += 1
    return total / n if n else np.nan
