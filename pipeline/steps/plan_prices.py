"""What each treatment costs on each field, by the owner's figures, and the terms of the whole plan."""

from __future__ import annotations

import datetime as dt
from math import ceil, nan
from typing import Mapping, Sequence

import numpy as np

from pipeline.jobs import Job
from pipeline.plan.observed import lip_metres
from pipeline.plan.offer import Terms, Wanted
from pipeline.plan.condition import State
from pipeline.plan.level_rate import levelling
from pipeline.plan.programme import Means, Sharing
from pipeline.plan.schedules import Price
from pipeline.plan.treatments import LASER_GRADE, LIP, LIP_CUT, MIX, MIX_ADD, NONE, REBUILD, TREATMENTS, cents
from pipeline.planning import year_start
from pipeline.steps.plan_state import Latest, Rows, latest, visits, works_of

SHORTEST_M = 5.0  # nobody comes for less edge (ours)
MONEY, HOURS = ("fixed", "per_m", "per_m2", "per_t"), ("hours_fixed", "hours_per_m", "hours_per_m2")
NO_COST, NO_LIP, LIP_WITHIN, NO_DEPTH, NO_DENSITY, NO_DESIGN, NO_MIX_PRICE = "no_cost", "no_lip", "lip_within", "no_depth", "no_density", "no_design", "no_mix_price"
COST_SD = 0.10  # of a treatment's cost, where the owner keeps nothing for the unforeseen (ours)


def prices(job: Job, state: State, rows: Rows, quantities: Sequence[dict], area_m2: float) -> tuple[dict[str, Price], dict[str, str]]:
    """Treatments offered on a field, and of the others why not, in one of the words above."""
    out, missing = {}, {}
    metres = lip_m(job, state, rows)
    design = next((q for q in quantities if q["variant"] == "laser_plane" and q["feasible"]), None)
    density = job.settings.material.of("placed_t_per_m3")
    least = state.components[MIX].scale if MIX in state.components else nan
    for word in TREATMENTS:
        cost = job.settings.costs.get(word)
        of = {n: (cost.of(n) or 0.0) if cost is not None else 0.0 for n in (*MONEY, *HOURS)}
        if word == NONE:
            continue
        if cost is None or all(cost.of(n) is None for n in (*MONEY, *HOURS)):
            missing[word] = NO_COST
            continue
        per_t = cost.of("per_t") if cost.of("per_t") is not None else job.settings.prices.of("mix_per_t") if word in (MIX_ADD, LASER_GRADE) else 0.0
        reason = _why_not(word, state, metres, density, design, per_t)
        if reason:
            missing[word] = reason
            continue
        length = metres if word in (LIP_CUT, REBUILD) else 0.0
        tonnes = (design["mix_tonnes"] if word == LASER_GRADE else area_m2 * least / 1000 * density if word == REBUILD and per_t else 0.0)
        out[word] = Price(of["fixed"] + of["per_m"] * length + of["per_m2"] * area_m2, of["hours_fixed"] + of["hours_per_m"] * length + of["hours_per_m2"] * area_m2,
                          per_t or 0.0, tonnes, area_m2 * density / 1000 if word == MIX_ADD else 0.0)  # fmt: skip
    return out, missing


def _why_not(word: str, state: State, metres: float, density: float | None, design: dict | None, per_t: float | None) -> str:
    if word == LIP_CUT and LIP not in state.components:
        return NO_LIP
    if word == LIP_CUT and metres == 0:
        return LIP_WITHIN
    if word == MIX_ADD and MIX not in state.components:
        return NO_DEPTH
    if word in (MIX_ADD, REBUILD) and density is None and (word == MIX_ADD or per_t):
        return NO_DENSITY
    if word == REBUILD and per_t and MIX not in state.components:
        return NO_DEPTH
    if word == LASER_GRADE and (design is None or design["mix_tonnes"] is None):
        return NO_DESIGN
    return NO_MIX_PRICE if per_t is None else ""


def lip_m(job: Job, state: State, rows: Rows) -> float:
    """Metres of edge that a cut of the lip is priced for."""
    return _metres(state, rows, latest(rows, works_of(job, state.field_id)).get(LIP), job.settings.plan.years)


def _metres(state: State, rows: Rows, found: Latest | None, years: int) -> float:
    """Metres of edge whose lip would be over the tolerance by the end of the plan at the field's rate."""
    if found is None or LIP not in state.components:
        return 0.0
    c = state.components[LIP]
    grown = c.rate * (state.age_years + years)
    if found.seen.value + grown <= c.limit:
        return 0.0
    return max(lip_metres(rows["lip"], found.survey, c.limit - grown), SHORTEST_M)


def done_in(job: Job, field_id: str) -> dict[str, int]:
    """Treatment -> the year of the plan, 0 the first, in which works.csv last has it on a field."""
    plan, out = job.settings.plan, {}
    for work in works_of(job, field_id):
        day = work.get("ended_on") or work["done_on"]
        if work["work"] in TREATMENTS:
            out[work["work"]] = max(_plan_year(day, plan.fiscal_year_start) - plan.first_year, out.get(work["work"], -(10**6)))
    return out


def _plan_year(day: dt.date, fiscal: str | None) -> int:
    return day.year if day >= year_start(day.year, fiscal) else day.year - 1


def terms(job: Job, tables: Mapping[str, Rows], sites: Mapping[str, int]) -> Terms:
    """Budgets, pins, mobilisation, least orders and the rest, as the owner set them."""
    plan, config = job.settings.plan, job.settings
    rows = {b.year: b for b in config.budget}
    years = [plan.first_year + t for t in range(plan.years)]
    share = lambda name: (plan.of(name) or 0.0) / 100
    rise = (1 + share("escalation_pct")) ** np.arange(plan.years) * (1 + share("contingency_pct"))
    of = lambda name: {w: cents(c.of(name) * rise) for w, c in config.costs.items() if (c.of(name) or 0.0) > 0}
    return Terms(
        plan.first_year, Means(np.array([rows[y].money.value for y in years], float), np.array([rows[y].crew_hours.value if rows[y].crew_hours else 0.0 for y in years], float), bool(plan.carry_over)),
        Sharing(of("mobilisation"), of("minimum_lot"), share("equity_pct") if len(sites) > 1 else 0.0),
        tuple(Wanted(p.field_id, p.treatment, p.year, p.not_before) for p in plan.pins), levelling(visits(tables)), share("escalation_pct"), share("contingency_pct"),
        plan.discount.value if plan.discount is not None else 1.0, share("contingency_pct") or COST_SD, config.random_seed,
        {w: ceil(c.of("least_years") - 1e-9) for w, c in config.costs.items() if w in TREATMENTS and (c.of("least_years") or 0.0) > 1},
        plan.of("least_points_per_1000") or 0.0,
    )  # fmt: skip


