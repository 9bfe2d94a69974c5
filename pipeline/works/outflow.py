"""Where rain leaves the skin and what drains into each inlet, on the surveyed ground and on a design.

Both are flooded and drained alike on block means; the survey's error is drawn again and again onto the ground that the design does
not move, so that a difference that noise alone makes is known as one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
import shapely
from scipy.ndimage import binary_dilation, distance_transform_edt

from pipeline.diamond.edges import Edge
from pipeline.frame import Grid
from pipeline.surface.block_heights import Smoother, block_grid, block_share, blocks
from pipeline.surface.flood import OUTLET, drain
from pipeline.surface.ponds import EIGHT, SMOOTH_SD_M, walls
from pipeline.surface.runoff import ground_through, steered
from pipeline.surface.survey_error import SurveyError

BLOCK_M = 0.2
BIN_M = 10.0  # an edge is told in such stretches
SINK_M = 0.3  # an inlet takes the water within so much of its middle
NEAR_M = 4.0  # of an inlet off the ground that water is followed over, the border within so much
DRAWS = 12


@dataclass(frozen=True)
class Ground:
    """What water runs over.

    existing, design : heights, (ny, nx), m; of the design also where it does not move the ground; NaN where nothing was measured
    over   : bool, ground that water is followed over: skin, mound and a band beyond the edge
    moved  : bool, ground that the design sets, or that is dressed to it by hand
    white  : one s.d. of each cell's own error, m
    """

    grid: Grid
    existing: np.ndarray
    design: np.ndarray
    over: np.ndarray
    moved: np.ndarray
    white: np.ndarray


@dataclass(frozen=True)
class Stretch:
    """A stretch of an edge, or a drawn inlet: what drains over or into it before and after, m2, and one s.d. of the difference.

    on_ground : of an inlet, whether it lies on ground that water is followed over; else what leaves that ground near it
    """

    name: str
    start_m: float
    end_m: float
    before: float
    after: float
    sigma: float
    on_ground: bool = True


def dressed(existing: np.ndarray, design: np.ndarray, skin: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The design carried to the strip along the grass and about what is kept off, which is dressed by hand to what lies beside it.

    skin    : (ny, nx) bool, skin without the mound
    returns : heights, (ny, nx), m: the design where it is, on the rest of the skin the ground moved as the nearest designed cell is,
              else the ground as it is; and where either moved it
    """
    has = np.isfinite(design)
    nearest = distance_transform_edt(~has, return_distances=False, return_indices=True) if has.any() else None
    if nearest is None:
        return existing.copy(), has
    change = np.where(has, design - existing, 0.0)[tuple(nearest)]
    rest = skin & ~has & np.isfinite(existing)
    return np.where(has, design, np.where(rest, existing + change, existing)), has | rest


def compared(ground: Ground, edges: Sequence[Edge], inlets: Sequence[tuple[str, shapely.Geometry]], error: SurveyError, rng: np.random.Generator) -> tuple[list[Stretch], list[Stretch]]:
    """What leaves over each BIN_M of edge, and what drains into each inlet (name, place), once every pond is full."""
    factor = max(int(BLOCK_M / ground.grid.cell_m + 1e-9), 1)
    grid = block_grid(ground.grid, factor)[0]
    over = block_share(ground.over, ground.grid, factor) >= 0.5
    moved = block_share(ground.moved, ground.grid, factor) >= 0.5
    was, made = (blocks(z, ground.grid, factor, ground.white) for z in (ground.existing, ground.design))
    held = over & was.held & made.held
    sinks, beside = _sinks(grid, over, [shape for _, shape in inlets])
    bins, names = _bins(grid, over, edges)
    smoother = Smoother(held, grid.cell_m, SMOOTH_SD_M, twice=True)
    shut = walls(over & ~held, grid.cell_m)

    def leaves(z: np.ndarray) -> np.ndarray:
        surface = smoother.heights(np.where(held, z, np.nan))
        for sink in sinks:
            surface[sink] = np.nan
        flow = steered(drain(surface, shut & ~np.logical_or.reduce([np.zeros_like(over), *sinks])))
        through = np.where((flow.receiver == OUTLET).reshape(grid.shape), ground_through(flow, grid.cell_area_m2), 0.0)
        into = np.array([through[cells].sum() for cells in beside])
        for sink, cells in zip(sinks, beside):
            if sink.any():
                through[cells] = 0.0
        return np.concatenate([np.bincount(bins[bins >= 0], through[bins >= 0], len(names)), into])

    before, after = leaves(was.value), leaves(made.value)
    changes = []
    for field in error.fields(grid, np.where(held, was.white, 0.0), DRAWS, rng):
        own = field - field[held & moved].mean() if (held & moved).any() else field
        changes.append(leaves(made.value + np.where(moved, 0.0, own)) - leaves(was.value + own))
    sigma = np.hypot(np.std(changes, axis=0, ddof=1), np.mean(changes, axis=0) - (after - before))
    edge = [Stretch(name, a, b, *map(float, v)) for (name, a, b), *v in zip(names, before, after, sigma)]
    k = len(names)
    drains = [Stretch(name, 0.0, 0.0, float(before[k + j]), float(after[k + j]), float(sigma[k + j]), bool(sinks[j].any())) for j, (name, _) in enumerate(inlets)]
    return edge, drains


def _sinks(grid: Grid, over: np.ndarray, shapes: Sequence[shapely.Geometry]) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Of each inlet the cells that swallow water, none where it lies off the ground, and the cells whose outflow counts as its own."""
    sinks, beside = [], []
    for shape in shapes:
        sink = grid.mask(shape.buffer(max(SINK_M, grid.cell_m))) & over
        at = shape.centroid
        row, col = grid.rows_cols(at.x, at.y)
        on = bool(grid.holds(row, col)) and bool(over[min(max(row, 0), grid.ny - 1), min(max(col, 0), grid.nx - 1)])
        sinks.append(sink if on else np.zeros_like(over))
        beside.append(binary_dilation(sink, EIGHT) & ~sink if on else grid.mask(shape.buffer(NEAR_M)) & over)
    return sinks, beside


def _bins(grid: Grid, over: np.ndarray, edges: Sequence[Edge]) -> tuple[np.ndarray, list[tuple[str, float, float]]]:
    """Of each cell near the border of the ground which stretch of which edge it belongs to, -1 where none; the stretches."""
    names, out = [], np.full(over.shape, -1)
    rim = over & binary_dilation(~over, EIGHT, 2, border_value=1)
    e, n = grid.mesh()
    points = shapely.points(e[rim], n[rim])
    if not edges or not len(points):
        return out, names
    away = np.array([shapely.distance(points, edge.line) for edge in edges])
    mine, index = away.argmin(axis=0), np.full(len(points), -1)
    for k, edge in enumerate(edges):
        count = max(int(round(edge.length_m / BIN_M)), 1)
        step = edge.length_m / count
        at = mine == k
        index[at] = len(names) + np.minimum((shapely.line_locate_point(edge.line, points[at]) / step).astype(int), count - 1)
        names += [(edge.edge_id, j * step, (j + 1) * step) for j in range(count)]
    out[rim] = index
    return out, names
