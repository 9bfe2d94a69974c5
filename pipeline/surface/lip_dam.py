"""What a lip holds back: the same flood over the ground as it would be with the bump at the grass edge taken off.

Without its lip the ground runs on from the skin with the skin's own slope as far as the edge, and from there with the turf's, no
lower than the turf's own line: where the turf itself stands higher the skin is low, and no cut of a lip would let the water out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.frame import Grid
from pipeline.surface.flood import fill
from pipeline.surface.ponds import Ponding
from pipeline.survey.edges.edge_frame import edge_frame

STRIP_M = (-0.5, 0.7)  # across the edge, + in the grass: where a bump is taken off; smoothing carries it so far onto the skin
SKIN_M, TURF_M = (-1.7, -0.5), (0.9, 2.4)  # where the two sides' lines are read
STATION_M, REACH = 1.0, 1  # levels are read over so much of the edge, and so many such lengths to either hand
LEAST = 12  # cells that a side is read from


@dataclass(frozen=True)
class _Side:
    """One edge unrolled: flat indices of cells, their stretch of edge (int) and distance across, m."""

    cells: np.ndarray
    stretch: np.ndarray
    across: np.ndarray


@dataclass(frozen=True)
class Strips:
    """The edges of a field unrolled on one grid: of each its skin, turf and strip, stations of the strip, and its form."""

    grid: Grid
    edges: tuple[tuple[_Side, _Side, _Side, np.ndarray, int, bool], ...]


def strips(grid: Grid, edges: Sequence[Edge], skin: np.ndarray) -> Strips:
    """Edges made ready: `skin` (ny, nx) bool keeps the skin's side to skin."""
    out = []
    for edge in edges:
        frame = edge_frame(edge)
        west, south, east, north = edge.line.bounds
        r0, c0 = max(int((grid.north - north - 3) / grid.cell_m), 0), max(int((west - 3 - grid.west) / grid.cell_m), 0)
        box = np.s_[r0 : int((grid.north - south + 3) / grid.cell_m) + 1, c0 : int((east + 3 - grid.west) / grid.cell_m) + 1]
        e, n = (v[box] for v in grid.mesh())
        cells = np.arange(grid.ny * grid.nx).reshape(grid.shape)[box].ravel()
        s, d = (v.ravel() for v in frame.project(e, n))
        count = max(int(np.ceil(edge.length_m / STATION_M)), 1)
        stretch = np.clip(np.nan_to_num(s, nan=0.0) // STATION_M, 0, count - 1).astype(int)
        on_skin = skin[box].ravel()
        chosen = ((d > SKIN_M[0]) & (d < SKIN_M[1]) & on_skin, (d > TURF_M[0]) & (d < TURF_M[1]) & ~on_skin, (d > STRIP_M[0]) & (d < STRIP_M[1]))
        sides = [_Side(cells[k], stretch[k], d[k]) for k in chosen]
        out.append((*sides, s[chosen[2]], count, edge.closed))
    return Strips(grid, tuple(out))


def capped(ground: np.ndarray, z: np.ndarray, canopy_m: float, made: Strips) -> np.ndarray:
    """The ground without its lips, (ny, nx), m: never higher than `ground`, and the same away from the edges.

    ground   : heights that water meets, grass already taken off, m; NaN where nothing was measured
    z        : heights as surveyed, m: the turf's level is read beyond the ground that water runs over
    canopy_m : what grass adds to z
    """
    out = ground.ravel().copy()
    zero = float(np.nanmean(z)) if np.isfinite(z).any() else 0.0
    flat = z.ravel() - zero
    for skin, turf, strip, s, count, closed in made.edges:
        level, slope = _line(flat, skin, count, closed)
        behind, falls = _line(flat - canopy_m, turf, count, closed)
        edge = _along(level, s, closed)
        runs_on = np.where(strip.across <= 0, edge + _along(slope, s, closed) * strip.across,
                           np.maximum(edge, _along(behind, s, closed)) + _along(falls, s, closed) * strip.across)  # fmt: skip
        cap = zero + runs_on
        out[strip.cells] = np.where(np.isfinite(cap), np.minimum(out[strip.cells], cap), out[strip.cells])
    return out.reshape(ground.shape)


def held_without(ponding: Ponding, without: np.ndarray, cells: Sequence[np.ndarray], cell_area_m2: float) -> np.ndarray:
    """Water that would still stand on each set of cells, m3, measured over the ground as it is.

    without : `capped` of `ponding.smoothed`
    """
    holes = ponding.ground & ~np.isfinite(ponding.smoothed)
    depth = np.maximum(np.nan_to_num(fill(without, holes) - ponding.smoothed), 0.0).ravel()
    return np.array([depth[c].sum() for c in cells]) * cell_area_m2


def _line(flat: np.ndarray, side: _Side, count: int, closed: bool) -> tuple[np.ndarray, np.ndarray]:
    """Height at the edge and slope across it of one side of each stretch, (count,); NaN where too little was seen."""
    v = flat[side.cells]
    seen = np.isfinite(v)
    k, d, v = side.stretch[seen], side.across[seen], v[seen]
    n, sd, sdd, sv, sdv = (_pooled(np.bincount(k, w, count), closed) for w in (np.ones_like(d), d, d * d, v, d * v))
    spread = n * sdd - sd * sd
    enough = (n >= LEAST) & (spread > 1e-6 * n * n)
    slope = np.where(enough, (n * sdv - sd * sv) / np.where(enough, spread, 1.0), np.nan)
    return (sv - slope * sd) / np.maximum(n, 1), slope


def _pooled(sums: np.ndarray, closed: bool) -> np.ndarray:
    """Sums over each stretch and REACH neighbours to either hand."""
    ends = np.pad(sums, REACH, mode="wrap" if closed and len(sums) > REACH else "constant")
    return np.lib.stride_tricks.sliding_window_view(ends, 2 * REACH + 1).sum(axis=1)


def _along(values: np.ndarray, s: np.ndarray, closed: bool) -> np.ndarray:
    """Values of the stretches' middles at stations, straight between them; NaN beside a stretch that has none."""
    count = len(values)
    at = s / STATION_M - 0.5
    low = np.floor(at).astype(int)
    share = at - low
    both = (low % count, (low + 1) % count) if closed else (np.clip(low, 0, count - 1), np.clip(low + 1, 0, count - 1))
    return values[both[0]] * (1 - share) + values[both[1]] * share
