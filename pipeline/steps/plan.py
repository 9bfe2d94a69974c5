"""plan: the capital plan over all fields as a record, and what earlier plans promised. Its words are the portfolio's: an edit of words makes no new plan."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from typing import Mapping

from pipeline.diamond.carry import from_plain
from pipeline.jobs import Job
from pipeline.plan.board import Board, board, pins_in_the_way
from pipeline.plan.budget_lines import bought, budget_steps, changed, trip_judged
from pipeline.plan.choose import FEW
from pipeline.plan.feasible import Infeasible
from pipeline.plan.schedules import forced, surely_over
from pipeline.plan.firmness import DRAWS
from pipeline.plan.lines import comings, conditions, courses, lines, over_years
from pipeline.plan.offer import Field
from pipeline.plan.outcome import score
from pipeline.owner import LASER_GRADE
from pipeline.plan.treatments import NONE, REBUILD, RING, TREATMENTS
from pipeline.planning import asked, year_start
from pipeline.steps.plan_outcome import outcomes
from pipeline.steps.plan_prices import done_in, lip_m, prices, terms
from pipeline.steps.plan_state import Rows, newest_day, states
from pipeline.store import kept, records, tables
from pipeline.store.where import Where
from pipeline.variables import FIELD_TABLES

NOT_ASKED, NOT_MEASURED, INFEASIBLE, PLANNED = "not_asked", "not_measured", "infeasible", "planned"


def run(job: Job, where: Where) -> None:
    """Read every field's tables, choose, write the record, and hold kept plans against what was measured since."""
    found = {r["field_id"]: {name: tables.read(where.table(r["field_id"], name), name) for name in FIELD_TABLES} for r in job.rows["fields"]}
    newest = newest_day(found)
    known = newest is not None
    record = planned(job, where, found) if asked(job.settings.plan) and known else {"state": NOT_MEASURED if asked(job.settings.plan) else NOT_ASKED}
    told = outcomes(job, found, kept.kept(where.plans), newest) if known else []
    tables.write(where.plan_outcome, "plan_outcome", told)
    tables.write(where.budget_steps, "budget_steps", [_plain(step) for step in record.get("budgets", ())])
    scored = score([r.get("in_band") for r in told])
    record["newest"] = None if newest is None else newest.isoformat()
    record["outcome"] = {"promised": len(told), "measured": scored.lines, "in_band": scored.kept, "share": scored.share, "trusted": scored.trusted}
    records.write(where.plan_record, record)


def _plain(step: Mapping) -> dict:
    """A budget step as its row: lists in one cell, parted by semicolons."""
    changes = [(c["from"], c["to"], f"{c['year']} {c['field_id']}") for c in step.get("changed", ())]
    return {k: v for k, v in step.items() if k not in ("changed", "bought", "over_trip", "perhaps_over_trip")} | {
        "bought": ";".join(f"{n} {word}" for word, n in sorted(step.get("bought", {}).items())),
        "added": ";".join(f"{at} {to}" for _, to, at in changes if to != NONE), "dropped": ";".join(f"{at} {was}" for was, _, at in changes if was != NONE),
        **{n: ";".join(step.get(n, ())) for n in ("over_trip", "perhaps_over_trip")},
    }  # fmt: skip


def planned(job: Job, where: Where, found: Mapping[str, Rows]) -> dict:
    """The record of a plan, or why there is none."""
    plan = job.settings.plan
    starts = year_start(plan.first_year, plan.fiscal_year_start)
    known, lacks, unknown = states(job, found, starts)
    row_of = {r["field_id"]: r for r in job.rows["fields"]}
    fields, sizes = [], {}
    for name in sorted(known):
        area = from_plain(records.read(where.layout(name))).skin.area
        offered, missing = prices(job, known[name], found[name], tables.read(where.table(name, "quantities"), "quantities"), area)
        sizes[name] = {"area_m2": area, "lip_m": lip_m(job, known[name], found[name])}
        fields.append(Field(known[name], row_of[name].get("site") or name, offered, missing, done_in(job, name)))
    ask = terms(job, found, Counter(f.site for f in fields))
    record = {
        "first_year": plan.first_year, "years": plan.years, "starts": starts, "currency": job.settings.currency, "money": ask.means.money, "crew_hours": ask.means.hours,
        "names": {f: row_of[f].get("name") or f for f in row_of}, "not_judged": lacks, "left_out": sorted(set(found) - set(known)), "no_rate": unknown,
        "levelling": asdict(ask.levelling), "forced": {f.state.field_id: list(forced(f.state)) for f in fields if forced(f.state)},
        "not_offered": {f.state.field_id: dict(f.missing) for f in fields}, "old": sorted(f.state.field_id for f in fields if f.state.old), "over_trip": _over_trip(job, fields), "begun": newest_day(found) >= year_start(plan.first_year + 1, plan.fiscal_year_start),
        "contracted": contracted(job), "apart": ask.apart, "bids": [[f, y] for y, f in plan.pinned(LASER_GRADE) if f in found],
        "sizes": sizes, "sites": {f.state.field_id: f.site for f in fields}, "carry_over": ask.means.carry_over,
        "use": {f.state.field_id: f.state.weight for f in fields}, "assumed": [n for n in ("escalation_pct", "contingency_pct", "discount") if getattr(plan, n) is None],
    }  # fmt: skip
    record["pins_left"] = [p.model_dump() for p in plan.pins if p.field_id not in known]
    if not fields:
        return record | {"state": NOT_MEASURED}
    try:
        made = board(fields, ask, DRAWS)
    except Infeasible as none:
        return record | {"state": INFEASIBLE, "short_money": none.money, "short_hours": none.hours, "no_schedule": list(none.fields), "no_rules": list(none.rules), "pins_in_the_way": pins_in_the_way(fields, ask)}
    return _told(record, made)


def contracted(job: Job) -> list[str]:
    """Treatments that a contractor is asked to price: as the owner says of their costs; where nobody says, laser grades and rebuilds."""
    said = {word: cost.by for word, cost in job.settings.costs.items() if word in TREATMENTS}
    return sorted(word for word, by in said.items() if by == "contractor" or by is None and word in (LASER_GRADE, REBUILD))


def _over_trip(job: Job, fields: list[Field]) -> dict[str, str]:
    """Field -> the place of a hollow that is surely over the trip limit when the plan starts: filled by hand now, it waits for no plan."""
    out = {}
    for of in fields:
        c, limit = of.state.components.get(RING), job.settings.tolerances.of("low_spot_trip_mm", of.state.field_id)
        if c is not None and limit is not None and surely_over(c, of.state.age_years, limit):
            out[of.state.field_id] = c.place
    return out


def _told(record: dict, made: Board) -> dict:
    """The record of a made plan, its lines each with its reason as data."""
    places = {f.state.field_id: {n: c.place for n, c in f.state.components.items()} for f in made.fields}
    spent, hours = made.programme.spent(made.chosen.picks)
    record |= {
        "state": PLANNED, "spent": spent, "hours": hours, "comings": comings(made), "loss": made.chosen.loss, "bound": made.chosen.floor - (made.chosen.aim - made.chosen.loss), "worth": made.terms.worth, "relaxed": made.chosen.bound.value, "gap": made.chosen.gap,
        "untreated": made.untreated, "others": {n: o and {"loss": o.loss, "spent": o.spent, "works": bought(made, o.picks)} for n, o in made.others.items()},
        "tenth": {n: o and {"loss": o.loss, "spent": o.spent, "changed": list(changed(made, o.picks))} for n, o in made.tenth.items()},
        "drops": made.drops, "drops_bound": len(made.fields) > FEW, "duals": {"money": made.chosen.bound.money, "hours": made.chosen.bound.hours}, "pins": [{**asdict(p), "price": v} for p, v in made.pins],
        "budgets": budget_steps(made), "trip_judged": trip_judged(made), "conditions": conditions(made), "over_years": over_years(made), "courses": courses(made), "places": places,
    }  # fmt: skip
    return record | {"lines": [{**row, "why": asdict(why)} for row, why in lines(made)]}

