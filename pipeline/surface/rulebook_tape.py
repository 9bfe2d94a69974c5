"""Distances that somebody taped: which item a reading is of, whether it still holds, how well it is known."""

from __future__ import annotations

import datetime as dt
from typing import Iterable, Mapping

import numpy as np

from pipeline.diamond.dimensions import base_feet
from pipeline.surface.rulebook_rules import DIAGONALS, SIDES
from pipeline.units import LENGTH_UNITS

TAPE_SIGMA_M = 0.006  # a steel tape pulled by hand over a base line (common practice, no source)
HOLDS_DAYS = 366  # a tape speaks for surveys up to a year later
AHEAD_DAYS = 21  # and for one flown shortly before
MOVED_BY = ("bases", "laser_grade", "rebuild")  # after these, what was taped before no longer counts
FROM_HOME = {"first": "home-first", "second": "home-second", "third": "third-home", "pitchers-plate": "pitching-distance"}


def taped(
    readings: Iterable, works: Iterable, flown_on: dt.date, main: str, other: str | None
) -> dict[str, dict[str, tuple[float, float]]]:
    """Layout -> item -> (distance, one s.d.), m: the newest reading of each that holds on the day of a survey.

    readings : rows of readings.csv of the field; of kind `distance` those whose `place` is an item (`first-second`), or a
               base or `pitchers-plate`, meaning from home plate; `-<feet>` at its end tells the second base set
    works    : rows of works.csv of the field
    """
    moved = [w.get("ended_on") or w["done_on"] for w in works if w["work"] in MOVED_BY]
    sets = {f"-{base_feet(other)}": other} if other is not None else {}
    out: dict[str, dict[str, tuple[float, float]]] = {}
    for row in sorted((r for r in readings if r["kind"] == "distance"), key=lambda r: r["read_on"]):
        item, layout = _item(row.get("place") or "", sets, main)
        if item is not None and _holds(row["read_on"], flown_on, moved):
            out.setdefault(layout, {})[item] = _read(row)
    return out


def _item(place: str, sets: Mapping[str, str], main: str) -> tuple[str | None, str]:
    name, layout = place.strip().lower().replace(" ", "-"), main
    for suffix, other in sets.items():
        if name.endswith(suffix):
            name, layout = name.removesuffix(suffix), other
    name = FROM_HOME.get(name, name)
    return (name if name in (*SIDES, *DIAGONALS, "pitching-distance") else None), layout


def _holds(read_on: dt.date, flown_on: dt.date, moved: list[dt.date]) -> bool:
    if not -HOLDS_DAYS <= (read_on - flown_on).days <= AHEAD_DAYS:
        return False
    first, last = sorted((read_on, flown_on))
    return not any(first <= day <= last for day in moved)


def _read(row) -> tuple[float, float]:
    """Distance and s.d.: a figure written to a tenth of a foot is no better known than that."""
    unit, text = LENGTH_UNITS[row["unit"]], str(row["value"])
    step = unit * 10.0 ** -len(text.partition(".")[2])
    return float(text) * unit, float(np.hypot(TAPE_SIGMA_M, step / 12**0.5))
