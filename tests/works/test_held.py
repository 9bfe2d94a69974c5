"""How a work held: rates back toward trouble, settling of fresh mix apart from wear, and nothing said too soon."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.works.held import MONTH_DAYS, held_for

MONTHS = np.array([0.0, 3.0, 6.0, 9.0, 12.0])
DAYS = MONTHS * MONTH_DAYS


@pytest.mark.analytic
def test_a_steady_loss_is_a_rate_toward_trouble_whichever_way_the_measure_runs():
    lip = held_for(DAYS, 2.0 + 0.5 * MONTHS, np.ones(5), 1, fresh=False)
    height = held_for(DAYS, -0.5 * MONTHS, np.ones(5), -1, fresh=False)
    assert lip.rate == pytest.approx(0.5) and height.rate == pytest.approx(0.5) and np.isnan(lip.settled)
    assert lip.sigma == pytest.approx(1 / np.sqrt(((MONTHS - 6) ** 2).sum())) and lip.so_far == pytest.approx(6.0)


@pytest.mark.analytic
def test_settling_of_fresh_mix_is_told_apart_from_the_wear_after_it():
    height = -0.2 * MONTHS - np.where(MONTHS > 0, 3.0, 0.0)
    found = held_for(DAYS, height, np.full(5, 0.5), -1, fresh=True)
    assert (found.rate, found.settled) == (pytest.approx(0.2), pytest.approx(3.0))
    assert held_for(DAYS, height, np.full(5, 0.5), -1, fresh=False).rate > 0.3


@pytest.mark.analytic
def test_one_survey_since_gives_no_rate_and_says_so():
    found = held_for(DAYS[:2], [0.0, 2.8], [1.0, 1.5], 1, fresh=True)
    assert np.isnan(found.rate) and found.reason == "not enough surveys yet: 1 since the work, 2 are needed"
    assert (found.so_far, found.so_far_sigma) == (pytest.approx(2.8), pytest.approx(np.hypot(1.0, 1.5)))
    assert held_for(DAYS[:1], [0.0], [1.0], 1, False).reason == "no survey since"
    assert "does not tell" in held_for(DAYS, [np.nan, 1, 2, 3, 4], np.ones(5), 1, False).reason


@pytest.mark.analytic
@pytest.mark.parametrize("fresh", [True, False])
def test_the_interval_holds_the_rate_as_often_as_it_says(fresh):
    rng, hits, runs = np.random.default_rng(8), 0, 1000
    for _ in range(runs):
        truth = 0.3 * MONTHS + np.where(MONTHS > 0, 2.0 if fresh else 0.0, 0.0)
        found = held_for(DAYS, truth + rng.standard_normal(5), np.ones(5), 1, fresh)
        hits += abs(found.rate - 0.3) <= 1.96 * found.sigma
    assert 0.93 <= hits / runs <= 0.99  # widened where dates scatter more, never narrowed
