"""Hand-offs on ground with closed forms: planes moved by a known amount, steps and slopes of a known size, noise of a known s.d."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import LineString, Point, box

from pipeline.diamond.layout import Feature
from pipeline.frame import Grid
from pipeline.works.handoffs import CANNOT_TELL, CROSS, LOOK, LOWER, RAISE, SLOPE, STEP, Site, level_at, levels, told
from pipeline.works.ways import Outside, meeting, slope_verdict, step_verdict, ways

GRID = Grid("EPSG:6550", 0, 300, 0.1, 300, 300)  # 30 m by 30 m, north edge at 30 m
SKIN = box(5, 5, 25, 25)
E, N = GRID.mesh()
GRADED = GRID.mask(SKIN.buffer(-0.3))


def site(change, existing=None, sigma_m: float = 0.001, grid=GRID) -> Site:
    """A design that moves the ground by `change`, (ny, nx) or a number, over a survey with that s.d. of any figure."""
    was = np.where(GRADED, 100 + 0.01 * N if existing is None else existing, np.nan)
    return Site(grid, was, was + change, lambda weights: sigma_m)


def head(x: float, y: float, role: str = "irrigation_head") -> Feature:
    return Feature(role, "h1", Point(x, y), {})


@pytest.mark.analytic
def test_a_head_is_raised_or_lowered_by_what_the_design_moves_the_ground_at_it():
    tilted = 0.004 * (N - 15)  # 0 in the middle, +40 mm ten metres north of it
    (up,) = levels(site(tilted), [head(15, 20)])
    (down,) = levels(site(tilted), [head(15, 10, "valve_box")])
    assert (up.verdict, down.verdict) == (RAISE, LOWER)
    assert up.difference_mm == pytest.approx(20.0, abs=0.1) and down.difference_mm == pytest.approx(-20.0, abs=0.1)
    assert up.existing_m == pytest.approx(100.20, abs=2e-3) and up.design_m - up.existing_m == pytest.approx(0.020, abs=1e-4)
    assert levels(site(tilted), [head(15, 15)]) == []  # the ground stays where it is


@pytest.mark.analytic
def test_a_head_in_the_grass_is_told_by_the_ground_beside_it_and_one_out_of_reach_is_left_out():
    (near,) = levels(site(0.02), [head(25.6, 15)])
    assert near.verdict == RAISE and "1.0 m off the graded ground" in near.note  # middles of cells
    assert levels(site(0.02), [head(27.5, 15)]) == [] and level_at(site(0.0), Point(15, 15)) is None


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("difference", "sigma", "says"),
    [(0.020, 0.005, LOOK), (0.020, 0.011, CANNOT_TELL), (0.005, 0.0001, None), (0.005, 0.004, CANNOT_TELL), (-0.020, 0.005, LOOK), (0.0064, 0.0, LOOK)],
)
def test_nothing_is_flagged_within_the_noise(difference, sigma, says):
    """Worth a look from 6.35 mm; sure where it is over 1.96 s.d.; not to be told where noise could hide so much."""
    assert told(difference, sigma, 0.00635) == says


@pytest.mark.invariant
def test_what_lifts_the_whole_survey_weighs_nothing():
    seen = []
    made = Site(GRID, np.where(GRADED, 100.0, np.nan), np.where(GRADED, 100.02, np.nan), lambda w: seen.append(w) or 0.001)
    levels(made, [head(15, 15)])
    assert seen[0].sum() == pytest.approx(0.0, abs=1e-12) and seen[0].max() > 0


def outside(z) -> Outside:
    return Outside(np.where(GRADED, np.nan, z), 0.0, 0.0)


@pytest.mark.analytic
def test_a_step_at_the_rim_is_the_offset_of_two_planes_of_one_slope():
    """Ground falls 2 % across the rim and stands 15 mm higher outside; the design takes 10 mm off the skin: 25 mm."""
    ground = 100 - 0.02 * E
    for thing in (Feature("gate", "g", Point(26.0, 15.0), {}), Feature("accessible_route", "r", LineString([(28, 15), (22, 15)]), {})):
        found = [h for h in ways(site(-0.010, ground), [thing], SKIN, outside(ground + 0.015)) if h.measure == STEP]
        (step,) = found
        assert (step.before, step.after) == pytest.approx((15.0, 25.0), abs=0.05) and step.verdict == LOOK
        assert step.difference_mm == pytest.approx(-10.0, abs=0.01) and (step.e, step.n) == pytest.approx((25.0, 15.0))
        assert step.who_decides.endswith("local law decides")


@pytest.mark.analytic
def test_a_design_that_takes_a_step_away_is_no_step_and_a_far_gate_meets_nothing():
    ground = 100 + 0.0 * E
    assert ways(site(0.015, ground), [Feature("gate", "g", Point(26.0, 15.0), {})], SKIN, outside(ground + 0.015)) == []
    assert meeting(Feature("gate", "g", Point(28.5, 15.0), {}), SKIN) == []


@pytest.mark.analytic
def test_whether_a_route_is_paved_or_grass_is_in_doubt_and_a_gate_stands_in_grass():
    ground = 100 + 0.0 * E
    grass = Outside(np.where(GRADED, np.nan, ground + 0.040), 0.040, 0.004)
    gate, route = (ways(site(0.001, ground), [f], SKIN, grass) for f in (Feature("gate", "g", Point(26, 15), {}), Feature("accessible_route", "r", LineString([(28, 15), (22, 15)]), {})))
    assert gate[0].verdict == CANNOT_TELL and gate[0].before == pytest.approx(0.0, abs=0.01)  # 4 mm of grass unknown hide a quarter inch
    assert route[0].verdict == CANNOT_TELL and route[0].before == pytest.approx(20.0, abs=0.01)


@pytest.mark.analytic
def test_slopes_along_and_across_a_route_are_those_of_the_designed_plane():
    """6 % along an eastward route, 3 % across it."""
    thing = Feature("accessible_route", "r", LineString([(8, 15), (14, 15)]), {})
    found = {h.measure: h for h in ways(site(0.06 * (E - 15) + 0.03 * (N - 15), 100 + 0.0 * E), [thing], SKIN, outside(np.full(GRID.shape, np.nan)))}
    assert found[SLOPE].after == pytest.approx(6.0, abs=0.01) and found[CROSS].after == pytest.approx(3.0, abs=0.01) and found[SLOPE].before == pytest.approx(0.0, abs=0.01)
    area = Feature("accessible_route", "r", box(8, 14, 14, 16), {})
    (steepest,) = ways(site(0.06 * (E - 15) + 0.03 * (N - 15), 100 + 0.0 * E), [area], SKIN, outside(np.full(GRID.shape, np.nan)))
    assert steepest.after == pytest.approx(100 * np.hypot(0.06, 0.03), abs=0.01)
    assert slope_verdict(4.9, 0.01, 5.0) is None and slope_verdict(4.9, 0.1, 5.0) == CANNOT_TELL and slope_verdict(5.5, 0.1, 5.0) == LOOK
    assert step_verdict(0.003, 0.001, 0.02, 0.001) is None
