"""The plan's drawings: bars and lines as long as the figures, forms that need no colour, words for those who do not see them."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from pipeline.report.axis import decimals_of, size_of, step_of
from pipeline.report.papers.ink import inked
from pipeline.report.plan_charts import BASE, TOP, budget_chart, condition_chart
from pipeline.store import pages
from report.scene import WORDS

SVG = "{http://www.w3.org/2000/svg}"


def record(years: int = 5, **over) -> dict:
    told = [0.9 - 0.1 * (t % 4) for t in range(years)]
    return {
        "first_year": 2026, "years": years, "currency": "USD", "money": [16000.0] * years, "spent": [12000.0] + [8000.0] * (years - 1), "comings": [900.0] + [0.0] * (years - 1),
        "crew_hours": [260.0] * years, "hours": [130.0] * years,
        "conditions": {"planned": told, "planned_low95": [v / 2 for v in told], "planned_high95": [v + 0.4 for v in told], "untreated": [1.0 + t for t in range(years)],
                       "worst_first": [1.0 + t / 2 for t in range(years)], "in_turn": [1.0 + t / 3 for t in range(years)]},
    } | over  # fmt: skip


def rects(svg: str, name: str) -> list[dict]:
    return [dict(r.attrib) for r in ET.fromstring(svg).iter(f"{SVG}rect") if r.get("class") == name]


@pytest.mark.analytic
def test_bars_are_as_tall_as_the_money():
    svg, about = budget_chart(record(), WORDS)
    given, asked, coming = ([float(r["height"]) for r in rects(svg, name)] for name in ("given", "asked", "coming"))
    assert asked[0] + coming[0] == pytest.approx(0.75 * given[0], abs=0.02)  # 12 000 of 16 000
    assert coming[0] == pytest.approx(900 / 16000 * given[0], abs=0.02) and asked[1] == pytest.approx(0.5 * given[1], abs=0.02)
    assert asked[5] == pytest.approx(0.5 * given[5], abs=0.02)  # the hours stand in a panel of their own
    assert "2026: USD\u00a012\u00a0000 asked of USD\u00a016\u00a0000 approved, USD\u00a0900 of it for contractors to come; 130 of 260 crew hours." in about
    assert "thousand USD" in svg and ">12.0<" in svg


@pytest.mark.analytic
def test_lines_go_through_the_figures():
    svg, about = condition_chart(record(), WORDS)
    top = 1.06 * 5.0
    y = lambda v: BASE - v / top * (BASE - TOP)
    line = next(p.get("d") for p in ET.fromstring(svg).iter(f"{SVG}path") if p.get("class") == "way untreated")
    assert [float(v) for v in re.findall(r" ([\d.]+)", line)] == pytest.approx([y(1.0 + t) for t in range(5)], abs=0.06)
    band = next(p.get("d") for p in ET.fromstring(svg).iter(f"{SVG}path") if p.get("class") == "band")
    assert float(re.findall(r" ([\d.]+)", band)[0]) == pytest.approx(y(1.3), abs=0.06)
    assert "this plan: 0.90, 0.80, 0.70, 0.60 and 0.90. each in turn: " in about and "nothing done: 1.0, 2.0, 3.0, 4.0 and 5.0." in about


@pytest.mark.invariant
def test_each_way_has_a_form_of_its_own_and_its_name_at_its_end():
    svg, _ = condition_chart(record(), WORDS)
    said = "".join(ET.fromstring(svg).itertext())
    assert all(WORDS(f"chart_way_{w}").replace(" ", "") in said.replace(" ", "") for w in ("planned", "untreated", "worst_first", "in_turn"))
    style = inked(svg, pages.style())
    assert "stroke-dasharray:9 4" in style and "stroke-dasharray:2 3" in style and "var(" not in style
    assert len(rects(svg, "open")) == 5 and svg.count("<circle") == 5
    alike = record()
    alike["conditions"]["in_turn"] = alike["conditions"]["worst_first"]
    assert "or each" in condition_chart(alike, WORDS)[0]


@pytest.mark.invariant
@pytest.mark.parametrize("years", [1, 2, 5, 12, 20])
def test_names_of_years_and_of_lines_stand_apart(years):
    made = record(years)
    made["conditions"]["worst_first"] = made["conditions"]["in_turn"] = made["conditions"]["planned"]
    for svg, _ in (budget_chart(made, WORDS), condition_chart(made, WORDS)):
        root = ET.fromstring(svg)
        named = sorted(float(t.get("x")) for t in root.iter(f"{SVG}text") if re.fullmatch(r"20\d\d", t.text) and float(t.get("x")) < 290)
        assert named and all(b - a >= 38 for a, b in zip(named, named[1:]))
        ends = sorted(float(t.get("y")) for t in root.iter(f"{SVG}text") if t.get("class") == "limit")
        assert all(b - a >= 12 for a, b in zip(ends, ends[1:])) and all(v > 0 for v in ends)


@pytest.mark.invariant
def test_a_plan_without_hours_money_or_rivals_is_drawn_too():
    bare = record(hours=[0.0] * 5, crew_hours=[0.0] * 5, money=[0.0] * 5, spent=[0.0] * 5, comings=[0.0] * 5)
    svg, _ = budget_chart(bare, WORDS)
    assert f">{WORDS('chart_hours')}<" not in svg and len(rects(svg, "asked")) == 1 and not rects(svg, "coming")  # one: the key under the drawing
    bare["conditions"] = {"planned": [0.0] * 5, "untreated": [0.0] * 5}
    svg, about = condition_chart(bare, WORDS)
    assert svg.count('class="band"') == 0 and "this plan: 0.00" in about


@pytest.mark.analytic
def test_steps_are_round_and_amounts_are_told_in_a_size_that_reads():
    assert [step_of(v) for v in (0, 1, 3.4, 20, 260, 26)] == [1.0, 0.2, 1.0, 5.0, 100.0, 10.0]
    assert [size_of(v)[1] for v in (900, 16000, 9.9e6, 2e7)] == ["", "thousand", "thousand", "million"]
    assert [decimals_of(v) for v in (0.2, 1, 50, 0.05)] == [1, 0, 0, 2]
