"""The mound against the rulebook, the sections against their own words."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.diamond.dimensions import LAYOUTS
from pipeline.simulate.shapes import bump, cover, mound, skin_share
from pipeline.units import feet, inches

MAJOR = LAYOUTS["baseball-90"]


def height_in(x_ft: float, y_ft: float) -> float:
    return float(mound(np.array([feet(x_ft)]), np.array([feet(y_ft)]), MAJOR, inches(10))[0] / inches(1))


@pytest.mark.independent  # Official Baseball Rules 2.01: 10 in; 1 in per ft from 6 in before the plate for 6 ft
def test_the_front_of_the_mound_falls_one_inch_per_foot():
    assert height_in(0, 60.5) == pytest.approx(10)
    for ahead in np.linspace(0, 6, 13):
        assert height_in(0, 60.0 - ahead) == pytest.approx(10 - ahead, abs=1e-9)


@pytest.mark.independent  # carried on, that slope meets the front of an 18 ft circle centred at 59 ft: arithmetic
def test_the_front_slope_reaches_the_ground_at_the_circle():
    assert height_in(0, 54.0) == pytest.approx(4)
    assert height_in(0, 50.0) == pytest.approx(0, abs=1e-9)
    assert height_in(0, 49.0) == 0


@pytest.mark.independent  # flat top of 5 ft by 34 in (rule diagrams)
def test_the_top_is_flat_five_feet_wide_and_34_inches_deep():
    for x in (-2.5, 0, 2.5):
        for y in (60.0, 61.0, 60.0 + 34 / 12):
            assert height_in(x, y) == pytest.approx(10)
    assert height_in(2.7, 61.0) < 10 and height_in(0, 60.0 + 35 / 12) < 10


@pytest.mark.analytic
def test_outside_its_circle_there_is_no_mound_and_inside_it_is_nowhere_higher_than_its_top():
    x, y = np.random.default_rng(2).uniform(-12, 12, (2, 4000))
    z = mound(x, 18.0 + y, MAJOR, inches(10))
    outside = np.hypot(x, 18.0 + y - (MAJOR.pitch_m - inches(18))) > MAJOR.mound_m
    assert (z[outside] == 0).all() and z.max() <= inches(10) + 1e-12


@pytest.mark.analytic
def test_a_six_inch_mound_also_falls_one_inch_per_foot_in_front():
    size = LAYOUTS["baseball-70"]
    front = size.pitch_m - inches(6)
    z = mound(np.zeros(3), front - feet(np.array([0.0, 1.0, 4.0])), size, inches(6))
    assert z / inches(1) == pytest.approx([6, 5, 2])


@pytest.mark.analytic
def test_a_lip_is_highest_at_its_crest_and_a_half_width_is_where_it_has_fallen_to_one_over_e():
    d = np.array([0.13, 0.0, 0.43])
    assert bump(d, 0.13, 0.13, 0.30) == pytest.approx([1, np.exp(-1), np.exp(-1)])


@pytest.mark.analytic
def test_cover_and_skin_run_from_nothing_to_all_across_the_edge():
    assert cover(np.array([-0.02, 0.04, 0.10])) == pytest.approx([0, 0.5, 1])
    assert skin_share(np.array([-0.10, -0.025, 0.05])) == pytest.approx([1, 0.5, 0])


@pytest.mark.invariant
def test_the_mound_is_the_same_on_both_sides():
    x, y = np.random.default_rng(3).uniform(-3, 3, (2, 500))
    assert np.array_equal(mound(x, 18 + y, MAJOR, 0.25), mound(-x, 18 + y, MAJOR, 0.25))
