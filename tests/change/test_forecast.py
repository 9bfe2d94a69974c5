"""Bands of the next survey: closed forms, coverage of held-out surveys, wear by use."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import t as student

from pipeline.change.forecast import PRIOR_FREEDOM, forecast, last_inside, use_can_be_told
from pipeline.change.use import hours_until, monthly

QUARTERS = np.arange(20) / 4.0


@pytest.mark.analytic
def test_a_line_without_scatter_goes_on_and_the_band_is_students():
    years = np.array([0.0, 1.0, 2.0])
    found = forecast(years, 10 + 4 * years, np.full(3, 2.0), np.array([3.0]))
    assert found.value[0] == pytest.approx(22.0)
    freedom = PRIOR_FREEDOM + 1
    spread = 4.0 * (1 / 3 + (3 - 1) ** 2 / 2 + 1) * PRIOR_FREEDOM / freedom
    assert found.high[0] - found.value[0] == pytest.approx(student.ppf(0.975, freedom) * np.sqrt(spread))
    assert found.surveys == 3 and not found.by_use and not found.season


@pytest.mark.independent
def test_the_line_is_that_of_weighted_least_squares():
    """statsmodels WLS, with its own covariance of the mean."""
    rng = np.random.default_rng(3)
    years, sigmas = np.array([0.0, 0.3, 0.5, 0.8, 1.1]), np.array([1.0, 2.0, 1.0, 3.0, 1.5])
    values = 5 + 2 * years + sigmas * rng.standard_normal(5)
    theirs = sm.WLS(values, sm.add_constant(years), weights=sigmas**-2).fit()
    assert forecast(years, values, sigmas, np.array([2.0])).value[0] == pytest.approx(theirs.predict([[1.0, 2.0]])[0])


def tried(rng, count: int, error: float, season: float = 0.0) -> list[bool]:
    """Whether the band of the surveys before holds the last of `count`; true s.d. is `error` times the one stated."""
    years = QUARTERS[:count] + 0.03 * rng.standard_normal(count)
    sigma = rng.uniform(1.5, 4.0)
    values = rng.uniform(0, 40) + rng.uniform(-8, 8) * years + season * np.sin(2 * np.pi * years) + error * sigma * rng.standard_normal(count)
    return [last_inside(years, values, np.full(count, sigma))]


@pytest.mark.analytic
@pytest.mark.parametrize(("count", "error", "season"), [(4, 1.0, 0), (5, 1.0, 0), (8, 1.0, 0), (12, 1.0, 3.0), (6, 1.3, 0), (10, 1.3, 0)])
def test_bands_hold_90_to_98_of_a_hundred_held_out_surveys(count, error, season):
    rng = np.random.default_rng(count)
    inside = [hit for _ in range(1500) for hit in tried(rng, count, error, season)]
    assert 0.90 <= np.mean(inside) <= 0.98


@pytest.mark.invariant
def test_further_ahead_is_never_surer_and_a_value_left_out_is_as_if_not_flown():
    years, values = np.array([0, 0.25, 0.5, 0.75, 1.0]), np.array([1.0, 3.0, np.nan, 4.0, 6.0])
    found = forecast(years, values, np.full(5, 1.0), np.array([1.25, 1.5, 2.0, 3.0]))
    assert (np.diff(found.high - found.low) > 0).all()
    held = np.isfinite(values)
    again = forecast(years[held], values[held], np.full(4, 1.0), np.array([1.25, 1.5, 2.0, 3.0]))
    assert np.allclose(found.value, again.value) and np.allclose(found.low, again.low)


@pytest.mark.analytic
def test_too_few_surveys_give_no_band_and_no_test_of_one():
    two, three = np.array([0.0, 1.0]), np.array([0.0, 0.5, 1.0])
    assert forecast(two, two, np.ones(2), np.array([2.0])) is None
    assert last_inside(three, three, np.ones(3)) is None


@pytest.mark.analytic
def test_wear_by_use_is_told_where_play_does_not_run_like_the_clock():
    years = QUARTERS[:10]
    used = np.cumsum([0, 10, 90, 80, 0, 5, 120, 10, 0, 150.0])
    assert use_can_be_told(years, used) and not use_can_be_told(years, 40 * years) and not use_can_be_told(years[:7], used[:7])
    found = forecast(years, 3 + 0.1 * used, np.full(10, 1.0), np.array([3.0]), used, np.array([900.0]))
    assert found.by_use and found.value[0] == pytest.approx(93.0)


@pytest.mark.analytic
def test_hours_of_play_are_added_up_by_day_and_months_to_come_are_played_like_their_namesakes():
    known = monthly([{"month": "2025-04", "hours": 30}, {"month": "2025-05", "hours": 62}, {"month": "2026-04", "hours": 60}, {"month": "never", "hours": 1}])
    day = dt.date
    assert hours_until([day(2025, 4, 16), day(2025, 5, 11), day(2025, 6, 1)], known, day(2025, 4, 1)) == pytest.approx([15, 50, 92])
    assert hours_until([day(2027, 5, 1)], known, day(2027, 4, 1)) == pytest.approx([45.0])
    assert np.isnan(hours_until([day(2025, 7, 2)], known, day(2025, 4, 1))).all()
