"""The edge's own frame: station along the line, distance into the grass, for millions of points at once.

Every point belongs to the nearest place of the line. A grid of buckets over the line's surroundings names, for each
bucket, the few segments that can be nearest to any point in it, so a point looks at those alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numba import njit

from pipeline.diamond.edges import Edge

BUCKET_M = 0.25


@dataclass(frozen=True)
class EdgeFrame:
    """An edge made ready for projecting.

    segments     : (m, 6) start x, start y from `west`, `south`, unit direction x, y, length, station of the start, m
    sign         : +1 where the grass lies to the left
    closed       : True for a ring
    reach_m      : points further from the line are not in the frame
    west, south  : origin of the vertices and of the buckets, m
    ny, nx       : buckets
    first, items : segments of bucket k are items[first[k] : first[k + 1]]
    """

    edge_id: str
    segments: np.ndarray
    sign: float
    closed: bool
    reach_m: float
    west: float
    south: float
    ny: int
    nx: int
    first: np.ndarray
    items: np.ndarray

    def project(self, e: np.ndarray, n: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Station and distance of points, each the shape of e, m.

        Distance is positive in the grass. NaN beyond `reach_m`, and beyond an open line's ends, where the nearest
        place of the line is the end itself and the side has no meaning.
        """
        e, n = np.broadcast_arrays(np.asarray(e, float), np.asarray(n, float))
        s, d = _project(
            e.ravel() - self.west, n.ravel() - self.south, self.segments, self.sign, self.closed, self.reach_m,
            self.ny, self.nx, self.first, self.items,
        )  # fmt: skip
        return s.reshape(e.shape), d.reshape(e.shape)


@lru_cache(maxsize=64)
def edge_frame(edge: Edge, reach_m: float = 3.0) -> EdgeFrame:
    """The frame of an edge as far as reach_m from it; repeated vertices are dropped."""
    xy = np.asarray(edge.line.coords)[:, :2]
    xy = xy[np.r_[True, np.hypot(*np.diff(xy, axis=0).T) > 1e-9]]
    west, south = np.floor(xy.min(axis=0) - reach_m - BUCKET_M)
    nx, ny = (int(np.ceil(v / BUCKET_M)) for v in xy.max(axis=0) + reach_m + BUCKET_M - (west, south))
    step = np.diff(xy, axis=0)
    length = np.hypot(*step.T)
    station = np.concatenate([[0.0], np.cumsum(length)[:-1]])
    segments = np.column_stack([xy[:-1] - (west, south), step / length[:, None], length, station])
    first, items = _buckets(segments, ny, nx, reach_m)
    sign = 1.0 if edge.grass_left else -1.0
    return EdgeFrame(
        edge.edge_id, segments, sign, edge.closed, reach_m, float(west), float(south), ny, nx, first, items
    )  # fmt: skip


@njit(cache=True)
def _buckets(segments, ny, nx, reach_m):
    """For each bucket the segments that may be nearest to a point in it, as offsets and items.

    A segment's inside can be nearest only to points of its slab (those whose foot falls between its ends), its end
    only to points of the wedge between two slabs. A bucket that touches a wedge either touches the border of a
    slab beside it, or lies wholly in the wedge, and then the segment nearest to its middle ends there.
    """
    half = BUCKET_M * np.sqrt(0.5)
    m = segments.shape[0]
    gaps = np.empty(m)
    count = 0
    first = np.zeros(ny * nx + 1, np.int64)
    items = np.empty(1024, np.int32)
    for k in range(ny * nx):
        px, py = (k % nx + 0.5) * BUCKET_M, (k // nx + 0.5) * BUCKET_M
        nearest, who = np.inf, 0
        for j in range(m):
            rx, ry = px - segments[j, 0], py - segments[j, 1]
            t = rx * segments[j, 2] + ry * segments[j, 3]
            off = t - min(max(t, 0.0), segments[j, 4])
            across = rx * segments[j, 3] - ry * segments[j, 2]
            gaps[j] = np.sqrt(off * off + across * across)
            if gaps[j] < nearest:
                nearest, who = gaps[j], j
        if nearest <= reach_m + half:
            for j in range(m):
                t = (px - segments[j, 0]) * segments[j, 2] + (py - segments[j, 1]) * segments[j, 3]
                in_slab = -half <= t <= segments[j, 4] + half
                if gaps[j] <= nearest + 2.0 * half and (in_slab or j == who):
                    if count == items.shape[0]:
                        items = np.concatenate((items, np.empty(count, np.int32)))
                    items[count] = j
                    count += 1
        first[k + 1] = count
    return first, items[:count].copy()


@njit(cache=True)
def place_of(px, py, segments, sign, closed, reach_m, ny, nx, first, items):
    """Station and distance of one point; NaN, NaN where it is not in the frame. Coordinates from the frame's origin."""
    col, row = int(np.floor(px / BUCKET_M)), int(np.floor(py / BUCKET_M))
    if col < 0 or col >= nx or row < 0 or row >= ny:
        return np.nan, np.nan
    k = row * nx + col
    best, who = reach_m * reach_m, -1
    foot, side = 0.0, 0.0
    for i in range(first[k], first[k + 1]):
        j = items[i]
        rx, ry = px - segments[j, 0], py - segments[j, 1]
        t = rx * segments[j, 2] + ry * segments[j, 3]
        across = segments[j, 2] * ry - segments[j, 3] * rx
        over = 0.0 if t < 0.0 else segments[j, 4]
        gap = across * across
        if t < 0.0 or t > segments[j, 4]:
            gap += (t - over) * (t - over)
        if gap < best * (1.0 - 1e-12):
            best, who, foot, side = gap, j, t, across
        elif who >= 0 and gap <= best * (1.0 + 1e-12) and abs(across) > abs(side):
            # two segments meet at the nearest vertex: the one the point stands more squarely beside tells its side
            who, foot, side = j, t, across
    if who < 0:
        return np.nan, np.nan
    length = segments[who, 4]
    if not closed and ((who == 0 and foot < 0.0) or (who == segments.shape[0] - 1 and foot > length)):
        return np.nan, np.nan
    station = segments[who, 5] + min(max(foot, 0.0), length)
    distance = np.sqrt(best)
    return station, sign * distance if side >= 0.0 else -sign * distance


@njit(cache=True)
def _project(px, py, segments, sign, closed, reach_m, ny, nx, first, items):
    s, d = np.empty(px.shape[0]), np.empty(px.shape[0])
    for k in range(px.shape[0]):
        s[k], d[k] = place_of(px[k], py[k], segments, sign, closed, reach_m, ny, nx, first, items)
    return s, d
