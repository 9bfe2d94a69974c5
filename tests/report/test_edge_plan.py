"""The plan that is the key to the edges unrolled: the same distances on both, each at its place along the edge."""

from __future__ import annotations

import re

import numpy as np
import pytest

from pipeline.report.edge_dates import LEFT, RIGHT, WIDTH, Dated, edge_dates
from pipeline.report.edge_plan import FIGURE_M, FOOT, MARGIN_M, edge_plan, marked_stations
from pipeline.report.figures import METRIC, US
from pipeline.report.svg import Frame
from report.scene import LIMITS, layout, station


@pytest.mark.analytic
def test_distances_stand_every_twenty_feet_or_ten_metres_finer_on_short_edges_coarser_on_long():
    assert [label for _, label in marked_stations(30.0, METRIC.length)] == ["0\u00a0m", "10", "20", "30"]
    assert [s for s, _ in marked_stations(60 * 0.3048, US.length)] == pytest.approx([0.0, 6.096, 12.192, 18.288])
    assert [label for _, label in marked_stations(9.9, METRIC.length)] == ["0\u00a0m", "5"]
    assert len(marked_stations(400.0, METRIC.length)) <= 21 and marked_stations(400.0, METRIC.length)[1][1] == "50"


@pytest.mark.invariant
@pytest.mark.parametrize("units", [US, METRIC], ids=["us", "metric"])
def test_chart_and_plan_carry_the_same_labels_each_at_its_place(units):
    made = layout()
    outer = next(e for e in made.edges if e.edge_id == "outer")
    plan = edge_plan(made, made.edges, [station(10.5, 30.0)], (), LIMITS, units, [(outer, "the outer edge")], "t", "a", "N")
    chart = edge_dates("d", [Dated("1", [station(10.5, 30.0)])], outer.length_m, (12.5, 25.0, 50.0), (), (), (), units, "t", "a")
    wanted = marked_stations(outer.length_m, units.length)
    on_plan = re.findall(r'<text x="([\d.]+)" y="([\d.]+)" class="station-no" text-anchor="middle">([^<]+)</text>', plan)
    on_chart = {t: float(x) for x, t in re.findall(r'<text x="([\d.]+)" y="[\d.]+" class="small" text-anchor="middle">([^<]+)</text>', chart)}
    assert [t for *_, t in on_plan] == [t for _, t in wanted] and set(on_chart) == {t for _, t in wanted}
    frame = Frame.around(made.axes, [made.skin, *(e.line for e in made.edges)], MARGIN_M, FOOT)
    for (s, label), (x, y, _) in zip(wanted, on_plan):
        at = frame.xy(*outer.at(np.array(s), FIGURE_M))
        assert (float(x), float(y) - 5.5) == pytest.approx((float(at[0]), float(at[1])), abs=0.11)
        assert on_chart[label] == pytest.approx(LEFT + s / outer.length_m * (WIDTH - LEFT - RIGHT), abs=0.02)


@pytest.mark.invariant
@pytest.mark.parametrize("name", ["softball-55", "baseball-90"])
def test_no_name_of_an_edge_leaves_the_drawing_or_stands_on_its_head(name):
    made = layout(name)
    plan = edge_plan(made, made.edges, [], (), LIMITS, US, [(e, e.edge_id * 3) for e in made.edges], "t", "a", "N")
    turns = [float(v) for v in re.findall(r"rotate\((-?[\d.]+)\)\" *", plan.split('class="edge-name"', 1)[1])]
    assert plan.count('class="edge-name"') == len(made.edges) and all(-90.0 <= t <= 90.0 for t in turns[:-1])
