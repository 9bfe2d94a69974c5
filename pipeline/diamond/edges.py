"""Grass edges as lines with a direction: stations run along them, distance d is positive in the grass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point

TURN_LIMIT_DEG = 22.0  # beyond this the frame (station, distance) is not one to one
VERTEX_M = 0.25


@dataclass(frozen=True)
class Edge:
    """One grass edge.

    edge_id    : `outer`, `infield`, ... or the drawn feature's name
    line       : the edge in the working CRS; station 0 at its start, counter-clockwise seen from above
    grass_left : True where the grass lies to the left of the direction
    source     : `drawn`, `layout` or `fitted`
    """

    edge_id: str
    line: LineString
    grass_left: bool
    source: str

    @property
    def length_m(self) -> float:
        return float(self.line.length)

    @property
    def closed(self) -> bool:
        return bool(self.line.is_closed)

    def stations(self, step_m: float) -> np.ndarray:
        """Middles of consecutive pieces of about step_m, (n,), m: a whole number of equal steps is not forced,
        the last piece may be shorter by up to half a step and is dropped if shorter than that."""
        count = int(np.floor(self.length_m / step_m + 0.5))
        return (np.arange(count) + 0.5) * step_m

    def at(self, station_m: np.ndarray, d_m: np.ndarray | float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        """Easting and northing of points at a station and a distance into the grass, m."""
        s = np.asarray(station_m, float)
        points = shapely.line_interpolate_point(self.line, s)
        tangent = self.tangent(s)
        sign = 1.0 if self.grass_left else -1.0
        d = np.asarray(d_m, float) * sign
        return shapely.get_x(points) - tangent[..., 1] * d, shapely.get_y(points) + tangent[..., 0] * d

    def tangent(self, station_m: np.ndarray, reach_m: float = 0.25) -> np.ndarray:
        """Unit direction of the line at each station, over +/- reach_m, (..., 2)."""
        s = np.asarray(station_m, float)
        a, b = s - reach_m, s + reach_m
        if self.closed:
            a, b = np.mod(a, self.length_m), np.mod(b, self.length_m)
        else:
            a, b = np.clip(a, 0, self.length_m), np.clip(b, 0, self.length_m)
        pa, pb = shapely.line_interpolate_point(self.line, a), shapely.line_interpolate_point(self.line, b)
        t = np.stack([shapely.get_x(pb) - shapely.get_x(pa), shapely.get_y(pb) - shapely.get_y(pa)], axis=-1)
        return t / np.maximum(np.linalg.norm(t, axis=-1, keepdims=True), 1e-12)

    def corners(self) -> np.ndarray:
        """Stations where the edge ends or turns by more than TURN_LIMIT_DEG within half a metre, m."""
        s = np.arange(0.0, self.length_m, VERTEX_M)
        before, after = self.tangent(s - 0.25), self.tangent(s + 0.25)
        turn = np.degrees(np.arccos(np.clip((before * after).sum(-1), -1, 1)))
        if not self.closed:
            inside = (s > 0.5) & (s < self.length_m - 0.5)
            return np.concatenate([[0.0], s[inside & (turn > TURN_LIMIT_DEG)], [self.length_m]])
        return s[turn > TURN_LIMIT_DEG]

    def usable(self, station_m: np.ndarray, clear_m: float = 1.0) -> np.ndarray:
        """True for stations further than clear_m from an end or a sharp turn."""
        s = np.asarray(station_m, float)
        corners = self.corners()
        if not len(corners):
            return np.ones(s.shape, bool)
        gap = np.abs(s[..., None] - corners)
        if self.closed:
            gap = np.minimum(gap, self.length_m - gap)
        return gap.min(axis=-1) >= clear_m


def oriented(line: LineString, about: tuple[float, float]) -> LineString:
    """The line turned so that it runs counter-clockwise about a point."""
    xy = np.asarray(line.coords)[:, :2] - np.asarray(about)
    swept = np.sum(xy[:-1, 0] * xy[1:, 1] - xy[1:, 0] * xy[:-1, 1])
    return LineString(np.asarray(line.coords)[:, :2][:: 1 if swept >= 0 else -1])


def started_near(line: LineString, point: tuple[float, float]) -> LineString:
    """A closed line whose first vertex is its point nearest to `point`; direction kept."""
    along = float(line.project(Point(point)))
    if along <= 1e-6 or along >= line.length - 1e-6:
        return line
    xy = np.asarray(line.coords)[:-1]
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    first = np.asarray(line.interpolate(along).coords[0])
    after = xy[at > along + 1e-6]
    before = xy[at < along - 1e-6]
    return LineString(np.vstack([first, after, before, first]))


def grass_on_left(line: LineString, skin: shapely.Geometry) -> bool:
    """Which side of a drawn line the skin is not on, judged 0.3 m to both sides all along it."""
    probe = Edge("probe", line, True, "drawn")
    s = np.linspace(0, line.length, max(int(line.length), 8) + 2)[1:-1]
    left = shapely.contains_xy(skin, *probe.at(s, 0.3)).mean()
    right = shapely.contains_xy(skin, *probe.at(s, -0.3)).mean()
    return bool(left < right)
