"""Moving an edge sideways: as a whole, or by its own offset at every station, corners kept."""

from __future__ import annotations

import numpy as np
from shapely.affinity import translate
from shapely.geometry import LineString

from pipeline.diamond.edges import Edge

LEAST_ALONG = 0.02  # a share of normals under which the shift along that bearing is held at nothing
VERTEX_M = 0.25


def shifted_edge(edge: Edge, station: np.ndarray, offset_m: np.ndarray) -> Edge:
    """The edge moved as a whole by what its offsets have in common, least squares on its normals.

    A layout's arc about the wrong centre is moved, not bent: corners then land where they belong. What a straight
    edge cannot tell (along itself) stays.
    """
    seen = np.isfinite(offset_m)
    tangent = edge.tangent(station[seen]) * (1.0 if edge.grass_left else -1.0)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    square = normal.T @ normal + np.eye(2) * LEAST_ALONG * seen.sum()
    east, north = np.linalg.solve(square, normal.T @ offset_m[seen])
    return Edge(edge.edge_id, translate(edge.line, east, north), edge.grass_left, "fitted")


def moved_edge(edge: Edge, station: np.ndarray, offset_m: np.ndarray) -> Edge:
    """The edge moved into the grass by offset_m(station), source `fitted`; its corners stay corners.

    Between two corners the offset runs on to them unchanged from the last row seen; a corner itself goes where both
    its sides' offsets are kept.
    """
    corners = _turns(edge)
    if edge.closed:
        cuts = np.append(corners, corners[0] + edge.length_m) if len(corners) else np.array([0.0, edge.length_m])
    else:
        cuts = corners
    seen = np.isfinite(offset_m)
    sides = [_side(edge, a, b, station[seen], offset_m[seen]) for a, b in zip(cuts[:-1], cuts[1:])]
    vertices, joints = [], len(sides) if edge.closed and len(corners) else len(sides) - 1
    for k in range(joints):
        _join(edge, cuts[(k + 1)], sides[k], sides[(k + 1) % len(sides)])
    for line, _, _ in sides:
        vertices.append(line)
    xy = np.vstack(vertices)
    xy = xy[np.r_[True, np.hypot(*np.diff(xy, axis=0).T) > 1e-6]]
    if edge.closed:
        if not len(corners):
            xy = xy[:-1]
        elif np.hypot(*(xy[0] - xy[-1])) <= 1e-6:
            xy = xy[:-1]
        start = np.asarray(edge.line.coords[0][:2])
        first = int(np.argmin(np.hypot(*(xy - start).T)))
        xy = np.vstack([xy[first:], xy[: first + 1]])
    return Edge(edge.edge_id, LineString(xy), edge.grass_left, "fitted")


def _turns(edge: Edge) -> np.ndarray:
    """One station for each end and sharp turn of the edge, m: of the stations that `corners` finds around one turn
    the vertex that turns most."""
    found = edge.corners()
    if not len(found):
        return found
    groups = np.split(found, np.flatnonzero(np.diff(found) > 2.5 * VERTEX_M) + 1)
    if edge.closed and len(groups) > 1 and groups[0][0] + edge.length_m - groups[-1][-1] < 2.5 * VERTEX_M:
        groups[0] = np.concatenate([groups.pop() - edge.length_m, groups[0]])
    xy = np.asarray(edge.line.coords)[:, :2]
    step = np.diff(xy, axis=0)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*step.T))])
    heading = np.arctan2(step[:, 1], step[:, 0])
    if edge.closed:
        turn = np.abs((np.diff(heading, prepend=heading[-1]) + np.pi) % (2 * np.pi) - np.pi)
    else:
        turn = np.r_[0.0, np.abs((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi)]
    out = []
    for group in groups:
        near = (along[:-1] >= group[0] - VERTEX_M) & (along[:-1] <= group[-1] + VERTEX_M)
        if edge.closed and group[0] < 0:
            near |= along[:-1] >= group[0] - VERTEX_M + edge.length_m
        ends = not edge.closed and (group[0] == 0.0 or group[-1] == edge.length_m)
        out.append(group[0 if group[0] == 0.0 else -1] if ends else along[:-1][near][np.argmax(turn[near])])
    return np.unique(out)


def _side(edge: Edge, a: float, b: float, station: np.ndarray, offset_m: np.ndarray):
    """Vertices of one moved side from station a to b, and the offsets at its two ends."""
    count = max(int(np.ceil((b - a) / VERTEX_M)), 1)
    s = np.linspace(a, b, count + 1)
    length = edge.length_m
    inside = (station > a) & (station < b) | (station + length > a) & (station + length < b)
    if inside.any():
        at = np.where(station[inside] > a, station[inside], station[inside] + length)
        order = np.argsort(at)
        at, off = at[order], offset_m[inside][order]
        if edge.closed and b - a >= length - 1e-6:  # a ring without corners: the two ends are one place
            at, off = np.r_[at[-1] - length, at, at[0] + length], np.r_[off[-1], off, off[0]]
        d = np.interp(s, at, off)
    else:
        d = np.zeros_like(s)
    on = np.clip(s, a + 1e-6, b - 1e-6)
    on = np.mod(on, length) if edge.closed else on
    reach = min(VERTEX_M, (b - a) / 4)
    inner = np.clip(s, a + reach, b - reach)
    tangent = edge.tangent(np.mod(inner, length) if edge.closed else inner, reach)
    x, y = edge.at(on)
    sign = 1.0 if edge.grass_left else -1.0
    line = np.column_stack([x - tangent[:, 1] * d * sign, y + tangent[:, 0] * d * sign])
    return line, (d[0], tangent[0] * sign), (d[-1], tangent[-1] * sign)


def _join(edge: Edge, station: float, before, after) -> None:
    """Put the shared corner of two sides where both keep their offset: it moves by v with n1.v = d1, n2.v = d2."""
    (d1, t1), (d2, t2) = before[2], after[1]
    normals = np.array([[-t1[1], t1[0]], [-t2[1], t2[0]]])
    if abs(np.linalg.det(normals)) < 0.2:
        return
    x, y = edge.at(np.array([np.mod(station, edge.length_m)]))
    corner = np.array([x[0], y[0]]) + np.linalg.solve(normals, [d1, d2])
    before[0][-1] = after[0][0] = corner
