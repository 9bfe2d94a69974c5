"""Base distances from located points: who counts as located, what is taped, what is not seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from shapely.geometry import Point

from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import LAYOUTS
from pipeline.diamond.layout import Feature
from pipeline.diamond.places import base_centres
from pipeline.surface.rulebook_bases import DRAWN, GIVEN, Located, base_distances, located_bases, pitching_distance
from pipeline.surface.rulebook_item import judged
from pipeline.surface.rulebook_rules import rules
from pipeline.units import inches

AXES = Axes(1000.0, 2000.0, 0.4)


def anchor(name: str, at=(0.0, 0.0), **props) -> Feature:
    return Feature("base_anchor", name, Point(*at), {"located_by": "rover", **props})


@pytest.mark.invariant
def test_anchors_go_to_their_base_set_and_what_was_not_found_is_not_located():
    drawn = [
        anchor("first", (1, 1)), anchor("second-60", (2, 2)), anchor("b3", (3, 3), base="third", layout="baseball-60"),
        anchor("third", (4, 4), state="not found"), Feature("valve_box", "first", Point(9, 9), {}), anchor("home", (8, 8)),
    ]  # fmt: skip
    found = located_bases(drawn, "baseball-70", "baseball-60", home=(5.0, 5.0), second=(6.0, 6.0))
    assert set(found["baseball-70"]) == {"home", "first", "second"}
    assert set(found["baseball-60"]) == {"home", "second", "third"}
    assert found["baseball-60"]["home"] == Located(5.0, 5.0, how=GIVEN)
    assert found["baseball-70"]["first"].how == "located"


@pytest.mark.invariant
def test_a_located_second_base_stands_over_the_field_s_given_one():
    found = located_bases([anchor("second", (2, 2))], "baseball-70", None, second=(6.0, 6.0))
    assert found["baseball-70"]["second"] == Located(2.0, 2.0)


@pytest.mark.invariant
def test_how_well_an_anchor_is_known_is_as_stated_and_unknown_where_nobody_says():
    drawn = [anchor("first", (1, 1), sigma_mm=4), Feature("base_anchor", "second", Point(2, 2), {}), anchor("third", (3, 3))]
    found = located_bases(drawn, "baseball-70", None, home=(5.0, 5.0), given_sigma_m=0.03)["baseball-70"]
    assert (found["first"].sigma_m, found["third"].sigma_m, found["home"].sigma_m) == (0.004, 0.010, 0.03)
    assert np.isnan(found["second"].sigma_m) and found["second"].how == DRAWN
    sides = base_distances(AXES, found)
    assert np.isnan(sides["first-second"].sigma_m) and DRAWN in sides["first-second"].reason
    assert sides["home-first"].sigma_m == approx(np.hypot(0.004, 0.03)) and not sides["home-first"].by_table


@pytest.mark.analytic
def test_the_pitching_distance_comes_from_a_located_plate_or_a_tape():
    home = Located(1000.0, 2000.0, 0.005, GIVEN)
    plate = Located(*(float(v) for v in AXES.world(0.02, 13.1)), 0.004)
    found = pitching_distance({"home": home, "pitchers-plate": plate}, {})
    assert (found.value_m, found.sigma_m) == approx((np.hypot(0.02, 13.1), np.hypot(0.005, 0.004)))
    assert pitching_distance({"home": home, "pitchers-plate": plate}, {"pitching-distance": (13.0, 0.006)}).reason == "by tape"
    assert np.isnan(pitching_distance({"home": home}, {}).value_m)
    anchors = located_bases([anchor("pitchers-plate", (7, 7)), anchor("plate", (8, 8), base="pitchers-plate", layout="baseball-60")], "baseball-70", "baseball-60")
    assert anchors["baseball-70"]["pitchers-plate"].e == 7.0 and "pitchers-plate" not in anchors["baseball-60"]


@pytest.mark.analytic
def test_a_base_moved_outward_lengthens_its_two_sides_as_geometry_says():
    size = LAYOUTS["baseball-60"]
    at = {"home": (0, 0), **base_centres(size)}
    x, y = at["first"]
    at["first"] = (x + 0.05 * 2**-0.5, y + 0.05 * 2**-0.5)  # 50 mm along the foul line
    points = {k: Located(*(float(v) for v in AXES.world(*xy)), 0.004) for k, xy in at.items()}
    found = base_distances(AXES, points)
    assert found["home-first"].value_m == approx(size.base_m + 0.05, abs=1e-9)
    assert found["first-second"].value_m == approx(np.hypot(size.base_m, 0.05), abs=1e-9)
    assert found["second-third"].value_m == approx(size.base_m, abs=1e-9)
    assert found["home-first"].sigma_m == approx(0.004 * 2**0.5)


@pytest.mark.independent
def test_bags_of_18_in_that_nobody_noted_are_not_called_outside_and_noted_ones_are_judged():
    """First and third lie inside the square (NFHS 1-2-1): an 18 in bag's middle lies 1.5 in nearer home than a 15 in bag's."""
    size, move = LAYOUTS["baseball-90"], inches(1.5)
    at = {"home": (0.0, 0.0), **base_centres(size)}
    x, y = at["first"]
    at["first"] = (x - move * 2**0.5, y)  # half of 3 in along both sides of the square
    points = {k: Located(*(float(v) for v in AXES.world(*xy)), 0.002) for k, xy in at.items()}
    rule = rules("baseball-90")["home-first"]

    def side(**noted):
        found = base_distances(AXES, points | {"first": replace(points["first"], **noted)})["home-first"]
        return judged("baseball-90", "home-first", found, rule, 25.0, "base_distance_mm")

    unknown, noted = side(), side(bag_m=inches(18))
    assert unknown.verdict == "cannot_tell" and "bag_in" in unknown.reason
    assert noted.measured_mm == approx(27432.0, abs=1e-3) and noted.verdict == "within"
    assert side(bag_m=inches(15)).verdict == "outside"


@pytest.mark.invariant
def test_a_missing_point_is_named_a_tape_stands_over_points_and_given_points_are_told_as_such():
    points = {"home": Located(1000.0, 2000.0, how=GIVEN), "second": Located(*(float(v) for v in AXES.world(0, 25.86)), how=GIVEN)}
    found = base_distances(AXES, points, {"home-first": (18.290, 0.003)})
    assert (found["home-first"].value_m, found["home-first"].reason) == (18.290, "by tape")
    assert np.isnan(found["first-second"].value_m) and "first" in found["first-second"].reason
    assert GIVEN in found["home-second"].reason and found["home-second"].by_table
    assert all(np.isnan(m.value_m) for m in base_distances(None, points).values())
