"""Rows of grass_edge.csv: what a figure is held against, what is known of it, and where nothing is seen."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from shapely.geometry import LineString

from pipeline.diamond.edges import Edge
from pipeline.steps.history_grass import DRAWN_OFF_M, DRAWN_WHOLE_M, LAYOUT_OFF_M, Grass, grass_features, grass_rows
from pipeline.survey.edges.edge_table import rows
from pipeline.survey.edges.encroachment import GrassLine, nothing_seen


def edge(source: str) -> Edge:
    return Edge("outer", LineString([(507000.0, 175000.0), (507030.0, 175000.0)]), True, source)


def seen(given: Edge, inside_m: float | None, sideways: float = 0.004) -> Grass:
    s = rows(given)
    line = nothing_seen(given) if inside_m is None else GrassLine(given, s, np.where(given.usable(s, 1.0), -inside_m, np.nan), np.full(s.shape, 0.01), "colour")
    return Grass({"outer": line}, sideways, 0.010, False)


def told(source: str, *inside_m: float | None) -> dict[tuple[str, float | None], dict]:
    given = edge(source)
    found = grass_rows(SimpleNamespace(edges=(given,)), {f"s{k}": seen(given, m) for k, m in enumerate(inside_m)}, "s0")
    return {(r["survey_id"], r["station_m"]): r for r in found}


@pytest.mark.analytic
def test_grass_inside_a_straight_edge_takes_its_width_times_what_was_seen():
    row = told("drawn", 0.08, 0.12)["s1", None]
    assert row["encroached_mm"] == pytest.approx(120) and row["since_last_mm"] == pytest.approx(40) and row["since_baseline_mm"] == pytest.approx(40)
    assert row["skin_lost_m2"] == pytest.approx(0.12 * row["seen_m"]) and row["since_baseline_m2"] == pytest.approx(0.04 * row["seen_m"])
    assert row["against"] == "drawn" and row["told_by"] == "colour" and row["last_survey"] == "s0" and not row["reason"]


@pytest.mark.analytic
def test_every_five_metres_has_its_row_at_its_middle_on_the_given_edge():
    found = told("drawn", 0.05)
    assert [s for _, s in found] == [None, 2.5, 7.5, 12.5, 17.5, 22.5, 27.5]
    assert found["s0", 12.5]["e"] == pytest.approx(507012.5) and np.isnan(found["s0", None]["e"])
    assert np.isnan(found["s0", None]["since_baseline_mm"])  # nothing is compared with itself


@pytest.mark.invariant
def test_what_nobody_drew_is_known_no_better_than_a_layout():
    drawn, layout = told("drawn", 0.05, 0.09)["s1", None], told("layout", 0.05, 0.09)["s1", None]
    own = drawn["encroached_sigma_mm"] ** 2 - (DRAWN_WHOLE_M * 1000) ** 2
    assert own > 0 and layout["encroached_sigma_mm"] == pytest.approx(float(np.sqrt(own + (LAYOUT_OFF_M * 1000) ** 2)))
    piece = told("drawn", 0.05, 0.09)["s1", 12.5]
    assert piece["encroached_sigma_mm"] > DRAWN_OFF_M * 1000 > piece["since_baseline_sigma_mm"]  # a line drawn wrong is no grass that came in
    assert layout["since_baseline_sigma_mm"] == pytest.approx(drawn["since_baseline_sigma_mm"]) and drawn["since_baseline_sigma_mm"] < 12


@pytest.mark.invariant
def test_a_layouts_edge_that_stands_off_as_a_whole_is_said_to():
    a = np.linspace(0, np.pi, 400)
    arc = Edge("outer", LineString(np.column_stack([507000 + 20 * np.cos(a), 175000 + 20 * np.sin(a)])), False, "layout")
    s = rows(arc)
    facing = np.column_stack([np.cos(s / 20), np.sin(s / 20)])
    line = GrassLine(arc, s, np.where(arc.usable(s, 1.0), facing @ [0.0, 0.4], np.nan), np.full(s.shape, 0.01), "colour")
    row = grass_rows(SimpleNamespace(edges=(arc,)), {"s0": Grass({"outer": line}, 0.004, 0.01, False)}, "s0")[0]
    assert "stands off as a whole" in row["reason"] and "draw it" in row["reason"]


@pytest.mark.invariant
def test_a_survey_that_sees_no_grass_has_a_row_that_says_so_and_is_nobodys_last():
    found = told("drawn", 0.05, None, 0.08)
    assert found["s1", None]["told_by"] == "not_seen" and np.isnan(found["s1", None]["encroached_mm"]) and found["s1", None]["reason"]
    assert found["s2", None]["last_survey"] == "s0" and found["s2", None]["since_last_mm"] == pytest.approx(30)


@pytest.mark.analytic
def test_the_line_of_the_grass_lies_where_it_was_seen():
    given = edge("drawn")
    lines = grass_features({"s0": seen(given, 0.10)}, list(told("drawn", 0.10).values()))
    assert len(lines) == 1 and lines[0]["source"] == "seen" and lines[0]["encroached_mm"] == pytest.approx(100)
    assert {round(y, 3) for _, y in lines[0]["geometry"].coords} == {174999.9}
