"""One survey's error: its drift beside what neighbours share."""

from __future__ import annotations

import numpy as np
import pytest
from support.flat_field import error_of, middle, square

from pipeline.surface.survey_error import SurveyError, cropped
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, Noise
from pipeline.survey.stable.correlated import linear_variance

FIELD = square(6.0)
ONES = np.full(FIELD.shape, 1.0 / (FIELD.ny * FIELD.nx))


@pytest.mark.analytic
def test_a_mean_over_the_middle_carries_the_shift_and_a_slope_the_tilt():
    only_drift = Noise(0.0, (), 0.020, 0.2e-3, 0.010, 0.0)
    error = SurveyError.of(only_drift, middle(FIELD))
    e, n = FIELD.mesh()
    r2 = ((e - middle(FIELD)[0]) ** 2 + (n - middle(FIELD)[1]) ** 2).mean()
    none = np.zeros(FIELD.shape)
    assert error.sigma(ONES, FIELD, none) ** 2 == pytest.approx(0.020**2 + (0.010 * r2 / 900) ** 2, rel=1e-9)
    x = e - middle(FIELD)[0]
    assert error.sigma(x / (x**2).sum(), FIELD, none) == pytest.approx(0.2e-3, rel=1e-9)


@pytest.mark.analytic
def test_a_tie_s_covariance_stands_in_the_place_of_the_prior():
    tie = np.diag([0.003, 0.002, 0.002]) ** 2
    error = SurveyError.of(GOOD_PHOTOGRAMMETRY, middle(FIELD), tie)
    assert np.array_equal(error.drift[:3, :3], tie) and not error.drift[3].any() and not error.drift[:, 3].any()
    white = np.full(FIELD.shape, 0.001)
    untied = linear_variance(ONES, GOOD_PHOTOGRAMMETRY, FIELD.cell_m, white)
    assert error.variances([ONES], FIELD, white)[0] == pytest.approx(untied + 0.003**2, rel=1e-9)


@pytest.mark.independent
def test_drawn_fields_have_the_covariance_that_is_computed():
    """Two contrasts over 600 drawn surveys, drift included."""
    error, white = error_of("good", FIELD)
    e, n = FIELD.mesh()
    left = np.where(e < middle(FIELD)[0], 2.0, -2.0) * ONES
    stack = np.array([left, np.where(n < middle(FIELD)[1], 2.0, -2.0) * ONES + left / 2])
    drawn = np.array([(stack * f).sum(axis=(1, 2)) for f in error.fields(FIELD, white, 600, np.random.default_rng(2))])
    expected = error.covariance(stack, FIELD, white)
    assert np.cov(drawn.T) == pytest.approx(expected, rel=0.15)
    assert error.variances(stack, FIELD, white) == pytest.approx(np.diag(expected), rel=1e-9)


@pytest.mark.invariant
def test_the_same_seed_draws_the_same_fields_and_a_crop_keeps_its_ground():
    error, white = error_of("lidar", FIELD)
    one, two = (error.fields(FIELD, white, 3, np.random.default_rng(7)) for _ in range(2))
    assert np.array_equal(one, two)
    part = cropped(FIELD, slice(10, 25), slice(5, 45))
    e, n = FIELD.mesh()
    pe, pn = part.mesh()
    assert part.shape == (15, 40)
    assert np.allclose(pe, e[10:25, 5:45], atol=1e-6, rtol=0) and np.allclose(pn, n[10:25, 5:45], atol=1e-6, rtol=0)
