"""Answers of `new` as values: a coordinate system, the two points, a day, a figure. Each raises NotUsable with what would do."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

from pipeline.coordinates import epsg_code, holds, horizontal, label, lon_lat, numbers_at, projected_at, read_crs, unit_m, unit_words, working_crs
from pipeline.desk.asking import NotUsable, cell
from pipeline.diamond.dimensions import base_feet
from pipeline.errors import Refused, either
from pipeline.project import HOME_TO_SECOND_SLACK_M
from pipeline.store import files
from pipeline.store.points import open_points
from pipeline.survey.reading.facts import crs_said
from pipeline.tables import LAYOUTS
from pipeline.tables import number as read_number
from pipeline.units import feet

MOVED_M = 1.0  # half of what two neighbouring base distances differ by from home to second, less a little (ours)
WIDE_DEG = 30.0  # of longitude: a system in use over more is one of a continent or the world, in which no field is measured (ours)
DEGREES = 181.0  # numbers so small are longitude and latitude, or a slip
CLOUD_ENDINGS = (".las", ".laz", ".csv", ".gz", ".tif", ".tiff")  # a code never ends so


def read_system(text: str) -> str:
    """EPSG:6565 from a code, a bare number, or a cloud that states it."""
    if files.is_file(text):
        return _crs_of_file(Path(text))
    if Path(text).suffix.lower() in CLOUD_ENDINGS:
        raise NotUsable("a code such as EPSG:6565, or a cloud", f"There is no file {text}.")
    try:
        working_crs(text if not text.isdigit() else f"EPSG:{text}")
    except ValueError as error:
        found = str(error).removeprefix("found ").split("; expected")[0]
        raise NotUsable("a projected coordinate system such as EPSG:6565", f"{found[0].upper()}{found[1:]}.") from None
    return text.upper() if not text.isdigit() else f"EPSG:{text}"


def _crs_of_file(path: Path) -> str:
    try:
        said = crs_said(open_points(path).facts)
    except Refused as refused:
        raise NotUsable("a cloud that can be read", refused.reason) from None
    codes = {epsg_code(horizontal(one.crs)) for one in said}
    if len(codes) != 1 or None in codes:
        raise NotUsable("a cloud that names one EPSG coordinate system", f"{path.name} names {' and '.join(label(horizontal(one.crs)) for one in said) or 'none'}. Give the code; whoever made the file knows it.")
    return read_system(f"EPSG:{codes.pop()}")


def counted(crs: str | None) -> str:
    return "the unit of the coordinate system" if crs is None else f"{unit_words(unit_m(read_crs(crs)))} of {crs}"


def read_point(crs: str | None, degrees: bool):
    """Two numbers in the field's own coordinates. degrees : numbers that can only be longitude and latitude are carried over."""

    def read(text: str) -> tuple[float, float]:
        parts = text.replace(";", ",").replace(",", " ").split()
        try:
            x, y = map(float, parts)
        except ValueError:
            raise NotUsable("two numbers, as 2058597.917,275757.979", "A point as decimal mark, a comma between.") from None
        if not (math.isfinite(x) and math.isfinite(y)):
            raise NotUsable("two numbers", "Check them.")
        if crs is None:
            return x, y
        own = read_crs(crs)
        if abs(x) < DEGREES and abs(y) < DEGREES:
            if not degrees:
                raise NotUsable(f"coordinates of {crs}", "These look like longitude and latitude: give --lon-lat, or the field's own coordinates.")
            x, y = numbers_at(own, x, y)
        place = lon_lat(own, x, y)
        if not all(map(math.isfinite, (x, y, *place))) or holds(own, *place, 0.5) is False:
            near = ", ".join(f"EPSG:{k.epsg}" for k in projected_at(*place, no_wider_deg=WIDE_DEG)[:6]) if all(map(math.isfinite, place)) else ""
            raise NotUsable(f"a place where {label(own)} is used", "Check the coordinate system, the order (easting or longitude first) and the unit." + (f" In use near it: {near}." if near else ""))
        return x, y

    return read


def read_second(crs: str | None, degrees: bool, home: tuple[float, float] | None, layout: str | None, base_ft: str | None):
    """Second base, as far from home as the layout says. Read off a map in degrees it may stand up to MOVED_M off: then its direction
    is kept and its distance is the layout's; what was done is said."""
    point = read_point(crs, degrees)

    def read(text: str) -> tuple[float, float]:
        x, y = point(text)
        if crs is None or home is None or (layout is None and base_ft is None):
            return x, y
        to_m = unit_m(read_crs(crs))
        away, wanted = math.hypot(x - home[0], y - home[1]) * to_m, feet(base_feet(layout) if layout else float(base_ft)) * 2**0.5
        if abs(away - wanted) <= HOME_TO_SECOND_SLACK_M:
            return x, y
        typed = [float(v) for v in text.replace(";", ",").replace(",", " ").split()]
        if max(map(abs, typed)) < DEGREES and abs(away - wanted) <= MOVED_M:
            print(f"  Second base was {away:.2f} m from home by these degrees; it is put {wanted:.2f} m away in the same direction. Seven decimals of a degree say it to a centimetre.")
            return home[0] + (x - home[0]) * wanted / away, home[1] + (y - home[1]) * wanted / away
        fits = [name for name in LAYOUTS if abs(feet(base_feet(name)) * 2**0.5 - away) <= HOME_TO_SECOND_SLACK_M]
        hint = f" The points fit {either(fits)}." if fits else ""
        raise NotUsable(f"a point {wanted:.2f} m from home plate", f"It is {away:.2f} m away: check both points and the layout.{hint}")

    return read


def read_shapes_file(text: str) -> Path:
    if not files.is_file(text):
        raise NotUsable("a GeoPackage or GeoJSON", "There is no such file.")
    return Path(text)


def read_between(low: float, high: float):
    def read(text: str) -> float:
        cell(read_number(low, high))(text)
        return float(text)

    return read


def read_day(text: str) -> dt.date:
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise NotUsable("a day like 2026-03-01", "Year, month, day.") from None
    if day > dt.date.today():
        raise NotUsable("today or an earlier day", "It has not come yet.")
    return day
