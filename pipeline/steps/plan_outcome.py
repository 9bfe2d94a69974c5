"""What kept plans promised, held against later surveys: rows of plan_outcome.csv."""

from __future__ import annotations

import datetime as dt
from typing import Mapping

from pipeline.jobs import Job
from pipeline.plan.observed import observed
from pipeline.plan.outcome import Promise, in_band
from pipeline.plan.treatments import MIX, NONE
from pipeline.planning import year_start
from pipeline.steps.plan_state import ANEW, Rows, works_of
from pipeline.store import tables
from pipeline.store.kept import Kept

AFTER_DAYS = 183  # so long after a year's end a survey still speaks for it (ours)


def outcomes(job: Job, field_tables: Mapping[str, Rows], plans: list[Kept], newest: dt.date) -> list[dict]:
    """A row a treated line of each plan year that has begun: of the newest plan made before the year began, else of the first in it."""
    fiscal = job.settings.plan.fiscal_year_start
    lines = {k: tables.read(k.path, "capital_plan") for k in plans}
    out = []
    for year in sorted({r["year"] for rows in lines.values() for r in rows}):
        starts, ends = year_start(year, fiscal), year_start(year + 1, fiscal)
        with_it = [k for k in plans if k.made_on < ends and any(r["year"] == year for r in lines[k])]
        before = [k for k in with_it if k.made_on <= starts]
        if newest < starts or not with_it:
            continue
        plan = before[-1] if before else with_it[0]
        treated = [r for r in lines[plan] if r["year"] == year and r["treatment"] != NONE and r["field_id"] in field_tables]
        out += [_row(job, r, plan, field_tables[r["field_id"]], max(starts, plan.made_on), ends) for r in treated]
    return out


def _row(job: Job, line: dict, plan: Kept, rows: Rows, starts: dt.date, ends: dt.date) -> dict:
    works = [w for w in works_of(job, line["field_id"]) if w["work"] == line["treatment"] and starts <= w["done_on"] < ends]
    costs = [w["cost"] for w in works if w.get("cost") is not None]
    row = {
        "plan_year": line["year"], "field_id": line["field_id"], "treatment": line["treatment"], "component": line["component"], "plan": plan.name,
        "promised_mm": line["promised_mm"], "promised_low95_mm": line["promised_low95_mm"], "promised_high95_mm": line["promised_high95_mm"],
        "cost_planned": line["cost"], "cost_actual": sum(costs) if costs else None, "done_on": max(w["done_on"] for w in works) if works else None,
    }  # fmt: skip
    if not works or line["component"] is None:
        return row
    seen = _measured(job, line, rows, max(w.get("ended_on") or w["done_on"] for w in works), ends)
    if seen is None:
        return row
    promise = Promise(line["year"], line["field_id"], line["treatment"], line["promised_mm"], line["promised_low95_mm"], line["promised_high95_mm"], line["cost"])
    return row | {"measured_mm": seen[0], "measured_sigma_mm": seen[1], "in_band": in_band(promise, *seen)}


def _measured(job: Job, line: dict, rows: Rows, done: dt.date, ends: dt.date) -> tuple[float, float] | None:
    """The component on the survey after the work that lies nearest the year's end, before it was begun anew again."""
    name = line["component"]
    again = min((w["done_on"] for w in works_of(job, line["field_id"]) if w["work"] in ANEW[name] and w["done_on"] > done), default=dt.date.max)
    last = min(ends + dt.timedelta(days=AFTER_DAYS), again)
    days = {r["survey_id"]: dt.date.fromisoformat(r["flown_on"]) for r in rows["survey_quality"] if r["verdict"] != "refused"}
    for survey in sorted((s for s, day in days.items() if done < day <= last), key=lambda s: abs((days[s] - ends).days)):
        seen = observed(rows, survey).get(name)
        if seen is not None:
            least = job.settings.tolerances.of("mix_depth_min_mm", line["field_id"])
            return (least - seen.value if name == MIX else seen.value), seen.sigma
    return None


