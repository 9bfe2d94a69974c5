"""pipeline/survey/reading/project.py: the polynomial that stands for the projection library over one field."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from pipeline.coordinates import in_unit, read_crs
from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.survey.reading.project import TOLERANCE_M, fit, largest_error_m
from pipeline.survey.reading.reference import Reference
from pipeline.transform import step_between

WORKING = "EPSG:6564"
GRID = Grid.covering((407_826.0, 76_410.0, 407_946.0, 76_530.0), WORKING, 0.10)


def reference(crs: CRS | str, z_factor: float = 1.0) -> Reference:
    crs = read_crs(crs) if isinstance(crs, str) else crs
    return Reference(crs, z_factor, "m", None, 0.0, ())


def points(n: int = 2000, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng.uniform(GRID.west, GRID.east, n), rng.uniform(GRID.south, GRID.north, n)


@pytest.mark.analytic
def test_feet_of_the_same_zone_are_a_plain_factor():
    projection = fit(reference("EPSG:6565"), GRID)
    e, n = points()
    foot = 1200 / 3937
    fe, fn = projection.apply(e / foot, n / foot)
    np.testing.assert_allclose(fe, e, atol=1e-6)
    np.testing.assert_allclose(fn, n, atol=1e-6)


@pytest.mark.analytic
def test_the_working_crs_itself_passes_unchanged():
    projection = fit(reference(WORKING), GRID)
    e, n = points()
    np.testing.assert_allclose(projection.apply(e, n), [e, n], atol=1e-8)


@pytest.mark.independent  # pyproj, point by point
@pytest.mark.parametrize("crs", ["EPSG:6565", "EPSG:6318", "EPSG:32617", "EPSG:4326", "EPSG:3857", "EPSG:6346"])
def test_the_polynomial_agrees_with_the_projection_library_to_half_a_tick(crs):
    projection = fit(reference(crs), GRID)
    e, n = points()
    exact = Transformer.from_crs(crs, WORKING, always_xy=True, only_best=True, allow_ballpark=False)
    x, y = exact.transform(e, n, direction="INVERSE")
    fe, fn = projection.apply(x, y)
    assert np.hypot(fe - e, fn - n).max() < TOLERANCE_M


@pytest.mark.invariant
def test_metres_us_feet_and_feet_of_one_cloud_fall_on_the_same_place():
    e, n = points()
    zone, found = CRS.from_epsg(6512), []  # Missouri East: the registry has it in metres alone
    grid = Grid.covering((76_467.0, 174_840.0, 76_587.0, 174_960.0), "EPSG:6512", 0.10)
    e, n = e - GRID.west + grid.west, n - GRID.south + grid.south
    for word, factor in (("m", 1.0), ("us-ft", 1200 / 3937), ("ft", 0.3048)):
        projection = fit(reference(in_unit(zone, word), factor), grid)
        found.append((*projection.apply(e / factor, n / factor), 300.0 / factor * projection.z_factor))
    for other in found[1:]:
        assert np.hypot(other[0] - found[0][0], other[1] - found[0][1]).max() < 1e-4
        assert abs(other[2] - found[0][2]) < 1e-9


@pytest.mark.invariant
@settings(max_examples=25, deadline=None)
@given(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_no_point_of_the_grid_lies_outside_the_box(across, along):
    projection = fit(reference("EPSG:32617"), GRID)
    e = GRID.west + (across + 1) / 2 * (GRID.east - GRID.west)
    n = GRID.south + (along + 1) / 2 * (GRID.north - GRID.south)
    x, y = step_between(CRS.from_epsg(32617), CRS.from_epsg(6564)).back(np.array([e]), np.array([n]))
    west, south, east, north = projection.box
    assert west <= x[0] <= east and south <= y[0] <= north


@pytest.mark.invariant
def test_the_height_factor_travels_with_the_polynomial():
    assert fit(reference("EPSG:6565", 0.3048), GRID).z_factor == 0.3048


@pytest.mark.invariant
def test_a_polynomial_that_would_be_wrong_is_not_handed_out():
    whole_state = Grid.covering((0.0, -300_000.0, 900_000.0, 400_000.0), WORKING, 1000.0)
    with pytest.raises(Refused, match="bends") as caught:
        fit(reference("EPSG:6318"), whole_state)
    assert caught.value.code == "crs_not_usable"


@pytest.mark.invariant
def test_the_check_sees_a_millimetre():
    projection = fit(reference("EPSG:32617"), GRID)
    step = step_between(CRS.from_epsg(32617), CRS.from_epsg(6564), (-80.0, 40.0))
    assert largest_error_m(projection, step) < TOLERANCE_M
    moved = replace(projection, east=(projection.east[0] + 0.001, *projection.east[1:]))
    assert largest_error_m(moved, step) == pytest.approx(0.001, abs=1e-6)


@pytest.mark.invariant
@pytest.mark.parametrize("crs, why", [("EPSG:2272", "no exact step"), ("EPSG:28992", "no exact step|has no numbers")])
def test_coordinates_that_cannot_be_carried_over_are_refused(crs, why):
    with pytest.raises(Refused, match=why) as caught:
        fit(reference(crs), GRID)
    assert caught.value.code == "crs_not_usable"
