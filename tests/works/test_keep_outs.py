"""Keep-outs and the tapes that find them."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from pipeline.diamond.layout import Feature
from pipeline.works.keep_outs import keep_outs_of
from pipeline.works.tape import Mark, places_of, sheet, tapes
from report.scene import layout

ON = dt.date(2026, 4, 7)


def drawn(role: str, name: str, **props) -> Feature:
    return Feature(role, name, Point(507003.0, 175008.0), props)


@pytest.mark.analytic
def test_a_place_nobody_found_this_season_is_kept_free_wider():
    head = lambda **props: next(k for k in keep_outs_of(layout(), [drawn("irrigation_head", "h1", **props)], ON) if k.name == "h1")
    assert head(located_on="2026-03-20", sigma_mm=20).buffer_m == pytest.approx(0.3 + 2 * 0.02)
    assert head(located_on="2025-11-20", sigma_mm=20).buffer_m == pytest.approx(0.5 + 2 * 0.02) and not head(located_on="2025-11-20").found
    assert head().buffer_m > 0.5 and head(located_on="2026-03-20", state="missing").found is False


@pytest.mark.analytic
def test_the_anchors_of_both_base_sets_are_listed_and_a_computed_place_is_not_a_located_one():
    found = keep_outs_of(layout("softball-60", "softball-55"), (), ON)
    names = {k.name for k in found if k.kind == "base_anchor"}
    assert {"first", "second", "third", "first-55", "second-55", "third-55"} <= names
    assert all(k.computed and not k.found and k.buffer_m >= 0.5 for k in found if k.kind == "base_anchor")


@pytest.mark.analytic
def test_two_tapes_of_a_right_angle_are_the_legs_and_the_hand_is_told():
    marks = [Mark("a", 0.0, 0.0), Mark("b", 10.0, 0.0)]
    found = tapes(5.0, 5.0, marks, 0.04)
    assert (found.first_m, found.second_m, found.crossing_deg) == pytest.approx((np.sqrt(50), np.sqrt(50), 90.0)) and found.left
    assert found.sigma_m == pytest.approx(0.05) and not tapes(5.0, -5.0, marks, 0.04).left


@pytest.mark.analytic
def test_marks_in_line_with_the_place_fix_nothing():
    assert tapes(20.0, 0.2, [Mark("a", 0.0, 0.0), Mark("b", 10.0, 0.0)], 0.04) is None


@pytest.mark.independent
@pytest.mark.parametrize("name", ["softball-60", "baseball-90", "baseball-70"])
def test_circles_about_the_marks_cross_where_the_thing_lies(name):
    """Shapely's intersection of the two circles, taken on the hand that is told, is the place to 1 mm (chords of a fine circle)."""
    made = layout(name)
    from pipeline.works.tape import marks

    known = {m.name: m for m in marks(made)}
    rows = [r for r in sheet(made, keep_outs_of(made, (), ON)) if r["tapes"] is not None]
    assert rows
    for r in rows:
        t = r["tapes"]
        a, b = known[t["first"]], known[t["second"]]
        rings = [Point(m.e, m.n).buffer(d, quad_segs=4000).exterior for m, d in ((a, t["first_m"]), (b, t["second_m"]))]
        crossing = [p for p in shapely.get_parts(rings[0].intersection(rings[1]))]
        side = [p for p in crossing if ((b.e - a.e) * (p.y - a.n) - (b.n - a.n) * (p.x - a.e) > 0) == t["left"]]
        assert min(p.distance(Point(r["e"], r["n"])) for p in side) < 2e-3


@pytest.mark.analytic
def test_a_cable_is_found_by_both_its_ends():
    line = Feature("cable", "lights", LineString([(507000.0, 175000.0), (507010.0, 175020.0)]), {})
    item = next(k for k in keep_outs_of(layout(), [line], ON) if k.kind == "cable")
    assert [(end, e, n) for end, e, n in places_of(item)] == [("one end", 507000.0, 175000.0), ("other end", 507010.0, 175020.0)]
