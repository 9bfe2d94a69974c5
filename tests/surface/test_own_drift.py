"""A survey's own drift out of the difference to another: shared out by what each is declared to have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from pipeline.surface.own_drift import own_drift
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY as GOOD, WEAK_PHOTOGRAMMETRY as WEAK

DECLARED = np.square([0.020, 0.006, 0.006, 0.010])
PRIOR = np.square([0.3, 0.015, 0.015, 0.0141])
D = np.array([0.02, 0.004, -0.006, 0.012])


def tied(seen: np.ndarray, noise: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What a tie with its prior says where the patches by themselves say `seen` with an s.d. of `noise` each."""
    covariance = np.diag(1 / (1 / PRIOR + 1 / noise**2))
    return covariance @ (np.asarray(seen) / noise**2), covariance, PRIOR


@pytest.mark.analytic
def test_two_alike_take_half_each_and_half_the_variance_is_left():
    mean, left = own_drift(GOOD, GOOD, *tied(D, 1e-5))
    assert mean == approx(D / 2, rel=1e-3)
    assert np.diag(left) == approx(DECLARED / 2, rel=1e-3)


@pytest.mark.analytic
def test_a_weak_survey_on_a_good_base_takes_nearly_all_and_a_good_one_on_a_weak_base_little():
    shares = [own_drift(a, b, *tied(D, 1e-5))[0][3] / D[3] for a, b in ((WEAK, GOOD), (GOOD, WEAK))]
    assert shares == approx([0.025**2 / (0.025**2 + 0.010**2), 0.010**2 / (0.025**2 + 0.010**2)], rel=1e-3)


@pytest.mark.analytic
def test_the_tie_s_own_prior_counts_once():
    """Patches with an s.d. of 5 mm: the conditional mean of normals, written out for one component."""
    mean, left = own_drift(GOOD, GOOD, *tied(D, 0.005))
    total = 2 * 0.006**2 + 0.005**2
    assert mean[1] == approx(0.006**2 / total * D[1], rel=1e-3)
    assert left[1, 1] == approx(0.006**2 - 0.006**4 / total, rel=1e-3)


@pytest.mark.invariant
def test_a_tie_that_knows_nothing_leaves_the_survey_s_own_prior_and_a_walk_has_no_dome():
    mean, left = own_drift(GOOD, GOOD, *tied(D, 50.0))
    assert np.abs(mean).max() < 1e-3 and np.diag(left) == approx(DECLARED, rel=1e-2)
    flat = replace(GOOD, tilt=0.0, dome_m=0.0)
    covariance, prior = np.diag([1e-6, 1e-6, 1e-6, 0.0]), np.square([0.3, 0.015, 0.015, 0.0])
    mean, left = own_drift(flat, flat, np.array([0.02, 0.003, 0.0, 0.0]), covariance, prior)
    assert mean[1:] == approx([0, 0, 0]) and np.isfinite(left).all() and left[3, 3] == 0.0


@pytest.mark.analytic
def test_a_bowl_neither_is_declared_to_have_widens_both():
    """55 mm where 14 are declared: a ratio of 15, so a share of a half known to 27 mm; a shift bends nothing."""
    mean, left = own_drift(GOOD, GOOD, *tied([0.0, 0.0, 0.0, 0.055], 1e-5))
    assert mean[3] == approx(0.0275, rel=1e-3) and left[3, 3] ** 0.5 == approx(0.055 / 2, rel=1e-3)
    assert own_drift(GOOD, GOOD, *tied([0.5, 0.0, 0.0, 0.0], 1e-5))[1][0, 0] < 0.020**2
