"""mm an hour: what one span says, what many say together, and noise that stays noise."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import t

from pipeline.works.progress import BETTER, NONE_YET, NOT_SHOWN, WORSE, per_hour, pooled, word


@pytest.mark.analytic
def test_a_fall_of_a_measure_that_should_fall_is_progress():
    found = per_hour(-6.0, 1.0, 2.0, better=-1)
    assert (found.value, found.sigma) == (3.0, 0.5) and found.low95 == pytest.approx(3 - 1.959964 * 0.5, abs=1e-5)
    assert per_hour(-6.0, 1.0, 2.0, better=1).value == -3.0
    assert np.isnan(per_hour(-6.0, 1.0, 0.0, better=-1).value) and np.isnan(per_hour(np.nan, 1.0, 2.0, better=-1).value)


@pytest.mark.analytic
def test_words_follow_the_interval():
    assert [word(0.1, 0.3), word(-0.3, -0.1), word(-0.1, 0.3), word(np.nan, np.nan)] == [BETTER, WORSE, NOT_SHOWN, NONE_YET]
    assert pooled([], []).word == NONE_YET and pooled([np.nan], [1.0]).spans == 0


@pytest.mark.analytic
def test_small_progress_over_many_visits_is_shown_and_noise_is_not():
    rng = np.random.default_rng(5)
    sigma = np.full(24, 1.0)
    assert pooled(0.8 + rng.standard_normal(24), sigma).word == BETTER
    assert pooled([0.8, 0.8], sigma[:2]).word == NOT_SHOWN  # 0.8 +/- 1.39


@pytest.mark.analytic
def test_two_spans_that_agree_show_what_each_shows():
    """Weights 1/4 and 1/9: mean 10.6, one s.d. of it sqrt(36/13)."""
    found = pooled([10.0, 12.0], [2.0, 3.0])
    assert found.word == BETTER and found.value == pytest.approx((10 / 4 + 12 / 9) / (1 / 4 + 1 / 9))
    assert found.high95 - found.low95 == pytest.approx(2 * 1.959964 * (36 / 13) ** 0.5, rel=1e-5)
    apart = pooled([-10.0, 12.0], [0.5, 0.5])
    assert apart.word == NOT_SHOWN and apart.between_sd > 10


@pytest.mark.analytic
@pytest.mark.parametrize("between", [0.0, 1.0])
@pytest.mark.parametrize("spans", [3, 8, 20])
def test_the_pooled_interval_holds_the_mean_as_often_as_it_says(between, spans):
    rng, hits, runs = np.random.default_rng(6), 0, 800
    for _ in range(runs):
        sigma = rng.uniform(0.4, 2.0, spans)
        found = pooled(0.5 + between * rng.standard_normal(spans) + sigma * rng.standard_normal(spans), sigma)
        hits += found.low95 <= 0.5 <= found.high95
    assert hits / runs >= 0.93


@pytest.mark.invariant
def test_no_effect_is_called_one_in_5_percent_at_most():
    rng, runs = np.random.default_rng(7), 800
    sigma = rng.uniform(0.4, 2.0, (runs, 6))
    assert np.mean([pooled(s * rng.standard_normal(6), s).word != NOT_SHOWN for s in sigma]) <= 0.065


@pytest.mark.independent
def test_the_pooled_mean_is_that_of_a_statistics_package():
    from statsmodels.stats.meta_analysis import combine_effects

    values, variances = np.array([0.4, 1.9, -0.3, 2.4, 1.1]), np.array([0.2, 0.5, 0.3, 0.9, 0.1])
    theirs, ours = combine_effects(values, variances, method_re="dl", use_t=True), pooled(values, np.sqrt(variances))
    assert ours.value == pytest.approx(theirs.mean_effect_re, abs=1e-9) and ours.between_sd**2 == pytest.approx(theirs.tau2, abs=1e-9)
    assert ours.high95 - ours.low95 == pytest.approx(2 * t.ppf(0.975, 4) * theirs.sd_eff_w_re_hksj, rel=1e-9)
