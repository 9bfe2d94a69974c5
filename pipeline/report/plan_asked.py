"""Year by year: what was asked for, approved, done, and whether what was promised was measured."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Mapping, Sequence

from pipeline.owner import Budget
from pipeline.plan.outcome import Z95
from pipeline.plan.treatments import LASER_GRADE, LIP_CUT, MIX, MIX_ADD, REBUILD
from pipeline.planning import year_start
from pipeline.report.figures import Units, figure
from pipeline.report.plan_reasons import money
from pipeline.report.words import Words, opened
from pipeline.tables import Read

BIG = (LIP_CUT, MIX_ADD, LASER_GRADE, REBUILD)  # what a plan decides on, as the table of works names it; the crew's levelling is upkeep, too
COLUMNS = ("year", "asked", "approved", "by", "done", "measured")
PROMISES = ("year", "field", "does", "promised", "measured", "planned", "actual", "band")


@dataclass(frozen=True)
class Given:
    """What the owner and the crew wrote down, beside the plan: budgets, works, the day a year begins (MM-DD or None), who set pins
    and when, rows of plan_outcome.csv, least depth of mix by field, names, the plan's file as kept."""

    budget: Sequence[Budget] = ()
    works: Sequence[Read] = ()
    fiscal: str | None = None
    signed: str = ""
    outcome: Sequence[Mapping] = ()
    least_mm: Mapping[str, float] | None = None
    names: Mapping[str, str] | None = None
    kept: str = ""


def asked_rows(record: Mapping, given: Given, currency: str, words: Words) -> list[list[str]]:
    """A row a year: each year with a promise or a budget, each of the plan, and the year before it where something was done."""
    plan = {record["first_year"] + t: spent for t, spent in enumerate(record.get("spent", ()))}
    budgets = {b.year: b for b in given.budget}
    first = min([*plan, *budgets], default=None)
    before = [first - 1] if first is not None and _works(first - 1, given) else []
    years = sorted({*plan, *budgets, *before, *(r["plan_year"] for r in given.outcome)})
    return [[str(year), *_year(year, record, plan.get(year), budgets.get(year), given, currency, words)] for year in years]


def _works(year: int, given: Given) -> list[Read]:
    starts, ends = (year_start(y, given.fiscal) for y in (year, year + 1))
    return [w for w in given.works if w["work"] in BIG and starts <= w["done_on"] < ends]


def _year(year: int, record: Mapping, planned: float | None, budget: Budget | None, given: Given, currency: str, words: Words) -> list[str]:
    promises = [r for r in given.outcome if r["plan_year"] == year]
    asked = sum(r["cost_planned"] or 0.0 for r in promises) if promises else planned
    by = words("plan_signed", who=budget.money.set_by, on=words.date(budget.money.set_on)) if budget is not None and budget.money is not None else ""
    return [
        money(asked, currency) if asked is not None else words("plan_asked_none"),
        money(budget.money.value, currency) if budget is not None and budget.money is not None else words("plan_approved_none"), by,
        _done(year, record, promises, given, currency, words), _measured(promises, words),
    ]  # fmt: skip


def _done(year: int, record: Mapping, promises: list[Mapping], given: Given, currency: str, words: Words) -> str:
    """Of the planned lines those done and what they cost; then what else was done."""
    if record.get("newest") and dt.date.fromisoformat(record["newest"]) < year_start(year, given.fiscal):
        return words("plan_not_begun")
    done = [r for r in promises if r["done_on"] is not None]
    planned = {(r["field_id"], r["treatment"]) for r in promises}
    beside = [w for w in _works(year, given) if (w["field_id"], w["work"]) not in planned]
    cost = lambda found: money(sum(found), currency)
    said = [words("plan_done", done=len(done), planned=len(promises), money=cost(r["cost_actual"] or 0.0 for r in done))] if promises else []
    if beside:
        said.append(words.count("plan_beside" if promises else "plan_worked", len(beside), money=cost(w.get("cost") or 0.0 for w in beside)))
    return opened("; ".join(said)) or words("plan_none")


def _measured(promises: list[Mapping], words: Words) -> str:
    told = [r["in_band"] for r in promises if r["in_band"] is not None]
    return words("plan_in_band", kept=sum(told), told=len(told)) if told else words("plan_not_yet") if promises else ""


def promise_rows(given: Given, currency: str, words: Words, units: Units) -> list[list[str]]:
    """A row a promised line: what it was to be at its year's end, what a survey found, and the money."""
    out = []
    for r in given.outcome:
        low, high, mid = r["promised_low95_mm"], r["promised_high95_mm"], r["promised_mm"]
        sigma = None if low is None or high is None else (high - low) / (2 * Z95)
        least = (given.least_mm or {}).get(r["field_id"])
        depth = lambda mm, s, mix=r["component"] == MIX: "" if mm is None else figure(least - mm if mix and least is not None else mm, s, units.height)
        told = {True: "plan_band_kept", False: "plan_band_left", None: "plan_not_yet"}[r["in_band"]]
        name = words(f"plan_measure_{r['component']}") if r["component"] else ""
        out.append([
            str(r["plan_year"]), (given.names or {}).get(r["field_id"], r["field_id"]), words(f"plan_does_{r['treatment']}"), f"{name}: {depth(mid, sigma)}" if name else "",
            depth(r["measured_mm"], r["measured_sigma_mm"]), money(r["cost_planned"] or 0.0, currency), "" if r["cost_actual"] is None else money(r["cost_actual"], currency), words(told),
        ])  # fmt: skip
    return out
