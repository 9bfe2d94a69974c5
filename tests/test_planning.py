"""Budgets, costs and pins that cannot stand: named before anything runs."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from pipeline.planning import TREATMENTS, faults, unpriced, year_start
from pipeline.plan.treatments import TREATMENTS as CHOSEN_FROM
from pipeline.settings import Config
from pipeline.store.config import load, read_config

SIGNED = {"set_by": "Board of Nowhere", "set_on": "2025-03-03"}
ROOT = Path(__file__).resolve().parent.parent
COSTS = {"lip_cut": {"per_m": 20, "hours_per_m": 0.1, **SIGNED}, "rebuild": {"per_m2": 30, **SIGNED}}


def found(budget=((2026, 100, 10), (2027, 100, 10)), costs=COSTS, known: bool = True, **plan) -> list[tuple[str, str]]:
    rows = [{"year": y, **({} if m is None else {"money": m}), **({} if h is None else {"crew_hours": h}), **SIGNED} for y, m, h in budget]
    config = Config(budget=rows, costs=costs, plan={"first_year": 2026, "years": 2, **SIGNED, **plan})
    return [(".".join(at), what) for at, what, _, _ in faults(config.plan, config.budget, config.costs, {"moth", "heron"}, known)]


@pytest.mark.analytic
def test_sound_means_have_no_fault_and_neither_has_no_plan():
    assert found(pins=[{"field_id": "moth", "treatment": "rebuild", "year": 2027}, {"field_id": "heron", "not_before": 2030}], fiscal_year_start="07-01", discount=0.97) == []
    assert found((), first_year=None, years=None) == []
    assert list(TREATMENTS) == list(CHOSEN_FROM)


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("given", "where", "says"),
    [
        ({"budget": ((2026, 100, 10),)}, "budget", "no 2027"),
        ({"budget": ((2026, 100, 10), (2026, 5, 5), (2027, 1, 1))}, "budget.1.year", "2026 again"),
        ({"budget": ((2026, None, 10), (2027, 1, 1))}, "budget.0.money", "nothing"),
        ({"budget": ((2026, 100, None), (2027, 1, 1))}, "budget.0.crew_hours", "nothing"),
        ({"costs": {**COSTS, "lipcut": {"fixed": 1, **SIGNED}}}, "costs.lipcut", "'lipcut'"),
        ({"years": None}, "plan.years", "nothing"),
        ({"fiscal_year_start": "7/1"}, "plan.fiscal_year_start", "'7/1'"),
        ({"fiscal_year_start": "02-30"}, "plan.fiscal_year_start", "'02-30'"),
        ({"escalation_pct": 103}, "plan.escalation_pct", "103"),
        ({"discount": 97}, "plan.discount", "97"),
        ({"pins": [{"field_id": "mothh", "treatment": "rebuild", "year": 2026}]}, "plan.pins.0.field_id", "'mothh'"),
        ({"pins": [{"field_id": "moth", "treatment": "rebiuld", "year": 2026}]}, "plan.pins.0.treatment", "'rebiuld'"),
        ({"pins": [{"field_id": "moth", "treatment": "mix_add", "year": 2026}]}, "plan.pins.0.treatment", "mix_add, which has no cost"),
        ({"pins": [{"field_id": "moth", "treatment": "rebuild", "year": 2028}]}, "plan.pins.0.year", "2028"),
        ({"pins": [{"field_id": "moth"}]}, "plan.pins.0", "a field alone"),
        ({"pins": [{"field_id": "moth", "treatment": "rebuild", "year": 2026}, {"field_id": "moth", "treatment": "lip_cut", "year": 2026}]}, "plan.pins.1.treatment", "lip_cut in 2026, where another pin wants rebuild"),
        ({"pins": [{"field_id": "moth", "treatment": "rebuild", "year": 2026}, {"field_id": "moth", "treatment": "lip_cut", "year": 2027}]}, "plan.pins.1", "lip_cut the year after rebuild"),
        ({"pins": [{"field_id": "moth", "treatment": "rebuild", "year": 2026}, {"field_id": "moth", "not_before": 2027}]}, "plan.pins.0.year", "2026, where another pin says not before 2027"),
    ],
)
def test_each_fault_is_named_where_it_stands(given, where, says):
    assert found(**given) == [(where, says)]


@pytest.mark.analytic
def test_a_negative_cost_is_named_with_its_line(tmp_path):
    (tmp_path / "config.yaml").write_text("costs:\n  lip_cut: {per_m: -24, set_by: A, set_on: 2026-01-01}\n")
    (said,) = [str(p) for p in read_config(tmp_path / "config.yaml")[1]]
    assert said.startswith("config.yaml, row 2, column costs.lip_cut.per_m") and "found -24" in said


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("costs:\n  lip_cut: {per_m: 24}\n", "costs.lip_cut.per_m.set_"),
        ("budget:\n  - {year: 2026, money: -5, set_by: A, set_on: 2026-01-01}\n", "budget.0.money"),
        ("costs:\n  level: {hours_fixed: 1, least_years: -1, set_by: A, set_on: 2026-01-01}\n", "costs.level.least_years"),
        ("plan: {first_year: 2026, years: 12, set_by: A, set_on: 2026-01-01}\n", "plan.years"),
        ("costs:\n  lip_cut: {per_meter: 24, set_by: A, set_on: 2026-01-01}\n", "costs.lip_cut.per_meter"),
    ],
)
def test_a_figure_that_cannot_stand_is_named_with_its_column(tmp_path, line, says):
    (tmp_path / "config.yaml").write_text(line)
    said = [str(p) for p in read_config(tmp_path / "config.yaml")[1]]
    assert said and all(s.startswith("config.yaml, row") and says in s for s in said)


@pytest.mark.analytic
def test_what_a_treatment_costs_is_asked_for_and_never_invented():
    config = Config(costs={**COSTS, "level": {"by": "crew", **SIGNED}}, plan={"first_year": 2026, "years": 2, **SIGNED})
    assert unpriced(config.plan, config.costs) == ("level", "mix_add", "laser_grade") and unpriced(Config().plan, {}) == ()


@pytest.mark.analytic
def test_a_year_of_the_plan_begins_on_the_owners_day():
    assert year_start(2026, "07-01") == dt.date(2026, 7, 1) and year_start(2026, None) == dt.date(2026, 1, 1)


@pytest.mark.invariant
def test_the_demos_plan_has_no_fault():
    assert load(ROOT / "demo_inputs")[0].config.plan.years == 5
