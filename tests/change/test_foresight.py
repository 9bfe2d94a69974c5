"""What a survey not yet flown would see, against the methods' printed table and against drawn surveys."""

from __future__ import annotations

import numpy as np
import pytest
from support.tied_field import SLABS, drawn_field

from pipeline.change.foresight import POWER_80, edge_seen, foresee, pads_tried, pads_wanted, usual_shape
from pipeline.change.walk_foresight import foresee_walk
from pipeline.diamond.edges import Edge
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, WEAK_PHOTOGRAMMETRY, of_difference
from pipeline.survey.walks.walk_plan import walk_plan
from shapely.geometry import LineString

GOOD, LASER, WEAK = (GOOD_PHOTOGRAMMETRY, 1 / 0.030**2), (LIDAR, 1 / 0.040**2), (WEAK_PHOTOGRAMMETRY, 1 / 0.040**2)


@pytest.fixture(scope="module")
def seven():
    return drawn_field(SLABS)


@pytest.mark.analytic
@pytest.mark.parametrize(("survey", "mean_mm"), [(GOOD, 8), (LASER, 7), (WEAK, 14)], ids=["good", "lidar", "weak"])
def test_the_mean_change_seen_is_near_the_methods_table(seven, survey, mean_mm):
    """method table for 7 patches: 8 / 7 / 14 mm (its layout is another one: within 45 %)."""
    assert 1000 * foresee(seven, *survey).mean_m == pytest.approx(mean_mm, rel=0.45)


@pytest.mark.analytic
@pytest.mark.parametrize(("survey", "whole_mm", "part_mm"), [(GOOD, 5.3, 9.8), (LASER, 3.6, 7.6), (WEAK, 6.9, 15.5)], ids=["good", "lidar", "weak"])
def test_the_growth_seen_is_near_the_methods_table(survey, whole_mm, part_mm):
    """method table: growth of a long edge 5.3 / 3.6 / 6.9 mm, of 5 m 9.8 / 7.6 / 15.5 (measured there on curved edges)."""
    arc = Edge("outer", LineString([(28 * np.cos(t), 28 * np.sin(t)) for t in np.linspace(0.3, 2.0, 90)]), False, "layout")
    seen = edge_seen(arc, of_difference(survey[0], survey[0]), survey[1], 0.028)
    assert seen.clear_m > 40
    assert 1000 * seen.whole_m == pytest.approx(whole_mm, rel=0.35)
    assert 1000 * seen.segment_m == pytest.approx(part_mm, rel=0.2)


@pytest.mark.analytic
def test_a_wider_spacing_and_a_shorter_edge_see_less(seven):
    near, far = foresee(seven, GOOD_PHOTOGRAMMETRY, 1200.0), foresee(seven, GOOD_PHOTOGRAMMETRY, 400.0)
    for a, b in zip(near.edges, far.edges):
        assert a.whole_m < b.whole_m and a.segment_m >= a.whole_m
    assert near.volume_m3 == pytest.approx(near.mean_m * near.skin_m2)
    assert usual_shape(seven.edges[0]).bump.crest == pytest.approx(0.13, abs=0.02)


@pytest.mark.analytic
def test_pads_are_asked_for_until_heights_can_be_compared():
    poor = drawn_field(("dugout-first",))
    assert foresee(poor, *GOOD).codes
    wanted = pads_wanted(poor, *GOOD)
    assert 1 <= len(wanted) <= 4 and not wanted[-1].codes
    assert not any(p.inside for p in wanted)
    sigmas = [p.sigma_m for p in wanted]
    assert sigmas == sorted(sigmas, reverse=True) and sigmas[0] < foresee(poor, *GOOD).tie_sigma_m


@pytest.mark.analytic
def test_a_still_place_inside_does_more_than_any_around():
    grass = drawn_field(SLABS, "baseball-90")
    tried = pads_tried(grass, *GOOD)
    inside, around = (min(t.sigma_m for t in tried if t.inside is side) for side in (True, False))
    assert inside < around


@pytest.mark.invariant
def test_nothing_depends_on_where_the_field_lies(seven):
    again = foresee(seven, *GOOD)
    assert again == foresee(seven, *GOOD)


@pytest.mark.independent  # the walk's own fit on drawn walks; method: 2.45 mm over edges of 40 m and more, 240 points
def test_a_planned_walk_sees_what_the_methods_measured(seven):
    plan = walk_plan(seven)
    seen = foresee_walk(seven, plan, np.random.default_rng(4))
    outer = next(e for e in seen.edges if e.edge_id == "outer")
    assert 1.5 < 1000 * outer.whole_m / POWER_80 < 3.2
    assert seen == foresee_walk(seven, plan, np.random.default_rng(4)) or np.isnan([e.segment_m for e in seen.edges]).all()
