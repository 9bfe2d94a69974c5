"""Runs: the hand cases, rotation, and that no blade ever touches what is kept free."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon, box

from pipeline.works.runs import ACROSS_DEG, FRESH_DEG, apart_deg, chosen, ground_for, minutes_of, stripes

FIELD = box(0, 0, 10, 20)  # 20 m northward
CORNERS = {"home": (0.0, 0.0), "first": (10.0, 0.0), "second": (10.0, 20.0), "third": (0.0, 20.0)}


@pytest.mark.analytic
def test_twenty_by_ten_metres_take_five_long_runs_or_ten_short_ones():
    along, across = stripes(FIELD, 2.0, 0.0), stripes(FIELD, 2.0, 90.0)
    assert [round(line.length, 3) for line in along] == [20.0] * 5 and [round(line.length, 3) for line in across] == [10.0] * 10
    assert minutes_of(along, 1.0, 12.0) == pytest.approx((100 + 60) / 60)


@pytest.mark.analytic
def test_a_thing_in_the_middle_cuts_only_the_runs_whose_blade_would_touch_it():
    ground = ground_for(box(-1, -1, 11, 21), [Point(5, 10).buffer(0.8)], edge_m=1.0)
    lengths = [line.length for line in stripes(ground, 2.0, 0.0)]
    assert sorted(round(v, 1) for v in lengths) == [9.2, 9.2, 20.0, 20.0, 20.0, 20.0]


@pytest.mark.analytic
def test_the_same_bearing_three_times_asks_for_another():
    found = chosen(FIELD, 2.0, [0.0, 0.0, 0.0], [], CORNERS, 1.0, 12.0)
    assert apart_deg(found.bearing_deg, 0.0) >= FRESH_DEG
    assert chosen(FIELD, 2.0, [], [], CORNERS, 1.0, 12.0).bearing_deg == 0.0


@pytest.mark.analytic
def test_a_second_bearing_crosses_the_first():
    one = chosen(FIELD, 2.0, [], [], CORNERS, 1.0, 12.0)
    other = chosen(FIELD, 2.0, [], [], CORNERS, 1.0, 12.0, away_from=one.bearing_deg)
    assert apart_deg(one.bearing_deg, other.bearing_deg) >= ACROSS_DEG


@pytest.mark.analytic
def test_the_corner_is_not_one_of_the_last_two():
    one = chosen(FIELD, 2.0, [], [], CORNERS, 1.0, 12.0)
    two = chosen(FIELD, 2.0, [], [one.entry], CORNERS, 1.0, 12.0)
    three = chosen(FIELD, 2.0, [], [two.entry, one.entry], CORNERS, 1.0, 12.0)
    assert len({one.entry, two.entry, three.entry}) == 3


@pytest.mark.invariant
def test_without_the_machines_figures_there_are_runs_and_no_time():
    found = chosen(FIELD, 2.0, [], [], CORNERS)
    assert len(found.lines) == 5 and np.isnan(found.minutes)


@pytest.mark.invariant
def test_no_ground_no_runs():
    assert stripes(Polygon(), 2.0, 0.0) == [] and chosen(box(0, 0, 1, 1), 2.0, [], [], CORNERS) is None


@st.composite
def fields(draw):
    """A skin with an island of grass or a mound, and things in it; a blade."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    angles = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(5, 14)))
    rim = shapely.MultiPoint(np.column_stack([np.cos(angles), np.sin(angles)]) * rng.uniform(8, 22, (len(angles), 1)) + rng.uniform(-500, 500, 2)).convex_hull
    hole = Point(rim.centroid.x + rng.uniform(-3, 3), rim.centroid.y + rng.uniform(-3, 3)).buffer(rng.uniform(0.5, 5))
    west, south, east, north = rim.bounds
    things = [Point(x, y).buffer(rng.uniform(0.3, 1.2)) for x, y in rng.uniform((west, south), (east, north), (rng.integers(0, 12), 2))]
    things.append(LineString(rng.uniform((west, south), (east, north), (2, 2))).buffer(0.5))
    return rim.difference(hole), things, float(rng.uniform(1.2, 2.6)), float(rng.uniform(0, 180))


@pytest.mark.invariant
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(fields())
def test_no_blade_touches_a_keep_out_or_comes_near_the_grass(field):
    skin, things, width, bearing = field
    ground = ground_for(skin, things)
    kept = shapely.union_all(things)
    for line in stripes(ground, width, bearing):
        blade = line.buffer(width / 2, cap_style="flat")
        assert blade.intersection(kept).area < 1e-4 and blade.difference(skin.buffer(-0.3)).area < 1e-4
        assert line.length >= 3.0 - 1e-5 and len(line.coords) == 2
        along = np.degrees(np.arctan2(line.coords[1][0] - line.coords[0][0], line.coords[1][1] - line.coords[0][1])) % 180
        assert apart_deg(along, bearing) < 1e-4
