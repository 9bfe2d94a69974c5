"""Whether a cloud's numbers can be what their label says, and which label they would fit.

A label is believed only as far as the numbers bear it out: metres that are feet land hundreds of kilometres away,
swapped axes on another continent.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from pyproj import CRS

from pipeline.coordinates import (
    UNIT_WORDS,
    canonical,
    holds,
    label,
    lon_lat,
    numbers_at,
    projected_at,
    twins,
    unit_m,
)  # fmt: skip
from pipeline.survey.reading.facts import Facts
from pipeline.units import vertical_unit_of

MARGIN_DEG = 1.5  # a zone is used a little beyond its border; the mistakes looked for land many degrees away
EARTH_M = (6_330_000.0, 6_420_000.0)  # distances of the ground from the earth's centre
FIELD_M = 500.0  # a cloud whose middle lies so near the field is taken for the field's
MANY = 3  # candidates named in a sentence
MEND = "Correct crs in surveys.csv if it stands there; if it is the file's own label, have that corrected."


@dataclass(frozen=True)
class Candidate:
    """A reading of a cloud's numbers that would put them on the field.

    crs        : the coordinates they would be
    swapped    : True where x is the northing or latitude
    distance_m : middle of the cloud from the middle of the field, m
    """

    crs: CRS
    swapped: bool
    distance_m: float

    def __str__(self) -> str:
        return label(self.crs) + (" with the two coordinates swapped" if self.swapped else "")


def label_problem(facts: Facts, crs: CRS, field: CRS, place: tuple[float, float] | None) -> str | None:
    """Why the numbers cannot be what they are labelled, with what they would fit; None where they can.

    crs   : horizontal CRS as labelled
    field : the field's CRS, which tells the part of the world
    place : the field's longitude and latitude where they are known
    """
    x, y, z = facts.middle
    if crs.is_geocentric:
        if EARTH_M[0] < math.hypot(x, y, z) < EARTH_M[1]:
            return None
        hint = _would_fit(x, y, field, place)
        return f"{_found(facts, crs)}, but no place on the ground has these geocentric numbers.{hint}"
    if crs.is_geographic:
        return _degrees_problem(facts, crs, field, place)
    if not crs.is_projected or fits_area(crs, x, y):
        return None
    outside = f"{_found(facts, crs)}, which puts them {_where(crs, x, y)}, outside {_area(crs)}"
    for word, twin in twins(crs).items():
        if fits_area(twin, x, y):
            was = UNIT_WORDS[vertical_unit_of(unit_m(crs)) or "m"]
            return f"{outside}. The numbers only fit {label(twin)}: {UNIT_WORDS[word]} labelled as {was}. {MEND}"
    if fits_area(crs, y, x):
        return f"{outside}. They fit with easting and northing swapped: have the points exported again, easting first."
    return f"{outside}.{_would_fit(x, y, field, place)}"


def fits_area(crs: CRS, x: float, y: float) -> bool:
    """Whether numbers lie where a projected CRS is for, a margin allowed; True where it states no area."""
    return holds(crs, *lon_lat(crs, x, y), MARGIN_DEG) is not False


def _area(crs: CRS) -> str:
    """Name of the area of use without its details."""
    return re.split(r" - counties| - onshore|, onshore|\. ", crs.area_of_use.name)[0].rstrip(".")


def _degrees_problem(facts: Facts, crs: CRS, field: CRS, place: tuple[float, float] | None) -> str | None:
    x, y, _ = facts.middle
    if abs(x) > 360 or max(abs(x), abs(y)) > 180 and abs(y) > 90:
        return f"{_found(facts, crs)}; expected degrees.{_would_fit(x, y, field, place)}"
    swapped = holds(field, y, x, MARGIN_DEG)
    if abs(y) > 90 or (swapped and holds(field, x, y, MARGIN_DEG) is False):
        return f"{_found(facts, crs)}: latitude and longitude are swapped. Have them exported again, longitude first."
    return None


def candidates(x: float, y: float, field: CRS, place: tuple[float, float],
               within_m: float = FIELD_M) -> tuple[Candidate, ...]:
    """EPSG's projected CRSs, and degrees, in which the numbers x, y lie within a distance of a place; best first.

    field : the field's CRS; candidates on its datum come first
    place : longitude, latitude
    """
    lon, lat = place
    out = []
    crss = [CRS.from_epsg(known.epsg) for known in projected_at(lon, lat)] + [CRS.from_epsg(4326)]
    for crs in crss:
        here = numbers_at(crs, lon, lat)
        per_unit = (unit_m(crs),) * 2 if crs.is_projected else (111_320.0 * math.cos(math.radians(lat)), 111_320.0)
        for swapped, (a, b) in ((False, (x, y)), (True, (y, x))):
            away = math.hypot((a - here[0]) * per_unit[0], (b - here[1]) * per_unit[1])
            if away <= within_m:
                out.append(Candidate(crs, swapped, away))
    likely = [canonical(field).geodetic_crs, CRS.from_epsg(4326)]  # then what receivers and drones come set to

    def order(one: Candidate) -> tuple:
        base = one.crs.geodetic_crs
        rank = likely.index(base) if base in likely else len(likely)
        return one.swapped, rank, round(one.distance_m, 1), one.crs.to_epsg()

    return tuple(sorted(out, key=order))


def named(found: tuple[Candidate, ...]) -> str:
    """The first few candidates as words: `A`, `A or B`, `A, B or C`."""
    words = [str(one) for one in found[:MANY]]
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _found(facts: Facts, crs: CRS) -> str:
    x, y, _ = facts.middle
    digits = 4 if max(abs(x), abs(y)) < 1000 else 0
    return f"{facts.name}: found x near {x:.{digits}f}, y near {y:.{digits}f} labelled {label(crs)}"


def _where(crs: CRS, x: float, y: float) -> str:
    lon, lat = lon_lat(crs, x, y)
    if not (math.isfinite(lon) and math.isfinite(lat)):
        return "nowhere on earth"
    north, east = "north" if lat >= 0 else "south", "east" if lon >= 0 else "west"
    return f"at {abs(lat):.2f} degrees {north}, {abs(lon):.2f} {east}"


def _would_fit(x: float, y: float, field: CRS, place: tuple[float, float] | None) -> str:
    """A sentence on what the numbers would fit near the field; without its place, in the field CRS's area of use."""
    if place is not None:
        found = candidates(x, y, field, place)
    else:
        found = _in_area(x, y, field)
    if not found:
        return " Ask whoever made the file which coordinates these are."
    return f" The numbers would fit {named(found)}: ask whoever made the file. {MEND}"


def _in_area(x: float, y: float, field: CRS) -> tuple[Candidate, ...]:
    """Readings that put the numbers anywhere in the area of use of the field's CRS."""
    area = field.area_of_use
    if area is None or area.west > area.east:
        return ()
    middle = (area.west + area.east) / 2, (area.south + area.north) / 2
    wide = 111_320.0 * math.hypot((area.east - area.west) * math.cos(math.radians(middle[1])),
                                  area.north - area.south) / 2
    found = candidates(x, y, field, middle, wide)
    return tuple(c for c in found if holds(field, *lon_lat(c.crs, *((y, x) if c.swapped else (x, y))), 0.0))
