"""Base distances and diagonals from points that somebody located: no survey shows where a buried anchor is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Iterable, Mapping

import numpy as np

from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import BASE_SIDE_M
from pipeline.diamond.outline import R2
from pipeline.surface.rulebook_item import Measured, not_seen
from pipeline.surface.rulebook_rules import DIAGONALS, SIDES

LOCATED_SIGMA_M = 0.010  # one s.d. on each axis of a point located by rover or tape (an assumption: none is stated)
GIVEN = "the field's two given points"
BASES = ("home", "first", "second", "third")
# From the middle of a bag to the corner of the square: first and third lie inside it, second on its corner.
TO_CORNER = {"home": 0.0, "first": 1.0, "second": 0.0, "third": -1.0}


@dataclass(frozen=True)
class Located:
    """A point that was located: easting, northing, and one s.d. on each axis, m. Home is the plate's rear point;
    a base is the middle of its bag. how : where it comes from, in words."""

    e: float
    n: float
    sigma_m: float = LOCATED_SIGMA_M
    how: str = "located"


def located_bases(features: Iterable, main: str, other: str | None, home=None, second=None) -> dict[str, dict[str, Located]]:
    """Located points of each base set: layout -> base -> point.

    features     : drawn features; those of role `base_anchor` with `located_on` or `located_by` count, or with neither
                   `located_on`, `located_by` nor `state` at all (drawn is located). `layout` tells the base set, else a
                   name that ends in its feet, else the main one. state `missing` or `not_found` is not located
    home, second : the field's two given points, (e, n), m, or None; a drawn anchor stands over `second`
    """
    out: dict[str, dict[str, Located]] = {name: {} for name in (main, other) if name is not None}
    if home is not None:
        for points in out.values():
            points["home"] = Located(*home, how=GIVEN)
    if second is not None:
        out[main]["second"] = Located(*second, how=GIVEN)
    for f in features:
        if f.role != "base_anchor" or str(f.props.get("state", "")).replace(" ", "_") in ("missing", "not_found"):
            continue
        name = str(f.props.get("base") or f.name)
        given = str(f.props.get("layout") or "")
        layout = given if given in out else main
        base, _, feet = name.partition("-")
        if not given and other is not None and feet and other.endswith(f"-{feet}"):
            layout = other
        if base in BASES and base != "home" and layout in out:
            at = f.geometry.centroid
            out[layout][base] = Located(at.x, at.y)
    return out


def base_distances(
    axes: Axes | None, points: Mapping[str, Located], taped: Mapping[str, tuple[float, float]] | None = None,
    bag_m: float = BASE_SIDE_M,
) -> dict[str, Measured]:  # fmt: skip
    """The four sides and two diagonals of one base set, by item.

    axes   : home to second, to know which way the bags lie; None: nothing can be told
    points : base -> located point, in the working CRS
    taped  : item -> (distance, one s.d.) read with a tape, m; it stands over the points
    Sides run from the rear point of home plate to the back edge of first and third, so half a bag is added both ways;
    second base counts by its middle (NFHS 1-2-1, 1-2-5). The points' errors are independent.
    """
    out = {}
    for item in SIDES + DIAGONALS:
        a, b = item.split("-")
        if taped and item in taped:
            out[item] = Measured(*taped[item], "by tape")
        elif axes is None:
            out[item] = not_seen("no home plate and second base are given")
        elif missing := [name for name in (a, b) if name not in points]:
            out[item] = not_seen("not located: " + ", ".join(missing))
        else:
            ends = [_corner(axes, name, points[name], bag_m) for name in (a, b)]
            sigma = float(np.hypot(points[a].sigma_m, points[b].sigma_m))
            by_table = GIVEN if {points[a].how, points[b].how} == {GIVEN} else ""
            out[item] = Measured(float(np.hypot(*(ends[1] - ends[0]))), sigma, by_table and f"from {by_table} alone")
    return out


def _corner(axes: Axes, base: str, point: Located, bag_m: float) -> np.ndarray:
    x, y = axes.local(point.e, point.n)
    return np.array([x + TO_CORNER[base] * bag_m * R2, y])
