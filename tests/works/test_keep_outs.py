"""Keep-outs and the tapes that find them."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import shapely
import shapely.affinity
from shapely.geometry import LineString, Point

from pipeline.diamond.anchors import ahead, located_fault, twice
from pipeline.diamond.layout import Drawing, Feature, build
from pipeline.works.keep_outs import keep_outs_of
from pipeline.works.tape import Mark, places_of, sheet, tapes
from report.scene import HOME, layout

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
def test_a_cable_is_found_by_both_its_ends_and_every_bend():
    line = Feature("cable", "lights", LineString([(507000.0, 175000.0), (507010.0, 175020.0)]), {})
    item = next(k for k in keep_outs_of(layout(), [line], ON) if k.kind == "cable")
    assert [(end, e, n) for end, e, n in places_of(item)] == [("one end", 507000.0, 175000.0), ("other end", 507010.0, 175020.0)]
    bent = Feature("cable", "lights", LineString([(507000, 175000), (507005, 175000.1), (507010, 175000), (507010, 175020)]), {})
    item = next(k for k in keep_outs_of(layout(), [bent], ON) if k.kind == "cable")
    assert [p[0] for p in places_of(item)] == ["one end", "bend 1", "other end"] and places_of(item)[1][1:] == (507010.0, 175000.0)


def anchor(name: str, at: tuple[float, float], **props) -> Feature:
    return Feature("base_anchor", name, Point(*at), props)


def with_anchors(*drawn_: Feature):
    """A field on 60 ft bases, 55 ft beside them, and the anchors drawn of it."""
    plain = layout("softball-60", "softball-55")
    second = plain.axes.world(0.0, 60 * 0.3048 * 2**0.5)
    return build(Drawing("f", plain.grid.crs, 0.5, "softball-60", "softball-55", HOME, tuple(float(v) for v in second), features=drawn_))


@pytest.mark.invariant
def test_every_drawn_anchor_is_kept_off_whatever_it_claims_to_be():
    """Two of one base, one of a set the field does not have, one of no base, home: each one's place is kept free."""
    first = with_anchors().anchors["first"]
    near = lambda de, dn: (first[0] + de, first[1] + dn)
    drawn_ = (
        anchor("first", near(0.1, 0.0), base="first"), anchor("first-again", near(0.9, 0.4), base="first"), anchor("old", near(3.0, 2.0), base="first", layout="baseball-90"),
        anchor("base-anchor-5", near(5.0, -2.0)), anchor("home", near(-6.0, 1.0), base="home"), anchor("gone", near(-2.0, -2.0), base="second", state="missing"),
    )  # fmt: skip
    made = with_anchors(*drawn_)
    kept = keep_outs_of(made, drawn_, ON)
    for f in drawn_:
        assert any(k.geometry.distance(f.geometry) < 1e-6 and k.buffer_m >= 0.3 for k in kept), f.name
    assert len({(k.kind, k.name) for k in kept}) == len(kept)
    computed = with_anchors().anchors["second"]
    assert made.anchors["second"] == computed and any(k.computed and k.name == "second" for k in kept)  # what was not found says nothing against it


@pytest.mark.analytic
def test_a_plate_somebody_located_is_kept_off_where_it_was_drawn():
    """Moved by 0.3 m toward first: what counts on it or its middle may be the point taken, both outlines lie in what is kept off."""
    plain = with_anchors()
    plate = next(p.polygon for p in plain.patches if p.kind == "pitchers_plate")
    at = (plate.centroid.x + 0.3, plate.centroid.y)
    drawn_ = anchor("pitchers-plate", at, base="pitchers-plate", located_on="2026-03-20", sigma_mm=10)
    found = next(k for k in keep_outs_of(with_anchors(drawn_), (drawn_,), ON) if k.name == "pitchers-plate")
    assert found.found and not found.computed and found.buffer_m == pytest.approx(0.32)
    assert found.geometry.covers(shapely.affinity.translate(plate, 0.3, 0.0).buffer(-1e-6)) and found.geometry.area < 3 * plate.area
    far = anchor("pitchers-plate", (at[0] + 1.0, at[1]), base="pitchers-plate", located_on="2026-03-20")
    both = [k for k in keep_outs_of(with_anchors(far), (far,), ON) if k.name.startswith("pitchers-plate")]
    assert len(both) == 2 and {k.computed for k in both} == {True, False}


@pytest.mark.analytic
@pytest.mark.parametrize(("located_on", "found", "early"), [("2026-04-07", True, False), ("2026-04-08", False, True), ("2026-12-31", False, True), ("2025-12-31", False, False), ("spring", False, False)])
def test_a_finding_later_than_the_newest_day_known_is_none(located_on, found, early):
    kept = next(k for k in keep_outs_of(layout(), [drawn("irrigation_head", "h1", located_on=located_on)], ON) if k.name == "h1")
    assert (kept.found, kept.ahead) == (found, early) and (kept.buffer_m < 0.5) == found


@pytest.mark.analytic
def test_two_anchors_of_one_base_and_a_day_still_to_come_are_faults():
    drawn_ = [anchor("first", (0, 0), base="first"), anchor("a", (1, 0), base="first", layout="softball-60"), anchor("b", (2, 0), base="first", layout="softball-55"),
              anchor("c", (3, 0), base="first", state="not found"), Feature("cable", "lights", LineString([(0, 0), (1, 1)]), {"located_on": "2026-05-01"})]  # fmt: skip
    (said,) = twice("moth.geojson", drawn_, "softball-60")
    assert "'a' for first, as 'first' is" in said.found
    (said,) = ahead("moth.geojson", drawn_, ON, "today")
    assert "cable 'lights' on 2026-05-01" in said.found and not ahead("moth.geojson", drawn_, dt.date(2026, 5, 1), "today")
    assert located_fault("f", 2, {"located_on": "30/03/2026"}) and not located_fault("f", 2, {"located_on": "2026-03-30 00:00:00"}) and not located_fault("f", 2, {})


@pytest.mark.analytic
def test_where_no_two_marks_cross_an_anchor_serves_once_it_is_found():
    """Second base lies in line with both plates; with no slab beside the field it is taped from home plate and a corner base."""
    from pipeline.works.tape import taped

    bare = build(Drawing("x", "EPSG:6550", 0.5, "softball-60", None, HOME, (HOME[0], HOME[1] + 60 * 0.3048 * 2**0.5)))
    e, n = bare.anchors["second"]
    found = taped(e, n, bare, 0.05, "second")
    assert found is not None and any(m.startswith("base_anchor ") and m != "base_anchor second" for m in (found.first, found.second))
    corner = bare.anchors[next(m for m in (found.first, found.second) if m.startswith("base_anchor ")).removeprefix("base_anchor ")]
    assert min(found.first_m, found.second_m) == pytest.approx(np.hypot(e - corner[0], n - corner[1])) and found.sigma_m == pytest.approx(np.hypot(0.05, np.hypot(0.03, 0.05)))
    with_slab = layout()
    assert not taped(*with_slab.anchors["first"], with_slab, 0.05, "first").first.startswith("base_anchor")
