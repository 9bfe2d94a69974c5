"""Water on a raster: the level it rises to, and the way it runs.

Every cell drains over the raster's border or into an outlet (a cell without height); what cannot is filled to the
level at which it can. Cells of a wall pass no water.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

DRY, OUTLET = -1, -2  # receivers: nothing runs here, the water leaves


@dataclass(frozen=True)
class Drainage:
    """Where water stands and where it runs.

    filled   : (ny, nx), m; the height, raised to the spill level where water would stand; NaN where z is, and
               where walls shut the ground in on all sides
    receiver : (ny * nx) int32, flat index of the cell a cell drains to; OUTLET where it leaves the raster, DRY where
               nothing was measured. It is the neighbour with the lowest filled level (the first reached if several)
    order    : flat indices of the measured cells, a receiver always before the cells that drain to it
    """

    filled: np.ndarray
    receiver: np.ndarray
    order: np.ndarray


def fill(z: np.ndarray, wall: np.ndarray | None = None) -> np.ndarray:
    """Heights with every closed depression raised to its spill level, 8 neighbours, m.

    z       : (ny, nx), m; a NaN is an outlet, as is everything beyond the raster
    wall    : (ny, nx) bool, NaN cells through which nothing drains; None: none
    returns : (ny, nx); >= z, and every value is some cell's height, so nothing is rounded; NaN where z is, and where
              walls shut the ground in on all sides
    source  : priority flood with a queue for the ponds, Barnes, Lehman & Mulla 2014 (from memory)
    """
    none = np.empty(0, np.int32)
    return _flood(*_prepared(z, wall), none, none)[0]


def drain(z: np.ndarray, wall: np.ndarray | None = None) -> Drainage:
    """`fill`, and each cell's receiver besides."""
    heights, state = _prepared(z, wall)
    receiver = np.full(heights.size, DRY, np.int32)
    order = np.empty(heights.size, np.int32)
    filled, count = _flood(heights, state, receiver, order)
    return Drainage(filled, receiver, order[:count])


def _prepared(z: np.ndarray, wall: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
    """Heights as float64, and per cell 0 to be flooded, 1 outlet, 2 wall."""
    heights = np.ascontiguousarray(z, np.float64)
    state = np.isnan(heights).astype(np.uint8)
    if wall is not None:
        state[wall & (state == 1)] = 2
    return heights, state


@njit(cache=True, nogil=True)
def _flood(z, state, receiver, order):
    """Filled heights and the number of cells reached. Empty `receiver` and `order`: they are not wanted."""
    ny, nx = z.shape
    size = ny * nx
    flow = receiver.size > 0
    filled = z.copy()
    done = np.zeros((ny, nx), np.uint8)
    key, where = np.empty(size, np.float64), np.empty(size, np.int32)  # the heap
    pond = np.empty(size, np.int32)  # cells below the level they were reached at, first in first out
    length, head, tail, count = 0, 0, 0, 0

    for r in range(ny):
        for c in range(nx):
            if state[r, c] == 0 and _drains_at_once(state, r, c):
                done[r, c] = 1
                length = _push(key, where, length, z[r, c], r * nx + c)
                if flow:
                    receiver[r * nx + c] = OUTLET
    while length > 0 or head < tail:
        if head < tail:
            here = pond[head]
            head += 1
        else:
            here = where[0]
            length = _pop(key, where, length)
        r, c = here // nx, here % nx
        level = filled[r, c]
        if flow:
            order[count] = here
        count += 1
        for rr in range(max(r - 1, 0), min(r + 2, ny)):
            for cc in range(max(c - 1, 0), min(c + 2, nx)):
                if done[rr, cc] or state[rr, cc] != 0:
                    continue
                done[rr, cc] = 1
                there = rr * nx + cc
                if flow:
                    receiver[there] = here
                if z[rr, cc] <= level:
                    filled[rr, cc] = level
                    pond[tail] = there
                    tail += 1
                else:
                    length = _push(key, where, length, z[rr, cc], there)
    for r in range(ny):
        for c in range(nx):
            if state[r, c] == 0 and done[r, c] == 0:
                filled[r, c] = np.nan  # walled in on all sides: nobody knows where it would drain
    return filled, count


@njit(cache=True, inline="always")
def _drains_at_once(state, r, c):
    ny, nx = state.shape
    if r == 0 or c == 0 or r == ny - 1 or c == nx - 1:
        return True
    for rr in range(r - 1, r + 2):
        for cc in range(c - 1, c + 2):
            if state[rr, cc] == 1:
                return True
    return False


@njit(cache=True, inline="always")
def _push(key, where, length, k, w):
    """Add to the heap; equal heights come out in the order of their index. Returns the new length."""
    i = length
    while i > 0:
        up = (i - 1) >> 1
        if key[up] < k or (key[up] == k and where[up] < w):
            break
        key[i], where[i] = key[up], where[up]
        i = up
    key[i], where[i] = k, w
    return length + 1


@njit(cache=True, inline="always")
def _pop(key, where, length):
    """Take the lowest off the heap, which stands at 0. Returns the new length."""
    length -= 1
    k, w = key[length], where[length]
    i = 0
    while True:
        down = 2 * i + 1
        if down >= length:
            break
        right = down + 1
        if right < length and (key[right] < key[down] or (key[right] == key[down] and where[right] < where[down])):
            down = right
        if k < key[down] or (k == key[down] and w < where[down]):
            break
        key[i], where[i] = key[down], where[down]
        i = down
    key[i], where[i] = k, w
    return length


def standing(drainage: Drainage, pond: np.ndarray, capacity_m3: np.ndarray, rain_m: float, cell_area_m2: float):
    """Water that stands in each pond after a rain of which nothing seeps away, and each pond's catchment.

    pond        : (ny, nx) int, 0 where dry, else the number of the pond, from 1; a pond has one level
    capacity_m3 : (count,) volume of each pond, m3
    returns     : (count,) m3, min(capacity, what runs in), and (count,) m2, the ground that drains into it first
    A cell drains to the lowest of its eight neighbours; a full pond passes the rest on downhill. Ground outside the
    raster brings nothing.
    """
    return _standing(
        drainage.receiver, drainage.order, np.ascontiguousarray(pond, np.int32).ravel(),
        np.asarray(capacity_m3, np.float64), rain_m, cell_area_m2,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _standing(receiver, order, pond, capacity, rain_m, cell_area_m2):
    water = np.zeros(pond.size)  # running through a cell, m3
    ground = np.zeros(pond.size)  # draining through a cell without a pond between, m2
    stands, catchment = np.zeros(capacity.size), np.zeros(capacity.size)
    first = np.full(capacity.size, -1)  # the cell of each pond that was reached first: its outlet side
    for here in order:
        p = pond[here]
        if p > 0 and first[p - 1] < 0:
            first[p - 1] = here
    for k in range(order.size - 1, -1, -1):
        here = order[k]
        water[here] += rain_m * cell_area_m2
        ground[here] += cell_area_m2
        out, area = water[here], ground[here]
        p = pond[here]
        if p > 0:
            stands[p - 1] += out
            catchment[p - 1] += area
            out, area = 0.0, 0.0
            if here == first[p - 1]:
                out = max(stands[p - 1] - capacity[p - 1], 0.0)
                stands[p - 1] -= out
        there = receiver[here]
        if there >= 0:
            water[there] += out
            ground[there] += area
    return stands, catchment
