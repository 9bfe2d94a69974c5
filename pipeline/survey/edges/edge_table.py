"""A survey along one grass edge as a table: median height, cover and count per 0.5 m of edge and 0.05 m across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_frame import EdgeFrame, edge_frame, place_of
from pipeline.survey.points import TICK_M, Ground

STATION_M, ACROSS_M = 0.5, 0.05
D_LOW_M, D_HIGH_M = -3.0, 2.6
CLEAR_M = 1.0  # stations so near to an end or a sharp turn are left out: the map is not one to one there
OTHER_EDGE_M = 0.30  # ground this near to another edge belongs to that one: its ragged line, its lip's foot
OTHER_LIP_M = 0.65  # in the grass another edge's lip reaches so far
POLYGON_OFF_M = 0.50  # a layout's polygon may be so far off: it only tells sides beyond that


@dataclass(frozen=True)
class EdgeTable:
    """One survey along one edge; rows run along it, columns across it from the skin into the grass.

    s         : (ns,) middles of the rows, m from station 0
    d         : (nd,) middles of the columns, m, + in the grass
    z         : (ns, nd) median height of the points, m; NaN where there is none or the ground is another edge's
    n         : (ns, nd) points, uint32; 0 where z is NaN
    green     : (ns, nd) share of points with 2g - r - b > 0, or None without colour
    intensity : (ns, nd) mean intensity, or None without it
    spread    : (ns, nd) robust s.d. of the points' heights (quartiles), m; NaN under 4 points
    usable    : (ns,) rows at least CLEAR_M from an end or a sharp turn
    """

    edge_id: str
    s: np.ndarray
    d: np.ndarray
    z: np.ndarray
    n: np.ndarray
    green: np.ndarray | None
    intensity: np.ndarray | None
    spread: np.ndarray
    usable: np.ndarray


def columns() -> np.ndarray:
    """Middles of the columns of every edge table, (nd,), m."""
    count = round((D_HIGH_M - D_LOW_M) / ACROSS_M)
    return D_LOW_M + (np.arange(count) + 0.5) * ACROSS_M


def rows(edge: Edge) -> np.ndarray:
    """Middles of the rows of an edge's table, (ns,), m: what is left over at the end, under 0.5 m, is dropped."""
    return (np.arange(int(edge.length_m / STATION_M + 1e-9)) + 0.5) * STATION_M


def edge_table(ground: Ground, edge: Edge, foreign: np.ndarray | None = None) -> EdgeTable:
    """The table of one edge from a survey's ground points (clutter removed).

    foreign : (ns, nd) bool, cells that must not be read (see `foreign_cells`), or None
    """
    frame, s, d = _frame(edge), rows(edge), columns()
    shape = len(s), len(d)
    cell = _cells_of(
        ground.x, ground.y, ground.west - frame.west, ground.south - frame.south, frame.segments, frame.sign,
        frame.closed, frame.reach_m, frame.ny, frame.nx, frame.first, frame.items, *shape,
    )  # fmt: skip
    count, middle, spread, order = _heights(cell, ground.z, len(s) * len(d))
    green = intensity = None
    if ground.rgb is not None:
        green = _green(order, ground.rgb, count)
    if ground.intensity is not None:
        intensity = _mean(order, ground.intensity, count)
    blank = count.reshape(shape) == 0 if foreign is None else (count.reshape(shape) == 0) | foreign

    def shaped(values: np.ndarray | None) -> np.ndarray | None:
        return None if values is None else np.where(blank, np.nan, values.reshape(shape))

    return EdgeTable(
        edge.edge_id, s, d, shaped(ground.z0 + middle * TICK_M),
        np.where(blank, 0, count.reshape(shape)).astype(np.uint32), shaped(green), shaped(intensity),
        shaped(spread * TICK_M), edge.usable(s, CLEAR_M),
    )  # fmt: skip


def foreign_cells(edge: Edge, others: list[Edge], skin=None, ignore=None) -> np.ndarray:
    """Cells of an edge's table that belong to something else, bool (ns, nd).

    A base path between two lawns is 1.83 m wide: 1.85 m from one edge lies the other's grass. Where another edge is
    nearer it says whether the ground is skin or grass; its own ragged line and its lip are never read. Where no
    edge is drawn the polygons tell.

    others : all edges of the field; the edge itself is passed over
    skin   : polygon of the skin, or None; may be off by POLYGON_OFF_M
    ignore : polygon that must not be read, or None
    """
    import shapely

    s, d = rows(edge), columns()
    e, n = edge.at(s[:, None], d[None, :])
    in_grass = np.broadcast_to(d > 0, e.shape)
    out = np.zeros(e.shape, bool)
    for other in others:
        if other.edge_id == edge.edge_id:
            continue
        across = _frame(other).project(e, n)[1]
        nearer = np.abs(across) < np.abs(d)
        out |= nearer & ((across > 0) != in_grass)
        out |= (across > -OTHER_EDGE_M) & (across < OTHER_LIP_M)
    if skin is not None and not skin.is_empty:
        out |= ~in_grass & ~shapely.contains_xy(skin.buffer(POLYGON_OFF_M), e, n)
        out |= in_grass & shapely.contains_xy(skin.buffer(-POLYGON_OFF_M), e, n)
    if ignore is not None and not ignore.is_empty:
        out |= shapely.contains_xy(ignore, e, n)
    return out


def edge_tables(ground: Ground, edges: list[Edge], skin=None, ignore=None) -> list[EdgeTable]:
    """The tables of all edges of a field, each blind to the others' ground."""
    return [edge_table(ground, edge, foreign_cells(edge, edges, skin, ignore)) for edge in edges]


def _frame(edge: Edge) -> EdgeFrame:
    return edge_frame(edge, reach_m=max(-D_LOW_M, D_HIGH_M))


@njit(cache=True)
def _cells_of(x, y, shift_x, shift_y, segments, sign, closed, reach_m, ny, nx, first, items, ns, nd):
    """The table's cell of every point, int32; -1 outside."""
    cell = np.empty(x.shape[0], np.int32)
    for k in range(x.shape[0]):
        cell[k] = -1
        px, py = x[k] * TICK_M + shift_x, y[k] * TICK_M + shift_y
        s, d = place_of(px, py, segments, sign, closed, reach_m, ny, nx, first, items)
        if np.isnan(s):
            continue
        row, col = int(np.floor(s / STATION_M)), int(np.floor((d - D_LOW_M) / ACROSS_M))
        if 0 <= row < ns and 0 <= col < nd:
            cell[k] = row * nd + col
    return cell


@njit(cache=True)
def _heights(cell, z, cells):
    """Count, median and quartile s.d. (ticks) per cell, and the points in the order of their cells.

    Integers sorted within a cell: the result does not depend on the order of the points.
    """
    count = np.zeros(cells, np.int64)
    for k in range(cell.shape[0]):
        if cell[k] >= 0:
            count[cell[k]] += 1
    first = np.zeros(cells + 1, np.int64)
    first[1:] = np.cumsum(count)
    order = np.empty(first[cells], np.int64)
    fill = first[:cells].copy()
    for k in range(cell.shape[0]):
        if cell[k] >= 0:
            order[fill[cell[k]]] = k
            fill[cell[k]] += 1
    middle, spread = np.full(cells, np.nan), np.full(cells, np.nan)
    for c in range(cells):
        m = count[c]
        if m == 0:
            continue
        heights = np.sort(z[order[first[c] : first[c + 1]]])
        middle[c] = 0.5 * (heights[(m - 1) // 2] + heights[m // 2])
        if m >= 4:
            spread[c] = (_quantile(heights, 0.75) - _quantile(heights, 0.25)) / 1.3489795
    return count, middle, spread, order


@njit(cache=True)
def _quantile(ordered, share):
    at = share * (ordered.shape[0] - 1)
    low = int(at)
    high = min(low + 1, ordered.shape[0] - 1)
    return ordered[low] + (at - low) * (ordered[high] - ordered[low])


@njit(cache=True)
def _green(order, rgb, count):
    out, i = np.full(count.shape[0], np.nan), 0
    for c in range(count.shape[0]):
        green = 0
        for _ in range(count[c]):
            r, g, b = int(rgb[order[i], 0]), int(rgb[order[i], 1]), int(rgb[order[i], 2])
            green += 2 * g - r - b > 0
            i += 1
        if count[c] > 0:
            out[c] = green / count[c]
    return out


@njit(cache=True)
def _mean(order, values, count):
    out, i = np.full(count.shape[0], np.nan), 0
    for c in range(count.shape[0]):
        total = 0
        for _ in range(count[c]):
            total += int(values[order[i]])
            i += 1
        if count[c] > 0:
            out[c] = total / count[c]
    return out
