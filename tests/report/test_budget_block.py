"""The plan at other budgets on the page: every step told, the owner's marked, no plan said as such."""

from __future__ import annotations

import pytest
from lxml import etree

from pipeline.report.budget_block import budget_steps_block
from pipeline.report.budget_chart import budget_curve
from pipeline.report.figures import plain_text
from report.plan_scene import RECORD
from report.scene import WORDS

BLOCK = budget_steps_block(RECORD, WORDS)


def lines(k: int) -> str:
    return plain_text(" ".join(BLOCK["steps"][k]["lines"]))


@pytest.mark.invariant
def test_each_step_says_what_is_bought_what_falls_off_and_who_stays_unsafe():
    assert [s["label"] for s in BLOCK["steps"]] == ["50 %", "90 %", "100 %", "110 %", "125 %"] and BLOCK["owner"] == 2 and "the plan below" in BLOCK["steps"][2]["title"]
    assert "No plan pays for what must be done" in lines(0) and "At least USD 1 200 are missing" in lines(0)
    assert "Spends USD 12 900: mix added once, one lip cut and one levelling by the crew." in lines(1) and "Perhaps over it, neither said nor ruled out: Moth Field." in lines(1)
    assert "Done, and not so in the plan: Heron Field, levelling by the crew, 2028." in lines(1) and "Falls off: Kettle Field, a laser grade, 2028." in lines(1)
    assert "Falls off" not in lines(2) and "Left over the trip limit at the end by their lip: Moth Field." in lines(3) and "a plan up to 4 % better" in lines(3)
    assert "The same as at 110 %" in lines(4) and "Condition 0.30 on average over the years (95 % range 0.10-0.80)" in lines(4)


@pytest.mark.invariant
def test_none_left_over_is_said_only_of_lips_that_are_held_against_a_trip_limit():
    assert "Of the fields whose lip is held against a trip limit none is likely left over it" in lines(2) and BLOCK["rows"][2][-1] == "none"
    assert "not told of Heron Field and Kettle Field" in BLOCK["knows"][1]
    unset = budget_steps_block(RECORD | {"trip_judged": []}, WORDS)
    assert "No lip was held against a trip limit" in plain_text(" ".join(unset["steps"][2]["lines"])) and unset["rows"][2][-1] == "not told"


@pytest.mark.invariant
def test_the_table_of_all_steps_has_a_row_each_and_as_many_cells_as_heads():
    assert all(len(r) == len(BLOCK["heads"]) for r in BLOCK["rows"]) and len(BLOCK["rows"]) == 5
    assert plain_text(BLOCK["rows"][0][2]) == "No plan pays for what must be done: USD 1 200 are missing" and BLOCK["rows"][0][1] == "" and BLOCK["rows"][1][-1] == "Moth Field (perhaps)"
    assert budget_steps_block({"budgets": []}, WORDS) == {}


@pytest.mark.invariant
def test_who_moves_no_slider_reads_what_the_most_money_does_and_where_it_no_longer_reaches():
    said = plain_text(BLOCK["gist"][0])
    assert said.startswith("With 125 % of the owner's budget the fields' average condition over the years would be 0.30 instead of ") and "would find no use" in said
    assert "At 50 % and less no plan pays for what must be done" in said and said.endswith("At least USD 1 200 are missing for it.")
    alone = [s for s in RECORD["budgets"] if s["budget_pct"] == 100]
    assert budget_steps_block(RECORD | {"budgets": alone}, WORDS)["gist"] == []


@pytest.mark.analytic
def test_the_curve_has_a_mark_at_each_budget_at_its_height_and_a_cross_where_no_plan_is():
    svg, about = budget_curve(RECORD, WORDS)
    root = etree.fromstring(svg)
    marks = {int(g.get("data-step")): g for g in root.iter("{*}g")}
    assert sorted(marks) == [0, 1, 2, 3, 4] and marks[0].find("{*}circle") is None and [c.get("class") for c in marks[2].iter("{*}circle")] == ["point"]
    xs = [float(marks[k].find("{*}circle").get("cx")) for k in (1, 2, 3, 4)]
    assert (xs[1] - xs[0]) == pytest.approx(xs[2] - xs[1], abs=0.02) and (xs[3] - xs[2]) == pytest.approx(1.5 * (xs[2] - xs[1]), abs=0.05)  # 90, 100, 110, 125 %
    assert "50 %" in about and "no plan" in about and "0.30, 95 % range 0.10 to 0.80" in plain_text(about)
