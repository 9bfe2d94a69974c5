"""Declared error models: what adds, what is left out, what a source is taken for."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from pipeline.survey.noise import (
    GOOD_PHOTOGRAMMETRY, LIDAR, ROVER, WEAK_PHOTOGRAMMETRY, Noise, declared, matern32, of_difference,
)  # fmt: skip


@pytest.mark.analytic
def test_covariance_at_no_distance_is_the_variance_and_far_away_nothing():
    assert GOOD_PHOTOGRAMMETRY.covariance(np.zeros(1)).item() == pytest.approx(GOOD_PHOTOGRAMMETRY.correlated_variance)
    assert GOOD_PHOTOGRAMMETRY.correlated_variance == pytest.approx(22e-6)
    assert GOOD_PHOTOGRAMMETRY.covariance(np.array([200.0])).item() < 1e-12


@pytest.mark.analytic
def test_a_difference_of_two_alike_is_root_two_times_one():
    pair = of_difference(LIDAR, LIDAR)
    for name in ("white_m", "shift_m", "tilt", "dome_m", "horizontal_m"):
        assert getattr(pair, name) == pytest.approx(2**0.5 * getattr(LIDAR, name))
    assert pair.correlated_variance == pytest.approx(2 * LIDAR.correlated_variance)
    mixed = of_difference(LIDAR, GOOD_PHOTOGRAMMETRY)
    both = LIDAR.correlated_variance + GOOD_PHOTOGRAMMETRY.correlated_variance
    assert mixed.correlated_variance == pytest.approx(both)
    assert [r for _, r in mixed.parts] == [0.15, 0.4, 1.0, 1.5, 8.0, 10.0]


@pytest.mark.invariant
@pytest.mark.parametrize("range_m", [0.1, 1.0, 1.5, 8.0, 99.0])
def test_long_and_short_parts_make_the_whole(range_m):
    for noise in (GOOD_PHOTOGRAMMETRY, WEAK_PHOTOGRAMMETRY, LIDAR, ROVER):
        long, short = noise.longer_than(range_m), noise.shorter_than(range_m)
        assert sorted(long.parts + short.parts) == sorted(noise.parts)
        assert all(r >= range_m for _, r in long.parts) and all(r < range_m for _, r in short.parts)


@pytest.mark.invariant
def test_scaling_multiplies_every_correlated_part_and_nothing_else():
    twice = WEAK_PHOTOGRAMMETRY.scaled(2.0)
    assert twice.correlated_variance == pytest.approx(4 * WEAK_PHOTOGRAMMETRY.correlated_variance)
    assert (twice.white_m, twice.dome_m) == (WEAK_PHOTOGRAMMETRY.white_m, WEAK_PHOTOGRAMMETRY.dome_m)


@pytest.mark.invariant
def test_photogrammetry_lies_between_good_and_weak_and_never_beyond():
    white = [0.001, 0.004, 0.006, 0.009, 0.030]
    models = [declared("photogrammetry", w) for w in white]
    assert [m.white_m for m in models] == white
    assert (np.diff([m.correlated_variance for m in models]) >= -1e-18).all()
    for model, end in ((models[1], GOOD_PHOTOGRAMMETRY), (models[3], WEAK_PHOTOGRAMMETRY)):
        np.testing.assert_allclose(model.parts, end.parts, rtol=1e-9)
    assert models[0].parts == models[1].parts and models[4].parts == models[3].parts


@pytest.mark.invariant
def test_an_unstated_source_is_taken_for_the_weaker_kind():
    np.testing.assert_allclose(declared("photogrammetry").parts, WEAK_PHOTOGRAMMETRY.parts, rtol=1e-9)
    assert declared("lidar") == LIDAR and declared("rover") == ROVER
    assert declared("lidar", 0.02).white_m == 0.02


@pytest.mark.independent
def test_matern_3_2_is_matern_with_a_bessel_function_of_order_3_2():
    """Rasmussen & Williams 2006, eq. 4.14 with nu = 3/2, by scipy's Bessel function."""
    h = np.linspace(0.01, 6, 50)
    a = np.sqrt(3) * h
    general = 2 ** (1 - 1.5) / special.gamma(1.5) * a**1.5 * special.kv(1.5, a)
    np.testing.assert_allclose(matern32(h), general, rtol=1e-10)


@pytest.mark.independent
def test_every_declared_model_is_a_valid_covariance():
    """No negative eigenvalue on scattered places (numpy)."""
    rng = np.random.default_rng(0)
    x, y = rng.uniform(0, 40, (2, 150))
    h = np.hypot(x[:, None] - x, y[:, None] - y)
    for noise in (GOOD_PHOTOGRAMMETRY, WEAK_PHOTOGRAMMETRY, LIDAR, ROVER, Noise(0, ((1, 3.0),), 0, 0, 0, 0)):
        assert np.linalg.eigvalsh(noise.covariance(h)).min() > -1e-12
