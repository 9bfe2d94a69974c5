"""Shift, tilt, dome and the covariance of places with patches."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, ROVER, WEAK_PHOTOGRAMMETRY, of_difference
from pipeline.survey.stable.drift import (
    PRIOR_SHIFT_M,
    TABLE_STEP_M,
    covariance_table,
    covariance_with_places,
    drift_basis,
    drift_prior,
    mean_covariance,
)  # fmt: skip

LONG = GOOD_PHOTOGRAMMETRY.longer_than(1.0)


def twin(e, n, places, noise) -> np.ndarray:
    """The readable form of `covariance_with_places`: no table."""
    return np.array([np.mean([noise.covariance(np.hypot(a - p, b - q)) for p, q in places]) for a, b in zip(e, n)])


@pytest.mark.analytic
def test_each_term_is_one_at_thirty_metres():
    np.testing.assert_allclose(drift_basis(130.0, 200.0, (100, 200)), [1, 1, 0, 1])
    np.testing.assert_allclose(drift_basis(100.0, 170.0, (100, 200)), [1, 0, -1, 1])
    assert drift_basis(np.zeros((3, 4)), np.zeros((3, 4)), (0, 0)).shape == (3, 4, 4)


@pytest.mark.analytic
def test_the_prior_is_wide_in_shift_and_as_declared_in_dome():
    good, weak, lidar, rover = (
        drift_prior(of_difference(n, n)) for n in (GOOD_PHOTOGRAMMETRY, WEAK_PHOTOGRAMMETRY, LIDAR, ROVER)
    )
    assert all(p[0] == pytest.approx(PRIOR_SHIFT_M**2) for p in (good, weak, lidar, rover))
    np.testing.assert_allclose(np.sqrt([good[3], weak[3], lidar[3]]), np.sqrt(2) * np.array([0.010, 0.025, 0.005]))
    assert rover[3] == 0
    assert np.sqrt(good[1]) == pytest.approx(0.015)
    assert np.sqrt(weak[1]) == pytest.approx(0.015 * 2**0.5)  # a weak pair tilts more than the general prior


@pytest.mark.invariant
def test_covariance_falls_with_distance_and_does_not_know_direction():
    places = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
    table = covariance_table(LONG, 60.0)
    e = np.linspace(0.5, 40, 50)
    along = covariance_with_places(e, np.full(50, 0.5), places, table, TABLE_STEP_M)
    assert (np.diff(along) < 0).all()
    up = covariance_with_places(np.full(50, 0.5), e, places, table, TABLE_STEP_M)
    np.testing.assert_allclose(along, up, rtol=1e-12)


@pytest.mark.independent
def test_the_table_is_exact_enough_for_a_hundredth_of_a_millimetre():
    rng = np.random.default_rng(0)
    e, n, places = rng.uniform(0, 40, 60), rng.uniform(0, 40, 60), rng.uniform(10, 13, (30, 2))
    e[:5], n[:5] = places[:5, 0], places[:5, 1]
    found = covariance_with_places(e, n, places, covariance_table(LONG, 60.0), TABLE_STEP_M)
    np.testing.assert_allclose(found, twin(e, n, places, LONG), rtol=1e-4, atol=1e-12)
    assert mean_covariance(LONG, places, places) == pytest.approx(twin(*places.T, places, LONG).mean(), rel=1e-12)
