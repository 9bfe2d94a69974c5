"""The edge unrolled through its dates: where on the drawing each stretch, work and mark stands."""

from __future__ import annotations

import re

import pytest
from report.scene import row

from pipeline.report import palette
from pipeline.report.edge_dates import LEFT, MARK_APART, RIGHT, ROW, TOP, WIDTH, WORK_ROW, At, Between, Dated, edge_dates
from pipeline.report.figures import US

STEPS = (12.5, 25.0, 50.0)
LENGTH = 100.0


def station(at: float, height: float | None, kind: str = "lip") -> dict:
    return row("lip", survey_id="s", edge_id="outer", station_m=at, kind=kind, height_mm=height)


def drawn(dates, works=(), marks=()) -> str:
    return edge_dates("d", dates, LENGTH, STEPS, works, marks, [(0.0, "first base")], US, "title", "about")


def bars(svg: str) -> list[tuple[float, float, float, str]]:
    """x, y, width and fill of each bar."""
    return [(float(x), float(y), float(w), fill) for x, y, w, fill in re.findall(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="20" fill="(#\w+)"', svg.replace(".0\"", "\""))]


@pytest.mark.analytic
def test_a_stretch_lies_at_its_stations_in_the_shade_of_its_height_and_each_date_a_row_lower():
    svg = drawn([Dated("1", [station(10.5, 60.0), station(11.5, 70.0), station(12.5, 30.0)]), Dated("2", [station(10.5, 5.0)])])
    per_m = (WIDTH - LEFT - RIGHT) / LENGTH
    found = bars(svg)
    assert [f for _, _, _, f in found] == [palette.LIP[3], palette.LIP[2], palette.LIP[0]]
    assert found[0][0] == pytest.approx(LEFT + 10.0 * per_m, abs=0.06) and found[0][2] == pytest.approx(2 * per_m, abs=0.06)
    assert found[1][0] == pytest.approx(LEFT + 12.0 * per_m, abs=0.06)
    assert found[2][1] - found[0][1] == ROW


@pytest.mark.analytic
def test_no_bar_is_drawn_where_the_kind_is_not_known_and_nothing_where_nothing_was_measured():
    svg = drawn([Dated("1", [station(10.5, 60.0, "not_enough_evidence"), station(40.5, None, "not_enough_evidence")])])
    assert not bars(svg) and svg.count('class="unsure"') == 1


@pytest.mark.analytic
def test_low_skin_carries_a_comb_and_a_lip_none():
    assert 'class="comb"' in drawn([Dated("1", [station(10.5, 30.0, "low_skin")])])
    assert 'class="comb"' not in drawn([Dated("1", [station(10.5, 30.0)])])


@pytest.mark.analytic
def test_work_stands_between_the_dates_it_lies_between_and_pushes_the_later_ones_down():
    rows = [station(10.5, 60.0)]
    svg = drawn([Dated("1", rows), Dated("2", rows), Dated("3", rows)], [Between(1, "Lip cut"), Between(3, "Sod laid")])
    y = [b[1] for b in bars(svg)]
    assert (y[1] - y[0], y[2] - y[1]) == (ROW + WORK_ROW, ROW)
    lines = [float(v) for v in re.findall(r'd="M\d+ ([\d.]+)H\d+" class="work"', svg)]
    assert lines == [TOP + ROW + WORK_ROW / 2, TOP + 3 * ROW + 1.5 * WORK_ROW]


@pytest.mark.analytic
def test_marks_that_would_run_into_one_another_are_moved_apart_and_keep_a_line_to_their_station():
    marks = [At(k, s, "work") for k, s in zip("ABCD", (50.0, 50.5, 51.0, 90.0))]
    svg = drawn([Dated("1", [])], marks=marks)
    shown = [float(v) for v in re.findall(r'<circle cx="([\d.]+)"', svg)]
    assert all(b - a >= MARK_APART - 0.11 for a, b in zip(shown, shown[1:]))
    ends = [float(v) for v in re.findall(r'L([\d.]+) [\d.]+" class="tick"', svg)]
    assert ends == pytest.approx([LEFT + s / LENGTH * (WIDTH - LEFT - RIGHT) for s in (50.0, 50.5, 51.0, 90.0)], abs=0.06)


@pytest.mark.analytic
def test_what_stands_in_a_row_without_figures_is_said_and_kept_from_being_markup():
    assert "not usable &lt;b&gt;" in drawn([Dated("1", (), "not usable <b>")])
