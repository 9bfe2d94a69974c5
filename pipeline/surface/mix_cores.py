"""Cores of the mix: drawn ones and those among the hand readings, and which of them still speak on a day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Mapping, Sequence

import numpy as np

from pipeline.diamond.layout import Feature
from pipeline.diamond.places import Place
from pipeline.units import LENGTH_UNITS

CORE_SD_M = 0.005  # one core's reading, and the base's own bumps under it; a guess
PLACE_SD_M = 0.004  # what a core may differ within the metre or so that a place's name leaves open; a guess
SAME_SPOT_M = 0.5
LATEST = dt.timedelta(days=60)  # after a day, a core still shows the mix of that day; ours
RENEWING = ("mix_add", "level", "laser_grade", "rebuild")


@dataclass(frozen=True)
class Core:
    """One depth of mix: `sigma_m` one s.d. of the reading; easting, northing and depth in m."""

    core_id: str
    e: float
    n: float
    depth_m: float
    taken_on: dt.date | None = None
    sigma_m: float = CORE_SD_M


def cores_drawn(features: Sequence[Feature]) -> tuple[Core, ...]:
    """Cores among the drawn features (`mix_core`, in the working CRS); one without a depth is none."""
    out = []
    for f in features:
        if f.role == "mix_core" and f.props.get("depth_mm") not in (None, ""):
            taken = f.props.get("taken_on")  # a date, a timestamp or text, by the file's format
            day = dt.date.fromisoformat(str(taken)[:10]) if taken else None
            out.append(Core(f.name, float(f.geometry.x), float(f.geometry.y), float(f.props["depth_mm"]) / 1000, day))
    return tuple(out)


def cores_read(readings: Sequence[Mapping], places: Sequence[Place], crs_m: float) -> tuple[tuple[Core, ...], tuple[tuple[str, str], ...]]:
    """Cores among the readings of kind `mix_depth`, and (reading_id, why) of those that could not be placed.

    readings : rows with reading_id, read_on, kind, value, unit, and e, n (in the field's own coordinates, a unit of which is
               crs_m metres) or a place, by its id or in the words people use
    """
    named = {p.place_id: p for p in places} | {p.near.lower(): p for p in places}
    out, lost = [], []
    for row in (r for r in readings if r.get("kind") == "mix_depth"):
        name, unit = str(row.get("reading_id")), row.get("unit")
        place = named.get(str(row.get("place") or "").strip().lower())
        if unit is None:
            lost.append((name, "no unit"))
        elif row.get("e") is not None and row.get("n") is not None:
            out.append(Core(name, row.get("e") * crs_m, row.get("n") * crs_m, float(row.get("value")) * LENGTH_UNITS[unit], row.get("read_on")))
        elif place is not None:
            out.append(Core(name, place.e, place.n, float(row.get("value")) * LENGTH_UNITS[unit], row.get("read_on"), float(np.hypot(CORE_SD_M, PLACE_SD_M))))
        else:
            lost.append((name, "neither e, n nor a place of this field"))
    return tuple(out), tuple(lost)


def renewals(core: Core, works: Sequence[Mapping], places: Sequence[Place]) -> tuple[dt.date, ...]:
    """Last days of the works that gave the mix another depth where a core was taken: those of the whole skin, and those of a
    place whose ring holds the core.

    works : rows with work, done_on, and optional ended_on and zone; a zone that is no place counts as the whole skin
    """
    near = {p.place_id: np.hypot(core.e - p.e, core.n - p.n) <= p.ring_out_m for p in places}
    return tuple(w.get("ended_on") or w.get("done_on") for w in works if w.get("work") in RENEWING and near.get(w.get("zone") or "", True))


def still_speaking(
    cores: Sequence[Core], works: Sequence[Mapping], places: Sequence[Place], on: dt.date
) -> tuple[tuple[Core, ...], tuple[tuple[Core, str], ...]]:
    """Cores that speak for the mix on a day, and the others with the reason.

    A core without a date is taken at its word; one taken more than LATEST after the day says nothing of it, for what wore off
    meanwhile it does not show.
    The day's survey came after a work of the same day; a core of the day of a work may be of before it. Of several at one
    spot the one nearest in time speaks.
    """
    kept, dropped = [], []
    for core in cores:
        taken = core.taken_on
        between = [r for r in renewals(core, works, places) if taken is not None and (taken <= r <= on or on < r <= taken)]
        if taken is not None and taken > on + LATEST:
            dropped.append((core, f"taken {taken.isoformat()}, more than {LATEST.days} days later"))
        elif between:
            dropped.append((core, f"taken {taken.isoformat()}, the mix was renewed {max(between).isoformat()}"))
        else:
            kept.append(core)
    order = sorted(kept, key=lambda c: (0 if c.taken_on is None else abs((on - c.taken_on).days), c.core_id))
    told: list[Core] = []
    for core in order:
        other = next((t for t in told if np.hypot(t.e - core.e, t.n - core.n) <= SAME_SPOT_M), None)
        if other is None:
            told.append(core)
        else:
            dropped.append((core, f"{other.core_id} at the same spot is nearer in time"))
    return tuple(c for c in kept if c in told), tuple(dropped)
