"""Budgets, costs and pins that cannot stand: found before anything runs."""

from __future__ import annotations

import datetime as dt
import re
from typing import Collection, Iterator, Mapping

from pipeline.errors import did_you_mean
from pipeline.owner import Budget, Cost, Pin, Plan
from pipeline.tables import WORKS

TREATMENTS = ("none", "level", "lip_cut", "mix_add", "laser_grade", "rebuild")
COSTED = TREATMENTS[1:]
PRICED = tuple(dict.fromkeys((*COSTED, *WORKS)))  # the season counts hours by them, too
MOST = {"escalation_pct": 50.0, "contingency_pct": 100.0, "equity_pct": 100.0, "discount": 1.0}  # more is in another unit (ours: no more than a sieve)

Fault = tuple[tuple[str, ...], str, str, str]  # where in the settings, found, expected, what to do


def asked(plan: Plan) -> bool:
    """Whether the owner wants a plan at all."""
    return plan.first_year is not None and plan.years is not None


def year_start(year: int, fiscal: str | None) -> dt.date:
    """The first day of a year of the plan: the day `fiscal` (MM-DD) of that calendar year, 1 January without one."""
    month, day = map(int, (fiscal or "01-01").split("-"))
    return dt.date(year, month, day)


def faults(plan: Plan, budget: tuple[Budget, ...], costs: Mapping[str, Cost], fields: Collection[str], known: bool) -> Iterator[Fault]:
    """Faults of the sections `plan`, `budget` and `costs`. known: whether `fields` are all there are."""
    for name in costs:
        if name not in PRICED:
            yield ("costs", name), repr(name), "a treatment of the plan or a work of the table of works: " + ", ".join(PRICED), f"Correct the word.{did_you_mean(name, PRICED)}"
    for name, most in MOST.items():
        figure = getattr(plan, name)
        if figure is not None and figure.value > most:
            yield ("plan", name), f"{figure.value:g}", f"0 to {most:g}", "Correct the figure."
    if plan.fiscal_year_start is not None and not _is_day(plan.fiscal_year_start):
        yield ("plan", "fiscal_year_start"), repr(plan.fiscal_year_start), "a day such as '07-01'", "Write month and day in quotes."
    if (plan.first_year is None) != (plan.years is None):
        missing = "first_year" if plan.first_year is None else "years"
        yield ("plan", missing), "nothing", "the first year of the plan and how many years it covers", f"Fill in plan.{missing}, or take the other out."
    yield from _budgets(plan, budget, costs)
    for n, pin in enumerate(plan.pins):
        yield from _pin(("plan", "pins", str(n)), pin, plan, costs, fields, known)
    yield from _together(plan)


def unpriced(plan: Plan, costs: Mapping[str, Cost]) -> tuple[str, ...]:
    """Treatments that a plan is asked for and cannot choose, since nobody has said what they cost."""
    told = lambda cost: any(cost.of(n) is not None for n in ("fixed", "per_m", "per_m2", "per_t", "hours_fixed", "hours_per_m", "hours_per_m2"))
    return tuple(w for w in COSTED if asked(plan) and (w not in costs or not told(costs[w])))


def _is_day(text: str) -> bool:
    try:
        return re.fullmatch(r"\d\d-\d\d", text) is not None and text != "02-29" and bool(year_start(2025, text))
    except ValueError:
        return False


def _budgets(plan: Plan, budget: tuple[Budget, ...], costs: Mapping[str, Cost]) -> Iterator[Fault]:
    seen: dict[int, int] = {}
    for n, row in enumerate(budget):
        if row.year in seen:
            yield ("budget", str(n), "year"), f"{row.year} again", "each year once", "Remove one of the two."
        seen.setdefault(row.year, n)
    if not asked(plan):
        return
    hours = any(c.of(name) for c in costs.values() for name in ("hours_fixed", "hours_per_m", "hours_per_m2"))
    for year in range(plan.first_year, plan.first_year + plan.years):
        if year not in seen:
            yield ("budget",), f"no {year}", f"each year from {plan.first_year} to {plan.first_year + plan.years - 1}", f"Add {year} with its money and crew hours, or shorten plan.years."
            continue
        row, at = budget[seen[year]], ("budget", str(seen[year]))
        if row.money is None:
            yield (*at, "money"), "nothing", f"the money of {year}", "Fill in money: 0 where there is none."
        if row.crew_hours is None and hours:
            yield (*at, "crew_hours"), "nothing", f"the crew hours of {year}, since costs has treatments that take hours", "Fill in crew_hours."


def _pin(at: tuple[str, ...], pin: Pin, plan: Plan, costs: Mapping[str, Cost], fields: Collection[str], known: bool) -> Iterator[Fault]:
    if known and pin.field_id not in fields:
        yield (*at, "field_id"), repr(pin.field_id), "a field_id of the table of fields", f"Correct the name.{did_you_mean(pin.field_id, fields)}"
    if pin.treatment is not None and pin.treatment not in TREATMENTS:
        yield (*at, "treatment"), repr(pin.treatment), "one of " + ", ".join(TREATMENTS), f"Correct the treatment.{did_you_mean(pin.treatment, TREATMENTS)}"
    elif asked(plan) and pin.treatment in COSTED and pin.not_before is None and pin.treatment not in costs:
        yield (*at, "treatment"), f"{pin.treatment}, which has no cost", "a treatment under `costs`", "Fill in what it costs, or take the pin out."
    if pin.treatment is None and pin.year is None and pin.not_before is None:
        yield at, "a field alone", "a treatment, a year or not_before beside it", "Say what is wanted, or take the pin out."
    if asked(plan) and pin.year is not None and not plan.first_year <= pin.year < plan.first_year + plan.years:
        yield (*at, "year"), f"{pin.year}", f"a year from {plan.first_year} to {plan.first_year + plan.years - 1}", "Correct the year, or the years of the plan."
    if pin.year is not None and pin.not_before is not None and pin.year < pin.not_before:
        yield (*at, "year"), f"{pin.year}, not before {pin.not_before}", "a year that is not before it", "Correct one of the two."


def _together(plan: Plan) -> Iterator[Fault]:
    """Two pins that cannot both be obeyed."""
    wanted: dict[tuple[str, int], tuple[int, str]] = {}
    for n, pin in enumerate(plan.pins):
        if pin.year is None or pin.treatment is None:
            continue
        first = wanted.setdefault((pin.field_id, pin.year), (n, pin.treatment))
        if first[1] != pin.treatment:
            yield ("plan", "pins", str(n), "treatment"), f"{pin.treatment} in {pin.year}, where another pin wants {first[1]}", "one treatment a field and year", "Take one of the two out."
    for n, pin in enumerate(plan.pins):
        for other in plan.pins:
            early = other.not_before is not None and other.field_id == pin.field_id and other.treatment in (None, pin.treatment) and pin.year is not None and pin.year < other.not_before
            if early and other is not pin and pin.treatment != "none":
                yield ("plan", "pins", str(n), "year"), f"{pin.year}, where another pin says not before {other.not_before}", "pins that can both be obeyed", "Take one of the two out."
    for (field_id, year), (n, word) in wanted.items():
        before = wanted.get((field_id, year - 1))
        if before and word != "none" and (before[1] == "rebuild" or word == before[1] != "level"):
            yield ("plan", "pins", str(n)), f"{word} the year after {before[1]}", "no treatment twice running, and none in the year after a rebuild", "Move one of the two."
