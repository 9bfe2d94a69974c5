"""A tile's points put in order: cell by cell, and from low to high within a cell."""

from __future__ import annotations

import numpy as np
from numba import njit

from pipeline.survey.cells.tiles import PLACE_BITS, PLACE_MASK, RECIPROCAL_SHIFT, Tiling, reciprocal

_COUNTED = 96  # a run up to so long is sorted by counting, a longer one by Shell's method
_GAPS = (701, 301, 132, 57, 23, 10, 4, 1)  # Ciura 2001 (from memory)


def in_order(tiling: Tiling, keys: np.ndarray, extra: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Keys and what they carry, sorted, and where each cell's points begin.

    keys, extra : (n,) int64 of one tile in any order; extra may be (0,)
    returns     : both sorted by cell rank (`Tiling.rank`), key, extra; starts (tile**2 + 1,) int32 by rank.
                  The same whatever the order the points came in.
    """
    by_row, by_col = tiling.rank
    starts = np.zeros(tiling.tile**2 + 1, np.int32)
    sorted_keys, sorted_extra = np.empty_like(keys), np.empty_like(extra)
    _sort_by_cell(keys, extra, reciprocal(tiling.ticks), by_row, by_col, starts, sorted_keys, sorted_extra)
    return sorted_keys, sorted_extra, starts


@njit(nogil=True, cache=True)
def _sort_by_cell(keys, extra, by_cell, by_row, by_col, starts, sorted_keys, sorted_extra):
    n = len(keys)
    rank = np.empty(n, np.int32)
    for i in range(n):
        down, across = keys[i] >> PLACE_BITS & PLACE_MASK, keys[i] & PLACE_MASK
        rank[i] = by_row[(down * by_cell) >> RECIPROCAL_SHIFT] + by_col[(across * by_cell) >> RECIPROCAL_SHIFT]
        starts[rank[i] + 1] += 1
    for r in range(1, len(starts)):
        starts[r] += starts[r - 1]
    nexts = starts[:-1].copy()
    for i in range(n):
        at = nexts[rank[i]]
        nexts[rank[i]] = at + 1
        sorted_keys[at] = keys[i]
        if len(extra):
            sorted_extra[at] = extra[i]
    work, work_extra = np.empty(_COUNTED, np.int64), np.empty(_COUNTED, np.int64)
    for r in range(len(starts) - 1):
        if starts[r + 1] - starts[r] > _COUNTED:
            _sort_long_run(sorted_keys, sorted_extra, starts[r], starts[r + 1])
        else:
            _sort_run(sorted_keys, sorted_extra, starts[r], starts[r + 1], work, work_extra)


@njit(nogil=True, cache=True, inline="always")
def _sort_run(keys, extra, first, end, work, work_extra):
    """Sort one cell's points in place: each goes where as many stand before it as are smaller. Branch-free, so fast."""
    n = end - first
    carries = len(extra) > 0
    for i in range(n):
        work[i] = keys[first + i]
        if carries:
            work_extra[i] = extra[first + i]
    for i in range(n):
        key, before = work[i], 0
        for j in range(i):
            before += work[j] <= key
        for j in range(i + 1, n):
            before += work[j] < key
        keys[first + before] = key
        if carries:
            extra[first + before] = work_extra[i]
    if carries:
        for i in range(first + 1, end):  # points in one place, by what they carry
            more, j = extra[i], i
            while j > first and keys[j - 1] == keys[i] and extra[j - 1] > more:
                extra[j] = extra[j - 1]
                j -= 1
            extra[j] = more


@njit(nogil=True, cache=True)
def _sort_long_run(keys, extra, first, end):
    """Sort one cell's points in place by key, then by what they carry (Shell's method)."""
    carries = len(extra) > 0
    for gap in _GAPS:
        if gap > 1 and end - first < 3 * gap:
            continue
        for i in range(first + gap, end):
            key, more = keys[i], extra[i] if carries else 0
            j = i
            while j >= first + gap and (
                keys[j - gap] > key or (carries and keys[j - gap] == key and extra[j - gap] > more)
            ):
                keys[j] = keys[j - gap]
                if carries:
                    extra[j] = extra[j - gap]
                j -= gap
            keys[j] = key
            if carries:
                extra[j] = more
