"""The board's step from what the plan's step has written: the three states as they really come, and what it is handed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from pipeline import jobs
from pipeline.project import Project
from pipeline.settings import Config
from pipeline.steps import board
from pipeline.store import records, tables
from report.board_scene import unsafe
from report.test_papers import printed
from steps.test_plan import config, run, where  # noqa: F401  the fixture of three small fields


def paper(at, settings: Config) -> str:
    """The words of the paper after the plan was made. What the page over all fields says is made up here."""
    run(at, settings)
    tables.write(at.portfolio, "portfolio", [])
    records.write(at.portfolio_said, unsafe(0))
    board.run(jobs.job(jobs.given(Project(settings, {}, {}), "board", ".")), at)
    return re.sub(r"\s+", " ", printed(at.board_paper))


@pytest.mark.invariant
def test_a_plan_as_it_is_made_becomes_a_paper_of_two_sheets(where):  # noqa: F811
    text = paper(where, config(pins=[{"field_id": "kettle", "treatment": "lip_cut", "year": 2026}]))
    assert "Capital plan for the fields, 2026 to 2028" in text and "sheet 2 of 2" in text and "Moth Field" in text
    assert "Must be done: the lip along the outer edge is surely over the trip limit." in text and "Decided by the owner." in text
    assert "Nothing over a trip limit was found on any field." in text and "Board of Nowhere on 3 March 2025" in text
    first = Path(where.board_paper).read_bytes()
    assert paper(where, config(pins=[{"field_id": "kettle", "treatment": "lip_cut", "year": 2026}])) and Path(where.board_paper).read_bytes() == first


@pytest.mark.invariant
def test_the_ends_of_the_range_hold_the_figure_and_the_rivals_are_in_the_record(where):  # noqa: F811
    told = run(where, config())["conditions"]
    assert set(told) == {"planned", "untreated", "worst_first", "in_turn", *(f"{n}_{end}95" for n in ("planned", "untreated") for end in ("low", "high"))}
    for name in ("planned", "untreated"):
        assert all(0 <= low <= mean <= high for low, mean, high in zip(told[f"{name}_low95"], told[name], told[f"{name}_high95"]))
        assert told[f"{name}_low95"][0] < told[f"{name}_high95"][0]


@pytest.mark.analytic
def test_the_upper_end_is_every_measure_at_its_own_upper_end(where):  # noqa: F811
    """With nothing done one lip of 70 mm, s.d. 4, growing 4 a year, s.d. 1 and shrunk toward itself, alone over 25 mm: by hand."""
    from pipeline.plan.board import board as made_of
    from pipeline.plan.condition import Component, State
    from pipeline.plan.lines import conditions
    from pipeline.plan.offer import Field, Terms
    from pipeline.plan.outcome import Z95
    from pipeline.plan.programme import Means, Sharing
    from pipeline.plan.level_rate import levelling
    import numpy as np

    state = State("a", 1.0, 0.0, {"lip": Component(70.0, 4.0, 4.0, 1.0, 25.0, 25.0, place="outer")})
    terms = Terms(2026, Means(np.zeros(2), np.zeros(2), False), Sharing(), (), levelling([]), 0.0, 0.0, 0.97, 0.1, 1)
    told = conditions(made_of([Field(state, "s", {}, {})], terms, 2))
    for t, (level, sd) in enumerate(((74.0, 17**0.5), (78.0, 20**0.5))):
        assert told["untreated_high95"][t] == pytest.approx((level + Z95 * sd - 25) / 25) and told["untreated_low95"][t] == pytest.approx((level - Z95 * sd - 25) / 25)


@pytest.mark.invariant
def test_an_empty_purse_and_no_plan_become_a_paper_that_says_so(where):  # noqa: F811
    assert "There is no plan to decide on" in (text := paper(where, config(money=100))) and "The least that would do" in text and "sheet 1 of 1" in text
    assert "No plan was asked for" in paper(where, Config())


@pytest.mark.invariant
def test_it_is_handed_the_owners_figures_and_no_table_of_the_operator():
    given = json.loads(jobs.given(Project(config(), {}, {}), "board", "."))
    assert given["rows"] == {} and set(given["settings"]) == {"language", "units", "currency", "tolerances", "costs", "budget", "plan", "report"} and set(given["settings"]["report"]) == {"title"}
    assert "straightedge_mm" not in given["settings"]["tolerances"]
