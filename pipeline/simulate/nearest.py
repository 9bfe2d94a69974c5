"""Signed distance and station of points against a set of directed lines, exact and fast.

A grid of square buckets lists, for each, the segments that can be nearest to a point in it: those within the
distance of the nearest to its middle plus a bucket's diagonal. Coarse buckets first, so that fine ones choose from few.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numba import njit

BUCKET_M = 0.25
COARSE = 16  # buckets in the side of a coarse one


@dataclass(frozen=True)
class Lines:
    """Directed lines as segments in buckets; coordinates relative to an origin, m.

    segments : (n, 4) x, y of start and end
    station  : (n,) station of each segment's start along its line, m
    owner    : (n,) index of the line it belongs to
    left     : (n,) +1 where the positive side lies to the left of the direction, else -1
    west, south, ny, nx : the buckets
    first, listed : segments of bucket b are listed[first[b] : first[b + 1]]
    """

    segments: np.ndarray
    station: np.ndarray
    owner: np.ndarray
    left: np.ndarray
    west: float
    south: float
    ny: int
    nx: int
    first: np.ndarray
    listed: np.ndarray

    def find(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Of each point (n,): signed distance from the nearest line, m; its station there, m; which line."""
        return _find(
            np.asarray(x, float), np.asarray(y, float), self.segments, self.station, self.owner, self.left,
            self.west, self.south, self.ny, self.nx, self.first, self.listed, BUCKET_M,
        )  # fmt: skip


def lines(shapes: list[tuple[shapely.LineString, bool]], box: tuple[float, float, float, float]) -> Lines:
    """Prepare lines for points inside a box (west, south, east, north, m); a point beyond it is answered as if
    only the segments of the nearest bucket existed.

    shapes : (line, True where the positive side is to the left)
    """
    segments, station, owner, left = [], [], [], []
    for index, (shape, on_left) in enumerate(shapes):
        xy = np.asarray(shape.coords)[:, :2]
        length = np.hypot(*np.diff(xy, axis=0).T)
        segments.append(np.hstack([xy[:-1], xy[1:]]))
        station.append(np.concatenate([[0.0], np.cumsum(length)[:-1]]))
        owner.append(np.full(len(length), index))
        left.append(np.full(len(length), 1.0 if on_left else -1.0))
    segments = np.vstack(segments)
    west, south, east, north = box
    nx, ny = (max(int(np.ceil((b - a) / BUCKET_M)), 1) for a, b in ((west, east), (south, north)))
    cx, cy, everything = -(-nx // COARSE), -(-ny // COARSE), np.arange(len(segments))
    whole = np.array([0, len(segments)]), everything, 1, max(cx, cy)
    coarse = _bucketed(segments, west, south, cy, cx, COARSE * BUCKET_M, *whole)
    first, listed = _bucketed(segments, west, south, ny, nx, BUCKET_M, *coarse, cx, COARSE)
    return Lines(segments, np.concatenate(station), np.concatenate(owner), np.concatenate(left),
                 west, south, ny, nx, first, listed)  # fmt: skip


@njit(cache=True)
def _off(px, py, s):
    """Squared distance of a point from a segment, and the share along it where it is nearest."""
    dx, dy = s[2] - s[0], s[3] - s[1]
    t = min(max(((px - s[0]) * dx + (py - s[1]) * dy) / (dx * dx + dy * dy), 0.0), 1.0)
    ex, ey = px - s[0] - t * dx, py - s[1] - t * dy
    return ex * ex + ey * ey, t


@njit(cache=True)
def _aside(px, py, s):
    """Distance of a point from a segment's straight continuation, positive to the left."""
    dx, dy = s[2] - s[0], s[3] - s[1]
    return (dx * (py - s[1]) - dy * (px - s[0])) / np.sqrt(dx * dx + dy * dy)


@njit(cache=True)
def _bucketed(segments, west, south, ny, nx, size, outer_first, outer_listed, outer_nx, per):
    """Lists of segments for ny by nx buckets, chosen from the lists of outer buckets that are `per` times as wide."""
    reach = size * 2**0.5
    first = np.zeros(ny * nx + 1, np.int64)
    near = np.empty(len(segments))
    listed = np.empty(0, np.int64)
    for fill in range(2):
        for b in range(ny * nx):
            x, y = west + (b % nx + 0.5) * size, south + (b // nx + 0.5) * size
            outer = b // nx // per * outer_nx + b % nx // per
            start, end = outer_first[outer], outer_first[outer + 1]
            best = np.inf
            for a in range(start, end):
                near[a - start] = np.sqrt(_off(x, y, segments[outer_listed[a]])[0])
                best = min(best, near[a - start])
            at = first[b]
            for a in range(start, end):
                if near[a - start] <= best + reach:
                    if fill:
                        listed[at] = outer_listed[a]
                    at += 1
            if not fill:
                first[b + 1] = at
        if not fill:
            listed = np.empty(first[-1], np.int64)
    return first, listed


@njit(cache=True)
def _find(x, y, segments, station, owner, left, west, south, ny, nx, first, listed, size):
    distance, along, line = np.empty(x.size), np.empty(x.size), np.empty(x.size, np.int64)
    for p in range(x.size):
        i = min(max(int((x[p] - west) / size), 0), nx - 1)
        j = min(max(int((y[p] - south) / size), 0), ny - 1)
        b = j * nx + i
        best, best_t, best_cross, best_k = np.inf, 0.0, 0.0, -1
        for a in range(first[b], first[b + 1]):
            k = listed[a]
            d2, t = _off(x[p], y[p], segments[k])
            near = 1e-9 * (1.0 + d2)
            if d2 > best + near:
                continue
            # Beyond a corner two segments are equally near: the one seen more broadside tells the side.
            cross = _aside(x[p], y[p], segments[k])
            if d2 < best - near or abs(cross) > abs(best_cross):
                best, best_t, best_cross, best_k = min(best, d2), t, cross, k
        s = segments[best_k]
        side = left[best_k] if best_cross >= 0.0 else -left[best_k]
        distance[p] = side * np.sqrt(best)
        along[p] = station[best_k] + best_t * np.hypot(s[2] - s[0], s[3] - s[1])
        line[p] = owner[best_k]
    return distance, along, line
