"""Each field's state, its rates and its use, from its tables."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from math import inf, isfinite, nan
from typing import Mapping, Sequence

from pipeline.jobs import Job
from pipeline.plan.condition import NO_RATE_SD, OLD_YEARS, Component, State, aged, shrunk
from pipeline.plan.level_rate import Visit
from pipeline.plan.observed import SKIN, Seen, observed, why_no_lip
from pipeline.plan.outcome import Z95
from pipeline.plan.treatments import COMPONENTS, LIP, LOST, MIX, PLANARITY, RING, as_built
from pipeline.surface.verdict import DECIDABLE
from pipeline.tables import Read
from pipeline.units import YEAR_DAYS

TOLERANCE = {LIP: "lip_mm", PLANARITY: "planarity_mm", RING: "low_spot_mm", MIX: "mix_depth_min_mm", LOST: "encroachment_mm"}
TRIP = {LIP: "lip_trip_mm"}  # a hollow over its limit is filled at once: it does not wait for a plan
RATE = {LIP: ("lip", "edge_id"), PLANARITY: ("planarity", "zone"), RING: ("ring_depth", "zone"), MIX: ("mean_height", "zone"), LOST: ("encroachment", "edge_id")}
# Works that begin a component anew.
ANEW = {LIP: ("lip_cut", "sod", "rebuild"), PLANARITY: ("level", "laser_grade", "rebuild"), RING: ("level", "mix_add", "laser_grade", "rebuild"), MIX: ("mix_add", "rebuild"), LOST: ("edge_recut", "rebuild")}
Rows = Mapping[str, Sequence[dict]]


@dataclass(frozen=True)
class Latest:
    """A component on the newest survey that shows it."""

    seen: Seen
    on: dt.date
    survey: str


def latest(rows: Rows, works: Sequence[Read]) -> dict[str, Latest]:
    """Each component by the newest survey that shows it, refused ones left out, and those from before a work that began it anew.

    works : rows of works.csv of this field
    """
    out: dict[str, Latest] = {}
    usable = sorted((r for r in rows["survey_quality"] if r["verdict"] != "refused"), key=lambda r: r["flown_on"])
    for row in usable:
        day = dt.date.fromisoformat(row["flown_on"])
        out |= {name: Latest(seen, day, row["survey_id"]) for name, seen in observed(rows, row["survey_id"]).items()}
    anew = lambda name, since: any(w["work"] in ANEW[name] and (w.get("ended_on") or w["done_on"]) > since for w in works)
    return {name: found for name, found in out.items() if not anew(name, found.on)}


def works_of(job: Job, field_id: str) -> list[Read]:
    return [w for w in job.rows["works"] if w["field_id"] == field_id]


def newest_day(tables: Mapping[str, Rows]) -> dt.date | None:
    """The newest day of any survey in use."""
    days = [dt.date.fromisoformat(r["flown_on"]) for rows in tables.values() for r in rows["survey_quality"] if r["verdict"] != "refused"]
    return max(days, default=None)


def states(job: Job, tables: Mapping[str, Rows], starts: dt.date) -> tuple[dict[str, State], dict[str, list[tuple[str, str]]], list[str]]:
    """The fields' states; of each field what is not judged and why: `no_tolerance`, `not_measured` (of a lip also `low_skin`, `hardly_told`), or `not_sure` where its s.d.
    decides nothing; components no place has a rate of. A place's rate is drawn toward all of its kind."""
    tolerances, weights = job.settings.tolerances, _weights(job, newest_day(tables))
    found = {f: latest(rows, works_of(job, f)) for f, rows in tables.items()}
    fields = sorted(tables)
    rates, unknown = {}, []
    for name in COMPONENTS:
        told = {(f, place): rate for f in fields for place, rate in _rates(tables[f], name).items()}
        wanted = {f: (f, SKIN if name in (MIX, PLANARITY) else found[f][name].seen.place) for f in fields if name in found[f]}
        keys = sorted({*told, *wanted.values()})
        mean, sd = shrunk([told.get(k, (nan, nan))[0] for k in keys], [told.get(k, (nan, nan))[1] for k in keys])
        every = dict(zip(keys, zip(mean, sd)))
        rates[name] = {f: every[k] for f, k in wanted.items()}
        if not told:
            unknown.append(name)
    out, lacks = {}, {}
    years = lambda one: (starts - one.on).days / YEAR_DAYS
    for f in fields:
        parts, lacks[f] = {}, []
        for name in COMPONENTS:
            limit = tolerances.of(TOLERANCE[name], f)
            why = "no_tolerance" if limit is None else _unseen(tables[f], name) if name not in found[f] else "not_sure" if found[f][name].seen.sigma > limit / DECIDABLE else ""
            if why:
                lacks[f].append((name, why))
                continue
            parts[name] = aged(_component(name, found[f][name], limit, tolerances.of(TRIP[name], f) if name in TRIP else None, rates[name][f]), years(found[f][name]))
        if parts:
            newest = max(found[f][n].on for n in parts)
            parts = {n: _carried(c, (newest - found[f][n].on).days / YEAR_DAYS) for n, c in parts.items()}
            old = tuple(n for n in parts if years(found[f][n]) > OLD_YEARS)
            out[f] = State(f, weights.get(f, 1.0), (starts - newest).days / YEAR_DAYS, parts, as_built(tolerances.of("finish_mm", f)), old)
    return out, lacks, unknown


def _component(name: str, found: Latest, limit: float, trip: float | None, rate: tuple[float, float]) -> Component:
    mean, sd = (rate if isfinite(rate[0]) else (0.0, NO_RATE_SD * limit))
    level = limit - found.seen.value if name == MIX else found.seen.value
    return Component(level, found.seen.sigma, float(mean), float(sd), 0.0 if name == MIX else limit, limit, inf if trip is None else trip, found.seen.place)


def _carried(c: Component, years: float) -> Component:
    """A component of an older survey as on the day of the newest."""
    if not years:
        return c
    return Component(c.level + years * c.rate, (c.sigma**2 + (years * c.rate_sigma) ** 2) ** 0.5, c.rate, c.rate_sigma, c.limit, c.scale, c.trip, c.place)


def _unseen(rows: Rows, name: str) -> str:
    used = {r["survey_id"]: r["flown_on"] for r in rows["survey_quality"] if r["verdict"] != "refused"}
    return why_no_lip([r for r in rows["lip"] if r["survey_id"] == max(used, key=used.get)]) if name == LIP and used else "not_measured"


def _rates(rows: Rows, name: str) -> dict[str, tuple[float, float]]:
    """Place -> mm a year and one s.d., from trend.csv, of every place of a field that has them: what is worst there today is known
    better beside all others than beside the worst of other fields; of the mix what the skin loses."""
    measure, key = RATE[name]
    found = [r for r in rows["trend"] if r["measure"] == measure and r["rate_mm_per_year"] is not None and r["rate_sigma_mm_per_year"] is not None]
    sign = -1 if name == MIX else 1
    return {r[key]: (sign * r["rate_mm_per_year"], r["rate_sigma_mm_per_year"]) for r in found if r[key] == SKIN or name not in (MIX, PLANARITY)}


def _weights(job: Job, day: dt.date | None) -> dict[str, float]:
    """Hours of use in the twelve months up to `day` over the mean of the fields that have any written down."""
    if day is None:
        return {}
    last = f"{day.year}-{day.month:02}"
    first = f"{day.year - 1}-{day.month:02}"
    hours: dict[str, float] = {}
    for row in job.rows["use"]:
        if first < row["month"] <= last:
            hours[row["field_id"]] = hours.get(row["field_id"], 0.0) + row["hours"]
    mean = sum(hours.values()) / len(hours) if hours else 0.0
    return {f: h / mean for f, h in hours.items()} if mean else {}


def visits(tables: Mapping[str, Rows]) -> list[Visit]:
    """The crew's records of what an hour took of planarity and ring depth."""
    out = []
    for rows in tables.values():
        for r in rows["progress"]:
            if r["measure"] not in (PLANARITY, RING) or r["mm_per_hour"] is None:
                continue
            name, key, value = ("zones", "zone", "planarity_mm") if r["measure"] == PLANARITY else ("low_spots", "low_spot_id", "ring_depth_mm")
            before = next((b[value] for b in rows[name] if b["survey_id"] == r["from_survey"] and b[key] == r["zone"]), None)
            if before is not None:
                out.append(Visit(before, r["mm_per_hour"], (r["mm_per_hour_high95"] - r["mm_per_hour_low95"]) / (2 * Z95)))
    return out
