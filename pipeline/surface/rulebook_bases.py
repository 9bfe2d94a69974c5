"""Base distances and diagonals from points that somebody located: no survey shows where a buried anchor is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Iterable, Mapping

import numpy as np

from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import BASE_SIDE_M
from pipeline.diamond.outline import R2
from pipeline.surface.rulebook_item import Measured, not_seen
from pipeline.surface.rulebook_rules import DIAGONALS, SIDES
from pipeline.units import MM_PER_M, inches

LOCATED_SIGMA_M = 0.010  # one s.d. on each axis of a located or given point where none is stated (an assumption)
GIVEN = "the field's two given points"
DRAWN = "drawn, and nobody noted who located it or how well"
OTHER_BAG_M = inches(18)  # current professional bags; older texts and most fields have 15 in
PLATE = "pitchers-plate"  # the middle of its front edge
BASES = ("home", "first", "second", "third")
# From the middle of a bag to the corner of the square: first and third lie inside it, second on its corner.
TO_CORNER = {"home": 0.0, "first": 1.0, "second": 0.0, "third": -1.0}


@dataclass(frozen=True)
class Located:
    """A point that was located: easting, northing, and one s.d. on each axis, m; NaN where nobody knows it. Home is the
    plate's rear point; a base is the middle of its bag. how : where it comes from, in words."""

    e: float
    n: float
    sigma_m: float = LOCATED_SIGMA_M
    how: str = "located"
    bag_m: float | None = None


def located_bases(
    features: Iterable, main: str, other: str | None, home=None, second=None, given_sigma_m: float = LOCATED_SIGMA_M
) -> dict[str, dict[str, Located]]:
    """Located points of each base set: layout -> base -> point; `pitchers-plate` of the main set beside the bases.

    features     : drawn features; of role `base_anchor` all that were found. `layout` tells the base set, else a name that
                   ends in its feet, else the main one. State `missing` or `not_found` is not located. How well: its
                   `sigma_mm`, else LOCATED_SIGMA_M where `located_on` or `located_by` is filled in, else not known
    home, second : the field's two given points, (e, n), m, or None; a drawn anchor stands over `second`
    given_sigma_m : one s.d. of them on each axis, m
    """
    out: dict[str, dict[str, Located]] = {name: {} for name in (main, other) if name is not None}
    if home is not None:
        for points in out.values():
            points["home"] = Located(*home, given_sigma_m, GIVEN)
    if second is not None:
        out[main]["second"] = Located(*second, given_sigma_m, GIVEN)
    for f in features:
        if f.role != "base_anchor" or str(f.props.get("state", "")).replace(" ", "_") in ("missing", "not_found"):
            continue
        base, layout = _which(f, main, other, out)
        if (base in BASES and base != "home" or base == PLATE and layout == main) and layout in out:
            out[layout][base] = _located(f)
    return out


def _which(f, main: str, other: str | None, sets) -> tuple[str, str]:
    """The base and the base set of a drawn anchor."""
    name = str(f.props.get("base") or f.name)
    given = str(f.props.get("layout") or "")
    if name == PLATE:
        return name, given or main
    base, _, feet = name.partition("-")
    if given:
        return base, given
    return base, other if other is not None and feet and other.endswith(f"-{feet}") else main


def _located(f) -> Located:
    at, sigma, bag = f.geometry.centroid, f.props.get("sigma_mm"), f.props.get("bag_in")
    bag_m = None if bag is None else inches(float(bag))
    if sigma is not None:
        return Located(at.x, at.y, float(sigma) / MM_PER_M, bag_m=bag_m)
    if f.props.get("located_on") or f.props.get("located_by"):
        return Located(at.x, at.y, bag_m=bag_m)
    return Located(at.x, at.y, float("nan"), DRAWN, bag_m)


def base_distances(
    axes: Axes | None, points: Mapping[str, Located], taped: Mapping[str, tuple[float, float]] | None = None,
    bag_m: float = BASE_SIDE_M,
) -> dict[str, Measured]:  # fmt: skip
    """The four sides and two diagonals of one base set, by item.

    axes   : home to second, to know which way the bags lie; None: nothing can be told
    points : base -> located point, in the working CRS
    taped  : item -> (distance, one s.d.) read with a tape, m; it stands over the points
    bag_m  : side of a bag nobody noted; what OTHER_BAG_M would give goes along, so that nothing is outside for a bag's sake
    Sides run from the rear point of home plate to the back edge of first and third, so half a bag is added both ways;
    second base counts by its middle (NFHS 1-2-1, 1-2-5). The points' errors are independent of each other.
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
            ends, others = ([_corner(axes, name, points[name], bag) for name in (a, b)] for bag in (bag_m, OTHER_BAG_M))
            other = float(np.hypot(*(others[1] - others[0])))
            out[item] = replace(_between(points[a], points[b], *ends), or_value_m=other, or_if="the bags are 18 in square: note bag_in")
    return out


def pitching_distance(points: Mapping[str, Located], taped: Mapping[str, tuple[float, float]]) -> Measured:
    """Rear point of home plate to the middle of the front of the pitcher's plate, m: by tape, else from a located plate."""
    if "pitching-distance" in taped:
        return Measured(*taped["pitching-distance"], "by tape")
    if "home" not in points or PLATE not in points:
        return not_seen("the pitcher's plate was not located: tape it")
    return _between(points["home"], points[PLATE], *(np.array([points[k].e, points[k].n]) for k in ("home", PLATE)))


def _between(a: Located, b: Located, start: np.ndarray, end: np.ndarray) -> Measured:
    """Distance of two points with what stands behind them; the table's two points alone can only show that they disagree."""
    hows = {a.how, b.how}
    said = f"from {GIVEN} alone" if hows == {GIVEN} else "; ".join(sorted(hows & {DRAWN})) or ("home plate as the table gives it" if GIVEN in hows else "")
    return Measured(float(np.hypot(*(end - start))), float(np.hypot(a.sigma_m, b.sigma_m)), said, by_table=hows == {GIVEN})


def _corner(axes: Axes, base: str, point: Located, bag_m: float) -> np.ndarray:
    x, y = axes.local(point.e, point.n)
    bag_m = bag_m if point.bag_m is None else point.bag_m
    return np.array([x + TO_CORNER[base] * bag_m * R2, y])
