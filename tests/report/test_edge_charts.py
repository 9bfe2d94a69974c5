"""Growth along an edge, and the cross-section of a lip, as drawings."""

from __future__ import annotations

import re

import numpy as np
import pytest
from support.edge_scene import INSTRUMENTS, Lip, Scene, single_arc
from support.lip_trials import one_date

from pipeline.report.edge_charts import _whole
from pipeline.report.figures import US
from pipeline.report.growth_chart import growth_chart
from pipeline.report.profile_chart import profile_chart
from pipeline.surface.lip_profile import profile
from pipeline.surface.lip_shape import freeze
from report.scene import sayer


def paths(svg: str, kind: str) -> list[np.ndarray]:
    found = re.findall(rf'<path d="([^"]+)" class="{kind}"', svg)
    return [np.array([[float(v) for v in pair.split(" ")] for pair in d.strip("MZ").split("L")]) for d in found]


@pytest.mark.analytic
def test_a_segment_s_band_is_its_range_which_reaches_further_up_where_mix_may_hide():
    rows = [{"station_m": 2.5, "growth_mm": 10.0, "growth_low95_mm": 6.0, "growth_high95_mm": 18.0, "detected": True},
            {"station_m": 7.5, "growth_mm": -3.0, "growth_low95_mm": -11.0, "growth_high95_mm": 5.0, "detected": False},
            {"station_m": 12.5, "growth_mm": None, "growth_low95_mm": None, "growth_high95_mm": None, "detected": False}]  # fmt: skip
    svg = growth_chart("g", rows, 15.0, [(0.0, "first base")], US, "title", "about")
    sure, unsure, bands = paths(svg, "height"), paths(svg, "height unsure"), paths(svg, "band")
    assert (len(sure), len(unsure), len(bands)) == (1, 1, 2)
    up, down = bands[0][:, 1].min(), bands[0][:, 1].max()
    per_mm = (unsure[0][0, 1] - sure[0][0, 1]) / 13.0
    assert sure[0][0, 1] - up == pytest.approx(8.0 * per_mm, rel=0.02)
    assert down - sure[0][0, 1] == pytest.approx(4.0 * per_mm, rel=0.02)


@pytest.mark.analytic
def test_the_whole_edge_is_said_with_how_much_hidden_mix_may_add_and_without_where_none_may():
    row = {"growth_mm": 10.0, "growth_sigma_mm": 2.0, "growth_high95_mm": 18.0}
    assert _whole(row, sayer("metric")) == "The whole edge: 10\u00a0mm\u00a0±\u00a04; as much as 18\u00a0mm if new mix lies hidden between the blades."
    assert _whole(row | {"growth_high95_mm": 13.92}, sayer("metric")) == "The whole edge: 10\u00a0mm\u00a0±\u00a04."


@pytest.mark.independent  # the scene's own truth: what stands over the skin there, blades and lip
def test_a_cross_section_shows_skin_crest_and_turf_where_they_are():
    scene = Scene(3, INSTRUMENTS["good"], single_arc(), {"outer": Lip(30.0, 0.0)})
    edges, tables = one_date(scene)
    seen = profile(tables[0], freeze(tables[0]), 30.5)
    assert seen.skin[1] < seen.crest[0] < seen.crest[1] < seen.turf[0]
    assert 1000 * (seen.crest_m - seen.skin_m) == pytest.approx(30.0 + 0.7 * 24.0, abs=14.0)
    assert 1000 * (seen.turf_m - seen.skin_m) == pytest.approx(28.0, abs=10.0)
    row = {"height_mm": 30.0, "rise_low95_mm": 22.0, "rise_high95_mm": 38.0}
    labels = {k: k for k in ("skin", "crest", "turf", "across", "height")}
    svg = profile_chart("p", seen, row, US, labels, "title", "about")
    assert len(paths(svg, "height")) == 1 and svg.count('class="window"') == 3
    assert profile(tables[0], freeze(tables[0]), -40.0) is None
