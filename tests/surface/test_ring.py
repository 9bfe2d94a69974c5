"""Ring depth: disc against the plane of its ring."""

from __future__ import annotations

import numpy as np
import pytest
from support.flat_field import SOURCES, error_of, hollow, middle, no_error, place, plane, square

from pipeline.frame import Grid
from pipeline.surface import ring
from pipeline.surface.ring import BY_HAND, contrast, exceedance, ring_depth
from pipeline.surface.survey_error import SurveyError, cropped
from pipeline.survey.noise import of_difference
from pipeline.survey.plane import fit_plane

FIELD = square(8.0)
AT = place(*middle(FIELD))
ALL = np.ones(FIELD.shape, bool)


def depth_of(z, usable=ALL, at=AT, grid=FIELD, error=None, white=None, built=None):
    exact, none = no_error(grid)
    return ring_depth(z, none if white is None else white, grid, at, usable, error or exact, built)


def in_disc_minus_in_ring(sd: float) -> float:
    """A Gaussian hollow's mean over the disc less that over the ring, of its centre depth; the ring is level."""

    def mean(inner, outer):
        gone = np.exp(-(inner**2) / (2 * sd**2)) - np.exp(-(outer**2) / (2 * sd**2))
        return 2 * sd**2 * gone / (outer**2 - inner**2)

    return mean(0.0, 0.9) - mean(1.5, 2.7)


@pytest.mark.analytic
@pytest.mark.parametrize("sd, share", [(0.5, 0.50), (0.8, 0.70), (1.2, 0.66), (2.0, 0.39)])
def test_a_gaussian_pit_reads_the_share_of_its_depth_that_the_integrals_say(sd, share):
    fine = square(6.0, 0.05)
    at = place(*middle(fine))
    z = plane(fine, 0.01, -0.006) - hollow(fine, at.e, at.n, 0.020, sd)
    read = depth_of(z, np.ones(fine.shape, bool), at, fine).depth_m / 0.020
    assert read == pytest.approx(in_disc_minus_in_ring(sd), abs=0.002)
    assert read == pytest.approx(share, abs=0.01)


@pytest.mark.analytic
def test_the_volume_is_the_ground_missing_inside_the_ring():
    at, depth = AT, 0.020
    e, n = FIELD.mesh()
    z = plane(FIELD, 0.004, 0.007) - np.where(np.hypot(e - at.e, n - at.n) <= 1.2, depth, 0.0)
    found = depth_of(z)
    assert found.volume_m3 == pytest.approx(np.pi * 1.2**2 * depth, rel=0.01)
    assert found.depth_m == pytest.approx(depth, abs=1e-9)
    assert found.area_m2 == pytest.approx(np.pi * 1.2**2, rel=0.12)  # 6 of 20 mm, smoothed: wider


@pytest.mark.invariant
def test_tilting_and_lifting_the_survey_changes_nothing():
    rng = np.random.default_rng(0)
    z = 300.0 + rng.normal(0, 0.004, FIELD.shape)
    usable = rng.random(FIELD.shape) < 0.9
    first, second = depth_of(z, usable), depth_of(z + plane(FIELD, 0.02, -0.02, 0.5), usable)
    assert abs(first.depth_m - second.depth_m) < 1e-9
    assert abs(first.volume_m3 - second.volume_m3) < 1e-9


@pytest.mark.invariant
def test_the_error_of_the_tie_s_shift_and_tilt_adds_nothing_and_a_dome_next_to_nothing():
    error, white = error_of("good", FIELD)
    untied = depth_of(plane(FIELD), error=error, white=white)
    known = SurveyError(error.noise, error.centre, np.zeros((4, 4)))
    tied = depth_of(plane(FIELD), error=known, white=white)
    assert untied.depth_sigma_m == pytest.approx(tied.depth_sigma_m, rel=1e-3)


@pytest.mark.invariant
def test_nothing_outside_the_usable_ground_counts():
    z = plane(FIELD)
    usable = ALL.copy()
    usable[:, :30] = False
    wild = z.copy()
    wild[:, :30] = 400.0
    assert depth_of(z, usable) == depth_of(wild, usable)
    assert depth_of(wild, usable).reason is None


@pytest.mark.invariant
def test_a_place_half_beyond_the_raster_is_judged_like_one_beyond_the_skin():
    rng = np.random.default_rng(3)
    z = plane(FIELD) + rng.normal(0, 0.003, FIELD.shape)
    at = place(FIELD.west + 2.0, middle(FIELD)[1])
    wide = Grid(FIELD.crs, FIELD.col0 - 30, FIELD.row0, 0.1, 80, 110)
    padded = np.full(wide.shape, np.nan)
    padded[:, 30:] = z
    usable = np.zeros(wide.shape, bool)
    usable[:, 30:] = True
    inside, outside = depth_of(z, ALL, at), depth_of(padded, usable, at, wide)
    assert inside.reason is None and inside.ring_deg == outside.ring_deg < 360
    assert inside.depth_m == pytest.approx(outside.depth_m, abs=1e-12)


@pytest.mark.independent
def test_the_ring_s_plane_is_the_plane_of_least_squares():
    """Another way: fit the ring with `fit_plane`, read it at the disc's centroid, less the disc's mean."""
    rng = np.random.default_rng(1)
    z = plane(FIELD, 0.01, 0.002) + rng.normal(0, 0.005, FIELD.shape)
    usable = rng.random(FIELD.shape) < 0.8
    w = contrast(AT, usable, np.isfinite(z), FIELD)
    assert w.reason is None
    part = cropped(FIELD, w.rows, w.cols)
    x, y = part.mesh()
    cut = z[w.rows, w.cols]
    fitted = fit_plane(x[w.ring], y[w.ring], cut[w.ring])
    expected = fitted.at(x[w.disc].mean(), y[w.disc].mean()) - cut[w.disc].mean()
    found = depth_of(z, usable)
    assert found.depth_m == pytest.approx(float(expected), abs=1e-9)
    missing = (fitted.at(x[w.hollow], y[w.hollow]) - cut[w.hollow]).sum() * 0.01
    assert found.volume_m3 == pytest.approx(float(missing), abs=1e-9)
    left = cut[w.ring] - fitted.at(x[w.ring], y[w.ring])
    assert found.ring_spread_m == pytest.approx(float(np.sqrt((left**2).mean())), rel=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize("source, most_sd_mm", [("good", 3.5), ("weak", 5.5), ("lidar", 3.0)])
def test_on_a_plane_with_noise_depth_and_volume_scatter_by_their_sigma(source, most_sd_mm):
    """Against 200 drawn surveys: bias within 0.8 mm, s.d. of the z-scores 0.9 to 1.1."""
    error, white = error_of(source, FIELD)
    base = plane(FIELD, 0.006, -0.003)
    fields = error.fields(FIELD, white, 200, np.random.default_rng(20))
    found = [depth_of(base + f, error=error, white=white) for f in fields[:25]]
    w = contrast(AT, ALL, ALL, FIELD)
    depth, volume = (
        np.array([(v * (base + f)[w.rows, w.cols]).sum() for f in fields]) for v in (w.depth_weights, w.volume_weights)
    )
    assert depth[:25] == pytest.approx([f.depth_m for f in found], abs=1e-9)
    assert volume[:25] == pytest.approx([f.volume_m3 for f in found], abs=1e-9)
    assert abs(depth.mean()) <= 0.8e-3 and depth.std() <= most_sd_mm / 1e3
    assert 0.9 <= depth.std() / np.mean([f.depth_sigma_m for f in found]) <= 1.1
    assert 0.9 <= volume.std() / np.mean([f.volume_sigma_m3 for f in found]) <= 1.1
    spread = np.sqrt(np.mean([f.ring_spread_m**2 for f in found]))
    assert spread == pytest.approx(found[0].ring_noise_m, rel=0.06)


@pytest.mark.independent
@pytest.mark.parametrize("sector_deg", [144.0, 216.0])
def test_a_ring_cut_down_to_a_sector_scatters_by_its_wider_sigma_or_is_refused(sector_deg):
    error, white = error_of("good", FIELD)
    e, n = FIELD.mesh()
    bearing = np.degrees(np.arctan2(e - AT.e, n - AT.n)) % 360
    usable = (bearing < sector_deg) | (np.hypot(e - AT.e, n - AT.n) < 1.0)
    if sector_deg < 200:
        refused = depth_of(plane(FIELD), usable, error=error, white=white)
        assert np.isnan(refused.depth_m) and refused.reason == BY_HAND + "there is skin on 140 degrees of the ring around it, 200 needed"
        hole = depth_of(np.where(usable, plane(FIELD), np.nan), error=error, white=white)
        assert np.isnan(hole.depth_m) and hole.reason == "skin measured on 140 degrees of the ring, 200 needed"
        return
    w = contrast(AT, usable, ALL, FIELD)
    fields = error.fields(FIELD, white, 150, np.random.default_rng(22))
    sigma = depth_of(plane(FIELD), usable, error=error, white=white).depth_sigma_m
    assert 0.9 <= np.std([(w.depth_weights * f[w.rows, w.cols]).sum() for f in fields]) / sigma <= 1.1
    assert sigma > 1.1 * depth_of(plane(FIELD), error=error, white=white).depth_sigma_m


@pytest.mark.analytic
def test_a_place_that_was_not_seen_is_refused_and_an_anchor_in_it_is_not():
    z = plane(FIELD)
    e, n = FIELD.mesh()
    away = np.hypot(e - AT.e, n - AT.n)
    assert depth_of(np.where(away < 0.45, np.nan, z)).reason == "77 % of the place was measured, 80 needed"
    anchor = depth_of(np.where(away < 0.25, np.nan, z), away > 0.25)
    assert anchor.reason is None and anchor.disc_cover == 1.0
    mostly = depth_of(z, away > 0.7)
    assert mostly.reason == BY_HAND + "39 % of the place is skin that may be measured, 50 needed"
    assert np.isnan(depth_of(np.full(FIELD.shape, np.nan)).depth_m)


@pytest.mark.analytic
def test_a_plane_carried_beyond_its_ring_is_refused_even_where_bearings_would_do(monkeypatch):
    """All weights count 2 with a whole ring; a quarter of one carries its plane a ring's radius beyond itself."""
    assert np.abs(contrast(AT, ALL, ALL, FIELD).depth_weights).sum() == pytest.approx(2.0, abs=0.02)
    monkeypatch.setattr(ring, "LEAST_RING_DEG", 80.0)
    e, n = FIELD.mesh()
    quarter = (np.hypot(e - AT.e, n - AT.n) < 1.0) | ((e > AT.e) & (n > AT.n))
    found = depth_of(plane(FIELD), quarter)
    assert found.ring_deg == 90.0 and np.isnan(found.depth_m)
    assert found.reason == "the ring is too lopsided to carry its plane over the place"


@pytest.mark.analytic
def test_a_ridge_on_the_ring_moves_the_depth_as_the_method_says_and_widens_the_sigma():
    """15 mm on 15 % of the ring: +2 mm, and the spread of the ring shows it."""
    e, n = FIELD.mesh()
    bearing = np.degrees(np.arctan2(e - AT.e, n - AT.n)) % 360
    away = np.hypot(e - AT.e, n - AT.n)
    ridge = np.where((bearing < 54) & (away > 1.4), 0.015, 0.0)
    error, white = error_of("good", FIELD)
    flat, ridged = (depth_of(plane(FIELD) + h, error=error, white=white) for h in (0.0, ridge))
    bias = ridged.depth_m - flat.depth_m
    assert bias == pytest.approx(0.15 * 0.015, rel=0.15)
    assert ridged.ring_spread_m > 0.0042 > ridged.ring_noise_m
    steeper = depth_of(plane(FIELD) + 2 * ridge, error=error, white=white)
    assert steeper.depth_sigma_m > 1.5 * flat.depth_sigma_m


@pytest.mark.analytic
def test_the_form_the_ground_is_built_to_is_taken_off_first():
    e, n = FIELD.mesh()
    cone = np.maximum(0.254 - 0.08 * np.hypot(e - AT.e + 1.2, n - AT.n), 0.0)
    worn = hollow(FIELD, AT.e, AT.n, 0.02, 0.8)
    z = plane(FIELD, 0.006) + cone - worn
    assert depth_of(z, built=cone).depth_m == pytest.approx(0.02 * in_disc_minus_in_ring(0.8), abs=1e-4)
    bare = depth_of(z)
    assert abs(bare.depth_m - 0.02 * in_disc_minus_in_ring(0.8)) > 0.005
    assert bare.depth_sigma_m > 0.006


@pytest.mark.analytic
def test_the_chance_of_more_than_the_tolerance_is_the_normal_distribution_s():
    assert exceedance(0.012, 0.002, 0.010) == pytest.approx(0.841344746, abs=1e-9)  # Phi(1)
    assert exceedance(0.010, 0.002, 0.010) == 0.5
    assert np.isnan(exceedance(np.nan, 0.002, 0.010)) and np.isnan(exceedance(0.01, 0.002, np.nan))
    assert exceedance(0.011, 0.0, 0.010) == 1.0


@pytest.mark.invariant
def test_the_difference_of_two_surveys_has_the_sigma_of_both():
    noise = SOURCES["good"][0]
    one, white = error_of("good", FIELD)
    two = SurveyError.of(of_difference(noise, noise), middle(FIELD))
    single = depth_of(plane(FIELD), error=one, white=white).depth_sigma_m
    both = depth_of(plane(FIELD), error=two, white=2**0.5 * white).depth_sigma_m
    assert both == pytest.approx(2**0.5 * single, rel=1e-9)
