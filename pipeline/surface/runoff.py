"""The way water runs down a surface, cell by cell: receivers that keep to the true fall, what drains through each cell,
and the few main paths.

A cell can only pass its water on to one of eight neighbours. Taken alone, the lowest of them lies up to 45 degrees off the
fall, and on even ground every step errs to the same side: a catchment would lie beside its pond. So each cell is told by how
much the water that reached it has strayed, and takes the neighbour that brings it back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit

from pipeline.frame import Grid
from pipeline.surface.flood import OUTLET, Drainage

LEAST_M2 = 20.0  # a path begins where so much ground drains through one cell
MOST_PATHS = 6
APART_M = 4.0  # two paths that leave nearer to one another count as one
SHORT_M = 4.0  # shorter ones are no main path

# Facets: the straight neighbour, the slanting one beside it, and to which side of the straight one it lies.
_FACETS = np.array(
    [(0, 1, -1, 1, 1), (-1, 0, -1, 1, -1), (-1, 0, -1, -1, 1), (0, -1, -1, -1, -1), (0, -1, 1, -1, 1), (1, 0, 1, -1, -1),
     (1, 0, 1, 1, 1), (0, 1, 1, 1, -1)]
)  # fmt: skip


def steered(drainage: Drainage) -> Drainage:
    """The same drainage with receivers along the true fall; water on ponds and flats, and what leaves, goes as before.

    A receiver stands lower than its cell, so `order` still holds.
    source : eight directions with the least cumulative transversal deviation, Orlandini, Moretti, Franchini, Aldighieri &
             Testa 2003 (from memory); the steepest of eight facets, Tarboton 1997 (from memory)
    """
    receiver = drainage.receiver.copy()
    _steer(drainage.filled, receiver, drainage.order, _FACETS)
    return replace(drainage, receiver=receiver)


@njit(cache=True, nogil=True)
def _steer(filled, receiver, order, facets):
    ny, nx = filled.shape
    flat = filled.ravel()
    strayed = np.zeros(flat.size)  # sideways off the fall so far, cells, + to the left of it
    through = np.ones(flat.size)
    feeder = np.zeros(flat.size)  # the most that one neighbour has brought
    for k in range(order.size - 1, -1, -1):
        here = order[k]
        if receiver[here] < 0:
            continue
        r, c = here // nx, here % nx
        best, left = 0.0, 0.0
        straight, slanting, off_straight, off_slanting = -1, -1, 0.0, 0.0
        for f in range(8):
            r1, c1, r2, c2 = r + facets[f, 0], c + facets[f, 1], r + facets[f, 2], c + facets[f, 3]
            if min(r1, r2, c1, c2) < 0 or max(r1, r2) >= ny or max(c1, c2) >= nx:
                continue
            h1, h2 = filled[r1, c1], filled[r2, c2]
            if np.isnan(h1) or np.isnan(h2):
                continue
            down, over = filled[r, c] - h1, h1 - h2
            angle = np.arctan2(over, down)
            if angle < 0.0:
                angle, slope = 0.0, down
            elif angle > np.pi / 4:
                angle, slope = np.pi / 4, (filled[r, c] - h2) / np.sqrt(2.0)
            else:
                slope = np.hypot(down, over)
            if slope > best:
                best, left = slope, float(facets[f, 4])
                straight, slanting = r1 * nx + c1, r2 * nx + c2
                off_straight, off_slanting = -left * np.sin(angle), left * np.sqrt(2.0) * np.sin(np.pi / 4 - angle)
        if best > 0.0:
            if flat[straight] >= flat[here]:
                straight = slanting
                off_straight = off_slanting
            if flat[slanting] >= flat[here]:
                slanting = straight
                off_slanting = off_straight
            if flat[straight] < flat[here]:
                go_straight = abs(strayed[here] + off_straight) <= abs(strayed[here] + off_slanting)
                receiver[here] = straight if go_straight else slanting
                stray = strayed[here] + (off_straight if go_straight else off_slanting)
            else:
                stray = 0.0
        else:
            stray = 0.0
        there = receiver[here]
        through[there] += through[here]
        if through[here] > feeder[there]:
            feeder[there] = through[here]
            strayed[there] = stray


def ground_through(drainage: Drainage, cell_area_m2: float) -> np.ndarray:
    """Ground that drains through each cell once every pond is full, its own in it, (ny, nx), m2; 0 where nothing runs."""
    out = np.zeros(drainage.receiver.size)
    _gather(drainage.receiver, drainage.order, out, cell_area_m2)
    return out.reshape(drainage.filled.shape)


@njit(cache=True, nogil=True)
def _gather(receiver, order, out, area):
    for k in range(order.size - 1, -1, -1):
        here = order[k]
        out[here] += area
        if receiver[here] >= 0:
            out[receiver[here]] += out[here]


@dataclass(frozen=True)
class Path:
    """One main path of water, from where it gathers to where it leaves.

    cells : flat indices along it, downhill
    e, n  : their middles, m
    drains_m2 : ground that drains through its end
    """

    cells: np.ndarray
    e: np.ndarray
    n: np.ndarray
    drains_m2: float


def main_paths(drainage: Drainage, grid: Grid, asked: np.ndarray) -> tuple[Path, ...]:
    """The few paths that most ground drains along, most first.

    asked : (ny, nx) bool; a path begins on it and ends where it leaves the ground water runs over
    """
    through = ground_through(drainage, grid.cell_area_m2).ravel()
    ends = np.flatnonzero((drainage.receiver == OUTLET) & (through >= LEAST_M2))
    ends = ends[np.argsort(-through[ends], kind="stable")]
    feeder = _feeders(drainage.receiver, drainage.order, through)
    out: list[Path] = []
    taken: list[tuple[float, float]] = []
    for end in ends:
        e, n = _middle(grid, end)
        if len(out) >= MOST_PATHS:
            break
        if any(np.hypot(e - a, n - b) < APART_M for a, b in taken):
            continue
        cells = [int(end)]
        while feeder[cells[-1]] >= 0 and through[feeder[cells[-1]]] >= LEAST_M2:
            cells.append(int(feeder[cells[-1]]))
        run = np.array(cells[::-1])
        run = run[np.argmax(asked.ravel()[run]) :] if asked.ravel()[run].any() else run[:0]
        if len(run) * grid.cell_m < SHORT_M:
            continue
        taken.append((float(e), float(n)))
        out.append(Path(run, *_middle(grid, run), float(through[end])))
    return tuple(out)


@njit(cache=True, nogil=True)
def _feeders(receiver, order, through):
    """Of each cell the neighbour that brings it most, -1 where none does; of two alike the one reached first."""
    out = np.full(receiver.size, -1)
    for here in order:
        there = receiver[here]
        if there >= 0 and (out[there] < 0 or through[here] > through[out[there]]):
            out[there] = here
    return out


def _middle(grid: Grid, cells):
    return grid.west + (cells % grid.nx + 0.5) * grid.cell_m, grid.north - (cells // grid.nx + 0.5) * grid.cell_m
