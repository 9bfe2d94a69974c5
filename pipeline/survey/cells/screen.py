"""Which points are ground: what stands above it or lies below it is dropped, and counted by reason.

A point is held against its plane block's plane. The band reaches further where the reference blocks around it say
that the ground itself does: up to a grass edge's height, down into a hollow. Otherwise a block that is mostly skin
would shave the lip off its corner, and a deep hole at a base, the very thing to be found, would be cut out as an error.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from pipeline.survey.cells.block_planes import ENOUGH_POINTS, place, plane_of_blocks, plane_of_points

ABOVE, BELOW, OBJECT = "above", "below", "object"
ABOVE_M, BELOW_M, SPREADS = 0.060, 0.040, 5.0  # the band, at least; and in robust standard deviations
HOLLOW_M = 0.35  # a hollow deeper than this below its plane is not taken for ground
LOW_OBJECT_M = 0.5  # what stands on the ground shows below this; a bird or a branch does not
_TICKS = 2000  # of a scatter that is told apart, TICK_M


@njit(nogil=True, cache=True)
def screen_tile(keys, extra, starts, block, planes, cell_ticks, clean, bottom, ridge, objects, removed):
    """Drop what is not ground from one tile, in place.

    keys, extra, starts : the tile's points in order; kept points move up, starts is rewritten
    block, planes       : cells along a reference block, plane blocks along the tile
    clean, bottom, ridge, objects : `Blocks` of the tile with a ring of one block around it (NaN, False beyond the grid)
    removed : (3,) int64, increased by the points dropped as above, below, object
    returns : points kept
    """
    per = block * block
    side = 3 * block * cell_ticks
    side_m, block_m = side * 1e-4, block * cell_ticks * 1e-4
    kept = 0
    first = starts[0]
    low, high, by_cell = np.empty(9), np.empty(9), np.empty(9, np.bool_)
    for p in range(planes * planes):
        pr, pc = p // planes, p % planes
        cell0 = p * 9 * per
        old_end = starts[cell0 + 9 * per]
        about = clean[3 * pr : 3 * pr + 5, 3 * pc : 3 * pc + 5]
        down, up = bottom[3 * pr : 3 * pr + 5, 3 * pc : 3 * pc + 5], ridge[3 * pr : 3 * pr + 5, 3 * pc : 3 * pc + 5]
        for b in range(9):
            by_cell[b] = objects[3 * pr + 1 + b // 3, 3 * pc + 1 + b % 3]
        level_m = _middle_of(about)
        if np.isnan(level_m):  # no ground anywhere near: all of it stands on an object
            removed[2] += old_end - first
            for c in range(cell0, cell0 + 9 * per):
                starts[c] = kept
            first = old_end
            continue
        level = np.int64(np.rint(level_m * 1e4))
        middle_row, middle_col = (pr + 0.5) * side, (pc + 0.5) * side
        every = 1 + (old_end - first) // ENOUGH_POINTS
        plane = plane_of_blocks(about, block_m, level * 1e-4)
        for _ in range(2):
            _near_reference(plane, about, level * 1e-4, block_m, low, high)
            plane = plane_of_points(
                keys, starts, cell0, per, every, low, high, middle_row, middle_col, level, side_m, plane, plane
            )  # fmt: skip
        spread = _spread(keys, starts, cell0, per, every, low, high, middle_row, middle_col, level, plane)
        _band(plane, about, down, up, level * 1e-4, block_m, spread, low, high)
        a, by, bx = plane
        for b in range(9):
            for c in range(cell0 + b * per, cell0 + (b + 1) * per):
                end, before, standing = starts[c + 1], kept, 0
                starts[c] = kept
                for i in range(first, end):
                    y, x, z = place(keys[i], middle_row, middle_col, level)
                    off = z - (a + by * y + bx * x)
                    if off > high[b]:
                        removed[2 if by_cell[b] else 0] += 1
                        standing += off < LOW_OBJECT_M
                    elif off < low[b]:
                        removed[1] += 1
                    else:
                        keys[kept] = keys[i]
                        if len(extra):
                            extra[kept] = extra[i]
                        kept += 1
                if standing > kept - before:  # shoes, tyres, the foot of a pile: what is left is not ground either
                    removed[2] += kept - before
                    kept = before
                first = end
    starts[len(starts) - 1] = kept
    return kept


@njit(nogil=True, cache=True)
def _middle_of(height):
    """A height near the middle of (5, 5) blocks: the median of those known, NaN if none is."""
    near = np.empty(25)
    n = 0
    for r in range(5):
        for c in range(5):
            if not np.isnan(height[r, c]):
                near[n] = height[r, c]
                n += 1
    if n == 0:
        return np.nan
    near[:n].sort()
    return near[n // 2]


@njit(nogil=True, cache=True)
def _near_reference(plane, about, level_m, block_m, low, high):
    """Limits within 60 mm of each reference block's height, as distances from the plane, m."""
    a, by, bx = plane
    for b in range(9):
        r, c = b // 3, b % 3
        off = about[r + 1, c + 1] - level_m - (a + by * (r - 1) * block_m + bx * (c - 1) * block_m)
        if np.isnan(off):
            off = 0.0
        low[b], high[b] = off - ABOVE_M, off + ABOVE_M


@njit(nogil=True, cache=True)
def _band(plane, about, down, up, level_m, block_m, spread, low, high):
    """Limits of what is ground, as distances from the plane, m, by reference block."""
    a, by, bx = plane
    for b in range(9):
        highest = lowest = 0.0
        for r in range(b // 3, b // 3 + 3):
            for c in range(b % 3, b % 3 + 3):
                there = level_m + a + by * (r - 2) * block_m + bx * (c - 2) * block_m
                if not np.isnan(about[r, c]):
                    highest = max(highest, about[r, c] - there)
                if not np.isnan(up[r, c]):
                    highest = max(highest, up[r, c] - there)
                if down[r, c] - there > -HOLLOW_M:  # not so of NaN
                    lowest = min(lowest, down[r, c] - there)
        low[b] = -max(BELOW_M - lowest, SPREADS * spread)
        high[b] = max(ABOVE_M + highest, SPREADS * spread)


@njit(nogil=True, cache=True)
def _spread(keys, starts, cell0, per, every, low, high, middle_row, middle_col, level, plane):
    """1.4826 times the median distance from the plane of the points near the reference, m, to 0.1 mm."""
    a, by, bx = plane
    found = np.zeros(_TICKS + 1, np.int64)
    n = 0
    for b in range(9):
        for i in range(starts[cell0 + b * per], starts[cell0 + (b + 1) * per], every):
            y, x, z = place(keys[i], middle_row, middle_col, level)
            off = z - (a + by * y + bx * x)
            if off >= low[b] and off <= high[b]:
                found[min(np.int64(abs(off) * 1e4 + 0.5), _TICKS)] += 1
                n += 1
    if n == 0:
        return 0.0
    seen, tick = 0, -1
    while 2 * seen < n:
        tick += 1
        seen += found[tick]
    return 1.4826 * tick * 1e-4
