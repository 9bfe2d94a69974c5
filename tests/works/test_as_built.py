"""As built: a guard band that keeps its promise, a share whose interval holds the truth as often as it says."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from pipeline.frame import Grid
from pipeline.surface.survey_error import SurveyError
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, Noise
from pipeline.works.as_built import CANNOT_TELL, OUTSIDE, WITHIN, Deviations, off_form, share_within, verdicts, whole
from pipeline.works.place_means import place_means

TOLERANCE = 0.00635  # 1/4 in: SportsField Management, March 2024, p. 40
SHARE = 0.97
SPREAD = TOLERANCE / norm.ppf(0.5 + SHARE / 2)  # of a normal of which 97 % lies within
K = 64


def survey() -> np.ndarray:
    """Covariance of 64 places on a square by what neighbours share (3 mm over 8 m, 2 mm over 3 m) and 0.6 mm each, m2."""
    x, y = (v.ravel() * 3.0 for v in np.mgrid[:8, :8])
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    return Noise(0.0, ((0.003, 8.0), (0.002, 3.0)), 0, 0, 0, 0).covariance(away) + 0.0006**2 * np.eye(K)


def plane() -> np.ndarray:
    x, y = (v.ravel() * 3.0 for v in np.mgrid[:8, :8])
    return np.column_stack([np.ones(K), x, y])


def drawn(rng, covariance: np.ndarray, ground: np.ndarray) -> np.ndarray:
    return ground + np.linalg.cholesky(covariance) @ rng.standard_normal(K)


@pytest.mark.analytic
def test_a_place_needs_to_be_clear_of_the_tolerance_by_its_own_uncertainty():
    found = Deviations(np.array([0.0, 0.0043, 0.0045, -0.0082, -0.0084]), np.eye(5) * 0.001**2)
    assert verdicts(found, TOLERANCE) == [WITHIN, WITHIN, CANNOT_TELL, CANNOT_TELL, OUTSIDE]


@pytest.mark.analytic
def test_one_place_surely_outside_is_outside_and_all_must_be_within():
    of = lambda *mm: whole(Deviations(np.array(mm) / 1000, np.eye(len(mm)) * 0.001**2), TOLERANCE)
    assert of(0, 1, -2) == WITHIN and of(0, 1, 6) == CANNOT_TELL and of(0, 1, 12) == OUTSIDE


@pytest.mark.invariant
def test_shift_and_tilt_of_the_survey_leave_the_deviations_off_a_fitted_plane():
    rng = np.random.default_rng(1)
    heights = rng.normal(0, 0.004, K)
    moved = off_form(heights + plane() @ [300.0, 0.01, -0.02], survey() + plane() @ np.diag([1.0, 1e-4, 1e-4]) @ plane().T, plane())
    assert moved.value == pytest.approx(off_form(heights, survey(), plane()).value, abs=1e-9)
    assert moved.sigma == pytest.approx(off_form(heights, survey(), plane()).sigma, abs=1e-8)


def covered(rng, grounds, fitted: bool, runs: int) -> float:
    """Share of runs whose interval holds the share of the places that are truly within; a share steps by 1/64."""
    cov, hits = survey(), 0
    for _ in range(runs):
        ground = grounds(rng)
        heights = drawn(rng, cov, ground)
        seen, true = (off_form(heights, cov, plane()), off_form(ground, cov, plane())) if fitted else (Deviations(heights, cov), Deviations(ground, cov))
        found = share_within(seen, TOLERANCE)
        hits += found.low95 - 1e-9 <= np.mean(np.abs(true.value) <= TOLERANCE) <= found.high95 + 1e-9
    return hits / runs


@pytest.mark.analytic
@pytest.mark.parametrize("fitted", [True, False])
def test_the_interval_holds_a_true_share_of_97_percent_as_often_as_it_says(fitted):
    assert 0.93 <= covered(np.random.default_rng(2), lambda rng: rng.normal(0, SPREAD, K), fitted, 300) <= 0.99


@pytest.mark.analytic
def test_waves_over_two_places_and_a_few_pits_do_not_fool_it_by_much():
    x, y = (v.ravel() * 3.0 for v in np.mgrid[:8, :8])
    root = np.linalg.cholesky(Noise(0.0, ((SPREAD, 6.0),), 0, 0, 0, 0).covariance(np.hypot(x[:, None] - x, y[:, None] - y)) + 1e-12 * np.eye(K))
    assert covered(np.random.default_rng(3), lambda rng: root @ rng.standard_normal(K), True, 200) >= 0.85
    pits = lambda rng: np.where(rng.permutation(K) < 2, -0.012, rng.normal(0, 0.0015, K))
    assert covered(np.random.default_rng(4), pits, True, 200) >= 0.93


@pytest.mark.analytic
def test_outside_is_said_of_at_most_5_percent_of_the_places_that_are_inside():
    rng, cov, wrong, inside = np.random.default_rng(3), survey(), 0, 0
    for _ in range(300):
        ground = rng.normal(0, SPREAD, K)
        heights = off_form(drawn(rng, cov, ground), cov, plane())
        true = np.abs(off_form(ground, cov, plane()).value) <= TOLERANCE
        wrong += sum(w == OUTSIDE for w, t in zip(verdicts(heights, TOLERANCE), true) if t)
        inside += int(true.sum())
    assert wrong / inside <= 0.05
    near = [verdicts(Deviations(np.full(K, TOLERANCE) + np.sqrt(np.diag(cov)) * rng.standard_normal(K), cov), TOLERANCE).count(OUTSIDE) for _ in range(100)]
    assert np.sum(near) / (100 * K) <= 0.05  # every place at the very limit


@pytest.mark.analytic
def test_counting_the_observed_places_would_say_too_little_and_the_share_does_not():
    rng, cov = np.random.default_rng(4), 4 * survey()
    seen = [off_form(drawn(rng, cov, rng.normal(0, 0.002, K)), cov, plane()) for _ in range(60)]
    assert np.mean([np.mean(np.abs(s.value) <= TOLERANCE) for s in seen]) < 0.93
    assert np.median([share_within(s, TOLERANCE).value for s in seen]) > 0.98


@pytest.mark.analytic
def test_too_few_places_and_too_little_scatter_give_a_reason_and_no_share():
    few = share_within(Deviations(np.zeros(5), np.eye(5)), TOLERANCE)
    still = share_within(Deviations(np.zeros(K), survey()), TOLERANCE)
    assert "8 are needed" in few.reason and np.isnan(few.value) and "noise alone" in still.reason
    with pytest.raises(ValueError, match="cannot tell"):
        off_form(np.zeros(3), np.eye(3), np.ones((3, 3)))


@pytest.mark.analytic
def test_means_of_places_stand_on_the_crs_and_know_less_than_their_cells_noise():
    grid = Grid("EPSG:6550", 70, 400, 0.1, 120, 130)  # 7-20 m east, 28-40 m north
    e, n = grid.mesh()
    z = 0.01 * e + 0.02 * n
    error = SurveyError.of(GOOD_PHOTOGRAMMETRY, (13.0, 34.0), np.zeros((4, 4)))
    found = place_means(z, np.full(z.shape, 0.004), grid, np.ones(z.shape, bool), error)
    assert found.value == pytest.approx(0.01 * found.e + 0.02 * found.n)
    assert set(found.names) >= {"e9-n30", "e12-n33", "e15-n36"} and len(set(found.names)) == len(found.names)
    shared = np.sqrt(sum(sd**2 for sd, _ in GOOD_PHOTOGRAMMETRY.parts))
    assert (np.sqrt(np.diag(found.covariance)) < shared).all() and (np.sqrt(np.diag(found.covariance)) > 0.002).all()
    later = Grid("EPSG:6550", 40, 430, 0.1, 150, 160)  # a grown extent keeps every place
    again = place_means(0.01 * later.mesh()[0] + 0.02 * later.mesh()[1], np.full(later.shape, 0.004), later, np.ones(later.shape, bool), error)
    assert set(found.names) <= set(again.names)
