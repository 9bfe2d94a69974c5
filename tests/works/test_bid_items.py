"""Items of a bid and the ring of control points."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st
from shapely.geometry import Point, box

from pipeline.works.bid_items import items
from pipeline.works.control_ring import FEW_AROUND, NONE_INSIDE, OPEN, ring

SKIN = box(0, 0, 20, 20).difference(box(8, 8, 12, 12))
CORNERS = [(-5, -5), (25, -5), (25, 25), (-5, 25)]
ROW = {"graded_m2": 800.0, "cut_m3": 4.0, "fill_m3": 6.0, "noise_m3": 1.5, "net_sigma_m3": 1.0, "mix_tonnes": 3.4, "mix_low95_t": 0.0, "mix_high95_t": 7.0}
LIP = {"kind": "lip", "out_m3": 0.4, "length_m": 30.0, "sod_m2": 4.0, "sod_most_m2": 15.0}


def of(found, name):
    return next(i for i in found if i.name == name)


@pytest.mark.analytic
def test_cut_and_fill_lose_noise_below_and_share_the_net_s_error():
    found = items(ROW, [LIP, {**LIP, "kind": "low_skin", "out_m3": None}], 50.0, 7, 30)
    cut, fill = of(found, "cut"), of(found, "fill")
    assert (cut.low, cut.likely, cut.high) == pytest.approx((4 - 1.5 - 1.96 * 0.4, 4, 4 + 1.96 * 0.4))
    assert (fill.low, fill.high) == pytest.approx((6 - 1.5 - 1.96 * 0.6, 6 + 1.96 * 0.6))
    assert of(found, "lip").likely == 30.0 and (of(found, "sod").low, of(found, "sod").high) == (4.0, 15.0)
    assert of(found, "mix").high == 7.0 and of(found, "locate").likely == 7 and of(found, "levels").likely == 30


@pytest.mark.invariant
@given(st.floats(0, 50), st.floats(0, 50), st.floats(0, 5), st.floats(0, 5), st.floats(0, 100))
def test_low_likely_and_high_stand_in_order_and_nothing_is_asked_for_nothing(cut, fill, noise, sigma, rim):
    found = items({**ROW, "cut_m3": cut, "fill_m3": fill, "noise_m3": noise, "net_sigma_m3": sigma}, [], rim, 0, None)
    assert all(0 <= i.low <= i.likely <= i.high and i.high > 0 for i in found)
    assert not {"locate", "levels", "lip", "sod"} & {i.name for i in found}


@pytest.mark.analytic
def test_four_corners_and_one_inside_hold_a_field():
    held = ring(SKIN, [*CORNERS, (10, 10)])  # the grass within the infield is inside
    assert (held.around, held.inside, held.held, held.short) == (4, 1, 1.0, ())


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("points", "short"),
    [
        ([], (FEW_AROUND, OPEN, NONE_INSIDE)),
        ([(10, 5)] * 6, (FEW_AROUND, OPEN)),  # many on the infield hold nothing
        ([*CORNERS[:3], (10, 5)], (FEW_AROUND, OPEN)),
        (CORNERS, (NONE_INSIDE,)),
        ([(-5, -5), (-5, 5), (-5, 15), (-5, 25), (10, 5)], (OPEN,)),  # all on one side
    ],
)
def test_what_is_short_is_named(points, short):
    assert ring(SKIN, points).short == short


@pytest.mark.analytic
def test_the_share_that_is_held_is_one_of_area():
    assert ring(box(0, 0, 20, 20), [(-5, -5), (45, -5), (-5, 45), (-6, 20)]).held == pytest.approx(1.0, abs=1e-9)  # the corner (20, 20) lies on the chord
    assert ring(Point(0, 0).buffer(1), [(-5, 0), (5, 0), (0, 5), (0.1, 5)]).held == pytest.approx(0.5, abs=0.01)


@pytest.mark.invariant
def test_what_nobody_can_say_is_an_item_without_a_figure_not_no_item():
    unknown = of(items({**ROW, "mix_tonnes": None}, [], 0.0, 0, None), "mix")
    assert unknown.likely != unknown.likely
    half = items(ROW, [LIP, {**LIP, "out_m3": None, "length_m": 12.0, "sod_m2": None}], 0.0, 0, None)
    assert of(half, "lip").likely == 42.0 and of(half, "sod").low != of(half, "sod").low
    assert not [i for i in items({**ROW, "mix_tonnes": None, "fill_m3": 1.0}, [], 0.0, 0, None) if i.name == "mix"]  # more is cut than filled
    assert of(items(ROW, [], 0.0, 0, None, set_anew=2, plates=5), "bases").likely == 5
