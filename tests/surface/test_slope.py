"""Slope and fall of a zone."""

from __future__ import annotations

import numpy as np
import pytest
from support.flat_field import bowl, error_of, middle, no_error, plane, square

from pipeline.surface.slope import slope_of, zone_plane
from pipeline.surface.survey_error import SurveyError

FIELD = square(10.0)
ALL = np.ones(FIELD.shape, bool)


def slope(z, source=None, zone=ALL, error=None, grid=FIELD):
    model, white = no_error(grid) if source is None else error_of(source, grid)
    return slope_of(zone_plane(z, white, grid, zone), error or model)


@pytest.mark.analytic
@pytest.mark.parametrize("bearing", [0.0, 37.0, 90.0, 180.0, 233.0, 359.0])
def test_a_plane_falls_where_it_was_made_to_fall(bearing):
    down = np.radians(bearing)
    found = slope(plane(FIELD, -0.0067 * np.sin(down), -0.0067 * np.cos(down)))
    assert found.slope == pytest.approx(0.0067, abs=1e-9)
    assert (found.bearing_deg - bearing + 180) % 360 - 180 == pytest.approx(0, abs=1e-5)
    assert found.slope_sigma == 0.0


@pytest.mark.analytic
def test_one_per_cent_is_twelve_tenths_of_an_inch_in_ten_feet():
    """In a bid 1 % stood for 1.5-2 in per 10 ft (domain.md); 120 in x 0.01 is 1.2."""
    assert slope(plane(FIELD, 0.01)).inches_per_10_ft == pytest.approx(1.2, abs=1e-6)


@pytest.mark.analytic
def test_the_tie_s_tilt_is_the_whole_error_of_an_otherwise_exact_survey():
    """Prior 0.2 mm a metre on each axis, and the dome's slope at the zone: 2 x dome x distance / 30^2."""
    model, _ = no_error(FIELD)
    tie = np.diag([0.02, 0.006, 0.006]) ** 2
    tied = SurveyError.of(model.noise, model.centre, tie)
    assert slope(plane(FIELD, 0.01), error=tied).slope_sigma == pytest.approx(0.006 / 30, rel=1e-9)
    e, n = middle(FIELD)
    domed = SurveyError.of(model.noise, (e - 18.0, n), np.diag([0, 0, 0, 0.010]) ** 2)
    assert slope(plane(FIELD, 0.01), error=domed).slope_sigma == pytest.approx(2 * 0.010 * 18 / 900, rel=1e-9)
    with pytest.raises(ValueError, match="tie_covariance"):
        SurveyError.of(model.noise, model.centre, np.eye(2))


@pytest.mark.invariant
def test_heights_and_coordinates_far_from_zero_change_no_slope():
    z = plane(FIELD, 0.004, -0.003) - bowl(FIELD, *middle(FIELD), 0.02, 2.0)
    far = slope(z + 2000.0)
    assert far.slope == pytest.approx(slope(z).slope, abs=1e-11)


@pytest.mark.invariant
def test_a_worn_place_pulls_the_plane_less_than_least_squares_would():
    e, n = middle(FIELD)
    z = plane(FIELD, 0.005) - bowl(FIELD, e + 3.0, n, 0.05, 1.8)
    rows = zone_plane(z, np.zeros(FIELD.shape), FIELD, ALL)
    x, y = rows.blocks.grid.mesh()
    least = np.polyfit(x.ravel() - e, rows.blocks.value.ravel(), 1)[0]
    assert abs(rows.plane.slope - 0.005) < 0.25 * abs(least - 0.005)


@pytest.mark.invariant
def test_level_ground_has_no_bearing_and_a_steep_zone_has_one_with_its_sigma():
    assert np.isnan(slope(plane(FIELD, 1e-4), "good").bearing_deg)
    steep = slope(plane(FIELD, 0.008), "good")
    assert steep.bearing_deg == pytest.approx(270.0)
    assert steep.bearing_sigma_deg == pytest.approx(np.degrees(steep.slope_sigma / 0.008), rel=0.05)
    flat = slope(plane(FIELD), "good")
    assert np.isnan(flat.bearing_deg) and flat.slope_sigma > 0


@pytest.mark.invariant
def test_too_small_a_zone_has_no_plane():
    few = np.zeros(FIELD.shape, bool)
    few[:10, :12] = True
    assert zone_plane(plane(FIELD), np.zeros(FIELD.shape), FIELD, few) is None
    line = np.zeros(FIELD.shape, bool)
    line[:5] = True
    assert zone_plane(plane(FIELD), np.zeros(FIELD.shape), FIELD, line) is None
    assert zone_plane(plane(FIELD), np.zeros(FIELD.shape), FIELD, np.zeros(FIELD.shape, bool)) is None


@pytest.mark.independent
@pytest.mark.parametrize("source", ["good", "weak", "lidar"])
def test_slopes_lie_within_their_interval_as_often_as_they_should(source):
    """250 drawn surveys of 10 x 10 m, tilt included: cover 0.92 to 0.97; independent cells would not do."""
    error, white = error_of(source, FIELD)
    true = np.hypot(0.008, 0.003)
    base = plane(FIELD, 0.008, 0.003)
    sigma = slope_of(zone_plane(base, white, FIELD, ALL), error).slope_sigma
    seed = {"good": 6, "weak": 7, "lidar": 8}[source]
    found = np.array(
        [
            zone_plane(base + f, white, FIELD, ALL).plane.slope
            for f in error.fields(FIELD, white, 250, np.random.default_rng(seed))
        ]
    )
    assert 0.92 <= (np.abs(found - true) < 1.96 * sigma).mean() <= 0.97
    naive = np.hypot(*white[:2, 0]) / np.sqrt(2 * FIELD.ny * FIELD.nx) / (10 / np.sqrt(12))
    assert sigma > 5 * naive


@pytest.mark.independent
def test_the_weights_are_those_of_numpy_s_least_squares():
    zone = zone_plane(plane(FIELD, 0.01, 0.02), np.zeros(FIELD.shape), FIELD, ALL)
    z = np.random.default_rng(0).normal(size=zone.blocks.grid.shape)
    x, y = (v.ravel() for v in zone.blocks.grid.mesh())
    design = np.column_stack([np.ones_like(x), x - zone.plane.x0, y - zone.plane.y0])
    assert (zone.weights * z).sum(axis=(1, 2)) == pytest.approx(np.linalg.lstsq(design, z.ravel())[0], abs=1e-9)
    left = zone.residual_of(z[None])[0]
    assert left == pytest.approx(z.ravel() - design @ np.linalg.lstsq(design, z.ravel())[0], abs=1e-9)
