"""Rates over several surveys whose figures share each date's error."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from pipeline.change.trend import fit_trends

YEARS = np.array([0.0, 0.24, 0.51, 0.74, 1.02, 1.26])


def drawn(rng, zones: int = 8, shared: float = 4.0, own: float = 2.0, rate: float = 5.0) -> np.ndarray:
    """Figures in mm: level 20, a rate per year, a shared and an own error."""
    u = shared * rng.standard_normal((len(YEARS), 1))
    return 20 + rate * YEARS[:, None] + u + own * rng.standard_normal((len(YEARS), zones))


def fit(values, shared=4.0, own=2.0, years=YEARS):
    return fit_trends(years, values, np.full(values.shape, own), np.full(len(years), shared))


@pytest.mark.analytic
def test_an_exact_line_comes_back():
    values = np.array([[10.0, -3.0]]) + np.outer(YEARS, [4.0, -1.5])
    for trend, rate, level in zip(fit(values), (4.0, -1.5), (10.0, -3.0)):
        assert trend.rate == pytest.approx(rate)
        assert trend.at(0.0)[0] == pytest.approx(level)
        assert trend.surveys == 6 and trend.reason == ""


@pytest.mark.analytic
def test_the_interval_covers_the_rate_and_zones_taken_as_independent_do_not():
    """Shared error 4 mm, six dates, eight zones."""
    rng = np.random.default_rng(0)
    hit = naive = total = 0
    for _ in range(250):
        values = drawn(rng)
        for good, bad in zip(fit(values), fit(values, shared=0.0)):
            hit += abs(good.rate - 5) < 1.96 * good.rate_sigma
            formal = 2.0 / np.sqrt(np.sum((YEARS - YEARS.mean()) ** 2))
            naive += abs(bad.rate - 5) < 1.96 * formal
            total += 1
    assert 0.93 <= hit / total <= 0.985
    assert naive / total < 0.70


@pytest.mark.analytic
def test_the_mean_rate_of_all_zones_is_no_surer_than_the_shared_error_allows():
    trend = fit(np.repeat(drawn(np.random.default_rng(1), 1), 8, axis=1), own=0.5)[0]
    floor = 4.0 / np.sqrt(np.sum((YEARS - YEARS.mean()) ** 2))
    assert trend.rate_sigma >= floor


@pytest.mark.analytic
@pytest.mark.parametrize("years", [[0.0, 0.5, 1.0], [0.0, 0.1, 0.2, 0.5], [0.0, 0.2, 0.4, 0.69]])
def test_too_few_dates_or_too_short_a_time_give_no_rate(years):
    values = np.linspace(0, 1, len(years))[:, None] * [1.0, 2.0]
    for trend in fit(values, years=np.array(years)):
        assert trend.reason == "too short" and np.isnan(trend.rate) and not trend.detected
        assert trend.surveys == len(years)


@pytest.mark.analytic
def test_a_series_with_gaps_stands_beside_the_full_ones():
    values = drawn(np.random.default_rng(2), 3)
    values[[1, 2, 4], 1] = np.nan  # three left
    values[3, 2] = np.nan  # five left
    trends = fit(values)
    assert [t.reason for t in trends] == ["", "too short", ""]
    assert [t.surveys for t in trends] == [6, 3, 5]
    assert trends[2].rate_sigma > trends[0].rate_sigma


@pytest.mark.analytic
def test_a_season_in_the_figures_widens_the_rate():
    calm = drawn(np.random.default_rng(3), 4, shared=0.0, own=0.5)
    seasonal = calm + 6 * np.sin(2 * np.pi * YEARS)[:, None] * [1, -1, 1, -1]
    sure, unsure = fit(calm, shared=0.0, own=0.5)[0], fit(seasonal, shared=0.0, own=0.5)[0]
    assert sure.detected
    assert unsure.rate_sigma > 4 * sure.rate_sigma


@pytest.mark.analytic
def test_the_lines_value_grows_unsure_away_from_its_dates():
    trend = fit(drawn(np.random.default_rng(4)))[0]
    inside, outside = trend.at(YEARS.mean())[1], trend.at(3.0)[1]
    assert outside > 2 * inside
    assert outside == pytest.approx(np.hypot(inside, (3.0 - YEARS.mean()) * trend.rate_sigma), rel=0.05)


@pytest.mark.invariant
def test_when_the_years_are_counted_from_and_the_order_of_dates_do_not_matter():
    values = drawn(np.random.default_rng(5))
    mixed = np.random.default_rng(6).permutation(6)
    here, there = fit(values), fit(values[mixed], years=YEARS[mixed] + 2024)
    for a, b in zip(here, there):
        assert (a.rate, a.rate_sigma) == pytest.approx((b.rate, b.rate_sigma), rel=1e-9)
        assert a.at(0.5)[0] == pytest.approx(b.at(2024.5)[0])


@pytest.mark.invariant
def test_a_step_that_all_zones_share_at_one_date_costs_little_when_it_is_expected():
    values = drawn(np.random.default_rng(7), shared=0.0)
    stepped = values.copy()
    stepped[5] += 12.0
    shared = np.array([0.5, 0.5, 0.5, 0.5, 0.5, 30.0])
    there = fit_trends(YEARS, stepped, np.full(values.shape, 2.0), shared)[0]
    here = fit_trends(YEARS, values, np.full(values.shape, 2.0), shared)[0]
    assert there.rate == pytest.approx(here.rate, abs=1.0)
    assert abs(fit(stepped, shared=0.0)[0].rate - here.rate) > 4.0


@pytest.mark.independent
def test_without_a_shared_error_it_is_ordinary_least_squares():
    """statsmodels OLS, series by series."""
    values = drawn(np.random.default_rng(8), 3, shared=0.0)
    for k, trend in enumerate(fit(values, shared=0.0)):
        theirs = sm.OLS(values[:, k], sm.add_constant(YEARS)).fit()
        assert trend.rate == pytest.approx(theirs.params[1], rel=1e-9)
        assert trend.at(0.0)[0] == pytest.approx(theirs.params[0], rel=1e-9)


@pytest.mark.independent
def test_with_a_shared_error_it_is_generalised_least_squares():
    """statsmodels GLS with the whole covariance; its scale is the residuals' mean square, ours at least 1."""
    values = drawn(np.random.default_rng(9), 3)
    shared = np.array([4.0, 1.0, 4.0, 8.0, 2.0, 4.0])
    own = 1.0 + np.arange(18.0).reshape(6, 3) % 5
    date = np.repeat(np.arange(6), 3)
    design = np.kron(np.column_stack([np.ones(6), YEARS]), np.eye(3))
    v = np.where(date[:, None] == date, shared[date, None] * shared[date], 0) + np.diag(own.ravel() ** 2)
    theirs = sm.GLS(values.ravel(), design, sigma=v).fit()
    for k, trend in enumerate(fit_trends(YEARS, values, own, shared)):
        assert trend.rate == pytest.approx(theirs.params[3 + k], rel=1e-8)
        expected = theirs.bse[3 + k] / np.sqrt(theirs.scale) * np.sqrt(max(theirs.scale, 1.0))
        assert trend.rate_sigma == pytest.approx(expected, rel=1e-8)


# ---- the season ---------------------------------------------------------------------------------------

QUARTERS = np.arange(10) * 0.252


@pytest.mark.analytic
def test_a_season_is_told_from_a_rate_over_two_years():
    values = 2.0 * QUARTERS[:, None] + 5.0 * np.cos(2 * np.pi * (QUARTERS[:, None] - 0.1)) * [1.0, 0.0]
    waving, straight = fit(values, shared=0.5, own=0.5, years=QUARTERS)
    assert (waving.rate, waving.season) == pytest.approx((2.0, 5.0))
    assert straight.season == pytest.approx(0.0, abs=1e-9) and waving.season_sigma > 0


@pytest.mark.analytic
@pytest.mark.parametrize("years", [QUARTERS[:7], np.arange(8) * 1.0, np.array([0.0, 0.5, 1.0, 1.5, 2.0, 2.5])])
def test_a_short_time_the_same_month_or_two_months_tell_no_season(years):
    """Eight years of Aprils, or Aprils and Octobers: a wave that is the same at every date, or a saw, is not seen."""
    from pipeline.change.trend import season_can_be_told

    assert not season_can_be_told(years)
    assert np.isnan(fit(np.outer(years, [1.0, 2.0]), years=years)[0].season)


@pytest.mark.independent
def test_the_season_is_generalised_least_squares_with_a_cosine_and_a_sine():
    """statsmodels GLS."""
    rng = np.random.default_rng(11)
    values = rng.standard_normal((10, 2)) + 3 * np.sin(2 * np.pi * QUARTERS)[:, None]
    angle = 2 * np.pi * QUARTERS
    design = np.kron(np.column_stack([np.ones(10), QUARTERS, np.cos(angle), np.sin(angle)]), np.eye(2))
    date = np.repeat(np.arange(10), 2)
    v = np.where(date[:, None] == date, 4.0, 0.0) + np.eye(20)
    theirs = sm.GLS(values.ravel(), design, sigma=v).fit()
    for k, trend in enumerate(fit(values, shared=2.0, own=1.0, years=QUARTERS)):
        assert trend.rate == pytest.approx(theirs.params[2 + k], rel=1e-7)
        assert trend.season == pytest.approx(np.hypot(theirs.params[4 + k], theirs.params[6 + k]), rel=1e-7)
