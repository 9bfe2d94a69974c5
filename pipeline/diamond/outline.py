"""The skin and its grass edges as a layout draws them, in the diamond's own axes.

The outer boundary runs counter-clockwise: `outer` from first base's side to third's, `foul-third` home,
`home` behind the plate, `foul-first` back out. Grass lies to the right of these, to the left of `infield`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon

from pipeline.diamond.dimensions import FOUL_STRIP_M, PLATE_BEHIND_CENTRE_M, Dimensions

R2 = 2**-0.5
STEP_M = 0.25  # vertex spacing of curved edges: the chord leaves a 10 m arc by 0.8 mm


@dataclass(frozen=True)
class Outline:
    """Shapes in diamond coordinates, m.

    skin         : all bare ground, mound and home circle included
    turf_infield : the grass inside, without the mound; empty where the infield is skinned
    edges        : edge id -> (line, grass is to the left)
    mound        : the mound's circle, or None
    """

    skin: shapely.Geometry
    turf_infield: shapely.Geometry
    edges: dict[str, tuple[LineString, bool]]
    mound: shapely.Geometry | None


def circle(x: float, y: float, radius: float) -> Polygon:
    """A circle as a polygon with vertices every STEP_M at most, counter-clockwise from +x."""
    count = max(int(np.ceil(2 * np.pi * radius / STEP_M)), 32)
    a = np.arange(count) * 2 * np.pi / count
    return Polygon(np.column_stack([x + radius * np.cos(a), y + radius * np.sin(a)]))


def outline(size: Dimensions, grass: bool, arc_m: float | None = None) -> Outline:
    """The infield of one layout.

    grass : True for a grass infield
    arc_m : radius of the outer arc, m; None takes the layout's
    """
    radius = size.arc_m if arc_m is None else arc_m
    centre = np.array([0.0, size.arc_from_m])
    right = _arc_meets_foul_strip(centre, radius)
    outer = _arc_through(centre, radius, right)
    left = outer[-1]
    home = circle(0, 0, size.home_m)
    wedge = Polygon([*outer, _foul_start(-1), _foul_start(1)])
    body = shapely.union_all([wedge, home])
    lawn = _lawn(size) if grass else Polygon()
    mound = circle(0, size.pitch_m - PLATE_BEHIND_CENTRE_M, size.mound_m) if size.mound_m else None
    skin = body.difference(lawn)
    if mound is not None and grass:
        skin = shapely.union_all([skin, mound])
        lawn = lawn.difference(mound)

    to_first, to_third = _home_meets_foul_strip(size.home_m)
    edges = {
        "outer": (LineString(outer), False),
        "foul-third": (_straight(left, to_third), False),
        "home": (LineString(_home_arc(size.home_m, to_third, to_first)), False),
        "foul-first": (_straight(to_first, right), False),
    }
    if grass:
        edges["infield"] = (_from_nearest_home(_lawn(size)), True)
        if mound is not None:
            edges["mound"] = (_from_nearest_home(mound), False)
    return Outline(skin, lawn, edges, mound)


def _foul_start(side: int) -> tuple[float, float]:
    """Where the foul strip's outer line starts beside home plate."""
    return side * FOUL_STRIP_M * R2, -FOUL_STRIP_M * R2


def _arc_meets_foul_strip(centre: np.ndarray, radius: float) -> np.ndarray:
    """Where the outer arc meets the outer line of the strip beyond first base."""
    start, along = np.array(_foul_start(1)), np.array([R2, R2])
    to = start - centre
    b = to @ along
    return start + (-b + np.sqrt(b * b - to @ to + radius**2)) * along


def _arc_through(centre: np.ndarray, radius: float, right: np.ndarray) -> np.ndarray:
    """The outer arc from the first-base side over the outfield side to its mirror image, (n, 2)."""
    a0 = np.arctan2(right[1] - centre[1], right[0] - centre[0])
    a1 = np.pi - a0
    count = int(np.ceil((a1 - a0) * radius / STEP_M)) + 1
    a = np.linspace(a0, a1, count)
    return np.column_stack([centre[0] + radius * np.cos(a), centre[1] + radius * np.sin(a)])


def _home_meets_foul_strip(radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Where the home circle meets the foul strips' outer lines, first base's side and third's."""
    t = np.sqrt(radius**2 - FOUL_STRIP_M**2)
    first = np.array([R2 * (FOUL_STRIP_M + t), R2 * (t - FOUL_STRIP_M)])
    return first, first * [-1, 1]


def _home_arc(radius: float, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """The home circle behind the plate, counter-clockwise, (n, 2)."""
    a0, a1 = np.arctan2(start[1], start[0]), np.arctan2(end[1], end[0]) + 2 * np.pi
    a = np.linspace(a0, a1, int(np.ceil((a1 - a0) * radius / STEP_M)) + 1)
    return np.column_stack([radius * np.cos(a), radius * np.sin(a)])


def _straight(start: np.ndarray, end: np.ndarray) -> LineString:
    return LineString([start, end])


def _lawn(size: Dimensions) -> Polygon:
    """The inner grass without the mound: the square less strips along the lines, cut-outs and home circle."""
    b, inset = size.base_m, FOUL_STRIP_M
    lo, hi = inset / R2, (b - inset) / R2  # y of the corners nearest home and second
    half = (b - 2 * inset) * R2
    square = Polygon([(0, lo), (half, lo + half), (0, hi), (-half, lo + half)])
    corners = [(b * R2, b * R2), (0, b / R2), (-b * R2, b * R2)]
    cut = [circle(x, y, size.cutout_m) for x, y in corners if size.cutout_m]
    return square.difference(shapely.union_all([*cut, circle(0, 0, size.home_m)]))


def _from_nearest_home(polygon: Polygon) -> LineString:
    """A closed counter-clockwise line that starts at its point nearest the rear point of home plate."""
    ring = shapely.geometry.polygon.orient(polygon).exterior
    start = ring.project(Point(0, 0))
    if start > 1e-9:
        xy = np.asarray(ring.coords)[:-1]
        along = np.array([ring.project(Point(p)) for p in xy])
        after = np.roll(xy, -int(np.argmax(along >= start)), axis=0) if (along >= start).any() else xy
        first = np.asarray(ring.interpolate(start).coords[0])
        xy = after if np.hypot(*(after[0] - first)) < 1e-6 else np.vstack([first, after])
    else:
        xy = np.asarray(ring.coords)[:-1]
    return LineString(np.vstack([xy, xy[:1]]))
