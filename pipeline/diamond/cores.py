"""What is wrong with a core of the mix: its depth, its day, where it stands."""

from __future__ import annotations

import math
from typing import Iterable, Mapping, Sequence

import shapely

from pipeline.diamond.days import day_of
from pipeline.diamond.layout import Feature
from pipeline.diamond.places import Place
from pipeline.errors import Problem, did_you_mean
from pipeline.units import LENGTH_UNITS

LEAST_MM, MOST_MM = 10.0, 600.0  # a depth outside, other than none at all, is in another unit (ours)
OFF_SKIN_M = 1.0  # a core this far off the skin is of another field, or its coordinates are wrong
FIRST_YEAR = 1990


def drawn_problems(file: str, row: int, props: Mapping) -> list[Problem]:
    """Depth and day of a drawn core."""
    out = [p for p in (depth_problem(file, row, "depth_mm", props.get("depth_mm"), 1.0, "mm"),) if p]
    taken = props.get("taken_on")
    if day_of(taken) is None or day_of(taken).year < FIRST_YEAR:
        found = "nothing" if taken in (None, "") else repr(str(taken))
        out.append(Problem(file, row, "taken_on", found, "the day the core was taken, like 2026-04-15",
                           "Write the date: a core from before the mix was last renewed says nothing of it.", code="core-no-day"))  # fmt: skip
    return out


def depth_problem(file: str, row: int, column: str, value, unit_mm: float, unit: str) -> Problem | None:
    """A depth that no mix has; `unit_mm` millimetres in the unit it is given in."""
    try:
        depth = float(str(value))
    except ValueError:
        depth = math.nan
    if depth == 0 or LEAST_MM <= depth * unit_mm <= MOST_MM:
        return None
    found = "nothing" if value in (None, "") else f"{value} {unit}"
    if math.isnan(depth):
        todo = f"Write the bare figure in {unit}, or take the core out."
    elif depth < 0:
        todo = "A depth counts downward from the surface: write it without the sign."
    else:
        todo = f"Check the unit: the figure is read as {unit}."
    return Problem(file, row, column, found, f"0 where there is no mix, else {LEAST_MM / unit_mm:.3g} to {MOST_MM / unit_mm:.3g} {unit}", todo, code="core-depth")


def drawn_off_skin(file: str, features: Iterable[Feature], skin: shapely.Geometry) -> list[Problem]:
    """Drawn cores that do not stand on the skin."""
    cores = [f for f in features if f.role == "mix_core"]
    return [p for f in cores if (p := _off(file, None, f"mix_core {f.name!r}", skin.distance(f.geometry)))]


def read_problems(file: str, rows: Sequence, places: Sequence[Place], skin: shapely.Geometry, crs_m: float) -> list[Problem]:
    """Readings of the mix whose depth no mix has, at no place of the field, or off its skin.

    rows  : of readings.csv, of this field; crs_m: metres in a unit of their coordinates
    """
    names = {p.place_id for p in places} | {p.near.lower() for p in places}
    out = []
    for row in (r for r in rows if r.get("kind") == "mix_depth"):
        if (unit := row.get("unit")) is not None:
            out += [p for p in (depth_problem(file, row.row, "value", row.get("value"), LENGTH_UNITS[unit] * 1000, unit),) if p]
        said = str(row.get("place") or "").strip().lower()
        if row.get("e") is not None and row.get("n") is not None:
            away = skin.distance(shapely.Point(row.get("e") * crs_m, row.get("n") * crs_m))
            out += [p for p in (_off(file, row.row, "a core", away),) if p]
        elif not said:
            out.append(Problem(file, row.row, "place", "nothing", "a place of the field, or e and n", "Say where the core was taken.", code="core-nowhere"))
        elif said not in names:
            near = sorted(p.place_id for p in places)
            out.append(Problem(file, row.row, "place", repr(row.get("place")), "a place of this field: " + (", ".join(near) or "it has none"),
                               "Name one of these, or give e and n." + did_you_mean(said, near), code="unknown-place"))  # fmt: skip
    return out


def _off(file: str, row: int | None, what: str, away: float) -> Problem | None:
    if away <= OFF_SKIN_M:
        return None
    column = None if row is None else "e"
    return Problem(file, row, column, f"{what} {away:,.1f} m off the skin", f"at most {OFF_SKIN_M:g} m", "Check its coordinates and the field it is under, or take it out.", code="core-off-skin")
