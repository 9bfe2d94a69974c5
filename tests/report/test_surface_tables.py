"""The table of edges: what it calls measured, told and to be told agrees with the text beside it."""

from __future__ import annotations

import pytest

from pipeline.report.surface_tables import edges
from pipeline.report.unsettled import unsettled
from report.scene import edge, sayer, seen, station, stood

MEAN, HIGHEST, LIP, LOW_SKIN, NEITHER, OVER, RULER = range(1, 8)


def rows(lips) -> list[list[str]]:
    return [[cell.replace("\u00a0", " ") for cell in row] for row in edges(seen(lips=lips), sayer("metric"))]


@pytest.mark.analytic
def test_lengths_by_kind_and_the_highest_rise_of_any_kind():
    lips = edge({range(5, 25): 34.0}, kind="not_enough_evidence", length=36) + [station(k + 0.5, None, None, "not_enough_evidence") for k in range(36, 40)]
    lips = [{**r, "kind": "lip"} if r["station_m"] in (0.5, 1.5) else r for r in lips] + [station(None, 21.0, kind="not_enough_evidence")]
    (row,) = rows(lips)
    assert row[MEAN:] == ["21 mm ± 8", "34 mm ± 8", "2 m", "0 m", "34 m (20 m)", "0 m", "none"]  # 4 m without a figure are not "not told"
    (group,) = unsettled(stood(seen(lips=lips)), sayer("metric"), {})
    assert "20 m of it" in group.lines[0].replace("\u00a0", " ")


@pytest.mark.invariant
def test_where_nothing_near_the_tolerance_is_left_open_no_ruler_is_asked_for():
    (row,) = rows(edge(base=3.0, kind="not_enough_evidence"))
    assert row[NEITHER] == "40 m"


@pytest.mark.invariant
def test_a_walk_gives_no_lengths_and_an_edge_without_a_figure_none_either():
    (row,) = rows([station(None, 8.0)])
    assert row[MEAN:] == ["8 mm ± 8", "whole edge only", "", "", "", "", "none"]
    (row,) = rows([station(k + 0.5, None, None, "not_enough_evidence") for k in range(40)])
    assert row[MEAN:] == ["", "not measured", "", "", "", "", ""]
