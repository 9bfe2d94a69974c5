"""Where a cloud lies beside its field, in words, and which reading of its numbers would put it there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.coordinates import UNIT_WORDS, label, lon_lat, numbers_at, read_crs, unit_m, unit_words
from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.heights import heights_problem, reference_words
from pipeline.survey.reading.facts import KINDS, Facts
from pipeline.survey.reading.fits import candidates, named
from pipeline.survey.reading.project import field_step
from pipeline.survey.reading.reference import Reference
from pipeline.units import LENGTH_UNITS, VERTICAL_UNITS, vertical_unit_of

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
NEAR_HEIGHT_M = 30.0  # a field's own height and a survey's may differ by so much and still be taken for alike
LOCAL_M = 20_000.0  # numbers so small are a drawing's own, not a projection's
NULL_STEP_M = (0.5, 2.5)  # how far WGS 84 lies from the plate-fixed frames of North America and Europe today


@dataclass(frozen=True)
class Offset:
    """From the field to the cloud: distance between their outlines, m (0 where they touch), and bearing, degrees."""

    distance_m: float
    bearing_deg: float

    def __str__(self) -> str:
        direction = COMPASS[int((self.bearing_deg + 22.5) // 45) % 8]
        far = f"{self.distance_m / 1000:,.1f} km" if self.distance_m >= 1000 else f"{self.distance_m:.0f} m"
        return f"{far} {direction}"


@dataclass(frozen=True)
class Look:
    """What a header tells about one file and one field, before a point is read.

    name, kind, n_points : of the file
    crs             : its coordinates in words
    height          : unit and reference of its heights in words
    bounds          : west, south, east, north in the field's working CRS, m
    heights_m       : lowest and highest of a sample without its outer 2 %, m
    covered         : share of the grid's box that the file's box covers, 0 to 1
    offset          : where it lies if it misses the grid, else None
    notes           : sentences
    """

    name: str
    kind: str
    n_points: int
    crs: str
    height: str
    bounds: tuple[float, float, float, float]
    heights_m: tuple[float, float]
    covered: float
    offset: Offset | None
    notes: tuple[str, ...]


def look(facts: Facts, reference: Reference, grid: Grid) -> Look:
    """The header check of one file against one field."""
    bounds = _bounds(facts.reach, reference, grid)
    west, south, east, north = grid.bounds
    wide = max(min(east, bounds[2]) - max(west, bounds[0]), 0.0)
    tall = max(min(north, bounds[3]) - max(south, bounds[1]), 0.0)
    offset = offset_of(bounds, grid)
    notes = reference.notes
    problem = heights_problem(facts.typical[2], facts.typical[5], reference.z_factor, spread=False)
    return Look(
        facts.name, KINDS[facts.kind], facts.n_points, label(reference.crs),
        f"{unit_words(reference.z_factor)}, {reference_words(reference.height_reference)}", bounds,
        (facts.typical[2] * reference.z_factor, facts.typical[5] * reference.z_factor),
        wide * tall / ((east - west) * (north - south)), offset if offset.distance_m > 0 else None,
        notes if problem is None else (*notes, f"{facts.name}: {problem}"),
    )  # fmt: skip


def offset_of(bounds: tuple[float, float, float, float], grid: Grid) -> Offset:
    """From a grid to a box in its coordinates (west, south, east, north, m)."""
    west, south, east, north = grid.bounds
    across = max(bounds[0] - east, west - bounds[2], 0.0)
    along = max(bounds[1] - north, south - bounds[3], 0.0)
    de = (bounds[0] + bounds[2] - west - east) / 2
    dn = (bounds[1] + bounds[3] - south - north) / 2
    return Offset(math.hypot(across, along), math.degrees(math.atan2(de, dn)) % 360)


def require_on_field(facts: Facts, reference: Reference, grid: Grid) -> None:
    """Raise Refused `misses_field` where a file's box lies beside the grid."""
    if offset_of(_bounds(facts.reach, reference, grid), grid).distance_m > 0:
        raise Refused("misses_field", describe(facts, reference, grid))


def describe(facts: Facts, reference: Reference, grid: Grid, field_height_m: float | None = None) -> str:
    """A sentence or three: how far and which way the cloud lies from the field, and what would put it there.

    field_height_m : the field's height where it is known, m, in the survey's height reference
    """
    x, y, z = facts.middle
    field = read_crs(grid.crs)
    place = lon_lat(field, (grid.west + grid.east) / 2, (grid.south + grid.north) / 2)
    offset = offset_of(_bounds(facts.reach, reference, grid), grid)
    here = numbers_at(reference.crs, *place)
    digits = 5 if reference.crs.is_geographic else 0
    if math.isfinite(offset.distance_m):
        lies = f"the points lie {offset} of the field"
    else:
        lies = "these coordinates have no such place"
    parts = [
        f"{facts.name}: found x near {x:.{digits}f}, y near {y:.{digits}f} in {label(reference.crs)}, so {lies}; "
        f"expected x near {here[0]:.{digits}f}, y near {here[1]:.{digits}f}."
    ]
    now = math.hypot(x - here[0], y - here[1]) * (unit_m(reference.crs) if reference.crs.is_projected else math.inf)
    found = [c for c in candidates(x, y, field, place) if c.distance_m < now / 2 and (c.swapped or c.crs != reference.crs)]
    if found:
        parts.append(f"The numbers would put them on the field as {named(tuple(found))}: ask whoever made the file.")
    elif max(abs(x), abs(y)) < LOCAL_M and reference.crs.is_projected:
        parts.append("Numbers so small are a drawing's own coordinates: have the points tied to control and exported "
                     "again.")
    else:
        parts.append("No usual reading of the numbers puts them there: check path and fields in surveys.csv, and the "
                     "field's crs.")
    unit = _other_unit(z, reference, field_height_m)
    return " ".join([*parts, unit] if unit else parts)


def _other_unit(z: float, reference: Reference, field_height_m: float | None) -> str | None:
    """A sentence where the heights fit the field's in another unit only."""
    if field_height_m is None or abs(z * reference.z_factor - field_height_m) <= NEAR_HEIGHT_M:
        return None
    for word, factor in VERTICAL_UNITS.items():
        if abs(z * factor - field_height_m) <= NEAR_HEIGHT_M:
            return f"Heights near {z:.1f} would fit the field's {field_height_m:.1f} m as {UNIT_WORDS[word]}."
    return None


def explain_shift(reference: Reference, grid: Grid, east_m: float, north_m: float, sigma_m: float = 0.05) -> str | None:
    """What a sideways shift found between a survey and the field is likely to come from, or None.

    east_m, north_m : survey minus field, m
    sigma_m         : how well the shift and a likely cause have to agree, m
    """
    for word, (de, dn) in other_foot_shift(reference, grid).items():
        if math.hypot(de, dn) > 3 * sigma_m and math.hypot(de - east_m, dn - north_m) <= 3 * sigma_m:
            return (
                f"That is what {unit_words(unit_m(reference.crs))} written for {UNIT_WORDS[word]} would give here "
                f"({de:+.2f} m east, {dn:+.2f} m north): ask which foot the file is in."
            )
    if reference.sideways_m > 0 and NULL_STEP_M[0] <= math.hypot(east_m, north_m) <= NULL_STEP_M[1]:
        return (
            f"{label(reference.crs)} and the field's coordinates lie so far apart where the one follows the "
            "satellites and the other the ground: have the points exported in the field's coordinates by whoever set "
            "up the receiver."
        )
    return None


def other_foot_shift(reference: Reference, grid: Grid) -> dict[str, tuple[float, float]]:
    """How far a survey would lie off if its feet were really the other foot, by unit: east, north, m.

    The numbers stay, their unit changes by 2e-6: metres in a survey's coordinates of millions of feet.
    """
    if not reference.crs.is_projected or vertical_unit_of(unit_m(reference.crs)) not in ("ft", "us-ft"):
        return {}
    other = "us-ft" if vertical_unit_of(unit_m(reference.crs)) == "ft" else "ft"
    step = field_step(reference, grid)
    e, n = np.array([(grid.west + grid.east) / 2]), np.array([(grid.south + grid.north) / 2])
    x, y = step.back(e, n)
    ratio = LENGTH_UNITS[other] / unit_m(reference.crs)
    wrong_e, wrong_n = step(x / ratio, y / ratio)
    return {other: (float(wrong_e[0] - e[0]), float(wrong_n[0] - n[0]))}


def _bounds(box: tuple[float, float, float, float], reference: Reference,
            grid: Grid) -> tuple[float, float, float, float]:
    """A file's box in the grid's coordinates: west, south, east, north, m; inf where it has no place there."""
    step = field_step(reference, grid)
    along = np.linspace(0.0, 1.0, 9)
    x, y = np.meshgrid(box[0] + along * (box[2] - box[0]), box[1] + along * (box[3] - box[1]))
    e, n = step(x.ravel(), y.ravel())
    if not (np.isfinite(e).all() and np.isfinite(n).all()):
        return math.inf, math.inf, math.inf, math.inf
    return float(e.min()), float(n.min()), float(e.max()), float(n.max())
