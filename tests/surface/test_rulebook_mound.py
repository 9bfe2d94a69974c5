"""The mound: its height, place, front and landing spot, on mounds that the simulator drew after rule 2.01 on its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from support.rule_field import Truth, surveyed

from pipeline.surface.rulebook import rulebook
from pipeline.surface.rulebook_mound import parts_of


def by_item(given) -> dict:
    return {i.item: i for i in rulebook(given)}


@pytest.mark.independent
@pytest.mark.parametrize(("layout", "inches"), [("baseball-90", 10), ("baseball-80", 8), ("baseball-70", 6), ("baseball-60", 6)])
@pytest.mark.parametrize("up", [-0.03, 0.0, 0.02])
def test_height_over_home_plate_is_the_one_it_was_built_to(layout, inches, up):
    found = by_item(surveyed(layout, Truth(mound_up=up, along=0.001)))
    assert found["mound-height"].measured_mm == approx(25.4 * inches + 1000 * up, abs=1.5)
    assert found["pitchers-plate-over-home"].measured_mm == approx(25.4 * inches + 1000 * up, abs=0.5)  # the ground rises to the plate's middle


@pytest.mark.independent
@pytest.mark.parametrize("moved", [(0.0, 0.0), (0.15, -0.20), (-0.30, 0.10)])
def test_a_mound_that_was_built_elsewhere_is_found_there(moved):
    found = by_item(surveyed("baseball-90", Truth(mound_moved=moved)))
    assert found["mound-centre-aside"].measured_mm == approx(1000 * moved[0], abs=25)
    assert found["mound-centre-from-home"].measured_mm == approx(59 * 304.8 + 1000 * moved[1], abs=25)
    assert found["mound-height"].measured_mm == approx(254, abs=3)


@pytest.mark.analytic
def test_the_front_of_the_rule_s_mound_falls_an_inch_in_a_foot():
    row = by_item(surveyed("baseball-90"))["mound-front-fall"]
    assert row.measured_mm == approx(152.4, abs=4)  # the simulator's front is lower at its sides
    assert row.reason.startswith("1.0")
    assert row.verdict == "within"


@pytest.mark.independent
@pytest.mark.parametrize("worn", [0.0, 0.03, 0.08])
def test_wear_of_the_landing_spot_is_read_to_a_quarter_inch_and_leaves_the_rest_alone(worn):
    fresh, used = (by_item(surveyed("baseball-90", Truth(worn=w))) for w in (0.0, worn))
    assert used["landing-wear"].measured_mm - fresh["landing-wear"].measured_mm == approx(1000 * worn, abs=3)
    assert fresh["landing-wear"].measured_mm == approx(0, abs=6)
    for item in ("mound-height", "mound-front-fall", "mound-table-flatness"):
        assert used[item].measured_mm == approx(fresh[item].measured_mm, abs=2)


@pytest.mark.invariant
def test_an_uneven_table_shows_and_a_tilted_one_is_not_called_uneven():
    given = surveyed("baseball-90")
    x, y = given.layout.axes.local(*given.layout.grid.mesh())
    tilted = replace(given.heights, z=given.heights.z + 0.02 * x)
    found = by_item(replace(given, heights=tilted))
    assert found["mound-table-tilt-across"].measured_mm == approx(0.02 * 1524, abs=0.5)
    assert found["mound-table-flatness"].measured_mm == approx(0, abs=0.5)
    waved = replace(given.heights, z=given.heights.z + 0.012 * np.sin(2 * np.pi * x / 0.6))
    assert by_item(replace(given, heights=waved))["mound-table-flatness"].measured_mm == approx(12 / 2**0.5, rel=0.15)


@pytest.mark.invariant
def test_flat_ground_where_a_mound_is_drawn_is_not_measured_as_one():
    given = surveyed("baseball-60")
    x, y = given.layout.axes.local(*given.layout.grid.mesh())
    flat = by_item(replace(given, heights=replace(given.heights, z=300 + 0.002 * x)))
    assert flat["mound-centre-from-home"].verdict == "not_seen"
    assert flat["landing-wear"].verdict == "not_seen"
    assert flat["mound-height"].verdict == "outside"


@pytest.mark.invariant
def test_parts_of_a_mound_do_not_overlap():
    given = surveyed("baseball-90")
    parts = parts_of(given.layout.grid, given.layout)
    assert not (parts.table & parts.front).any() and not (parts.landing & parts.clear).any()
    assert (parts.table & ~parts.whole).sum() == 0
