"""What the next surveys of one series would read, with bands, and whether such a band held its own last survey."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from pipeline.change.trend import season_can_be_told, season_terms

LEAST_SURVEYS = 3  # a line, and one date to see how far it scatters
PRIOR_FREEDOM = 12.0  # how far the surveys' own s.d. are believed, in degrees of freedom (ours; the coverage is tested)
USE_SURVEYS = 8  # three unknowns that move alike, and five dates to tell them apart
USE_CONDITION = 10.0  # of the columns scaled to one: where use runs like a clock, wear by use and wear by time are one


@dataclass(frozen=True)
class Forecast:
    """Figures that a survey of the series on some days would read, (N,) each, in the series' unit.

    low, high : 95 % band of the survey's reading, its own error included
    by_use    : wear by use was fitted beside time
    season    : a season was fitted
    surveys   : dates behind it
    """

    value: np.ndarray
    low: np.ndarray
    high: np.ndarray
    surveys: int
    by_use: bool = False
    season: bool = False


def forecast(years: np.ndarray, values: np.ndarray, sigmas: np.ndarray, ahead: np.ndarray, used: np.ndarray | None = None, used_ahead: np.ndarray | None = None) -> Forecast | None:
    """Carry one series on; None with fewer than LEAST_SURVEYS dates.

    years, values, sigmas : (T,) dates in years, figures and one s.d. of each, all that its date errs by included; NaN where a
             survey gave none
    ahead  : (N,) dates asked for, years
    used, used_ahead : hours of play since some day at the dates (T,) and at those asked for (N,), or None
    model  : y = a + b t [+ c hours, where use can be told from time; else a season, where the dates can tell one] + e, e as
             the surveys' s.d. say, times an unknown factor f; weighted least squares. f^2 has a scaled inverse chi-square
             prior about 1 of PRIOR_FREEDOM degrees, so that with n dates and p unknowns the band of a new survey is
             Student's t of PRIOR_FREEDOM + n - p degrees about the line: s^2 (x'Cx + sigma_new^2), sigma_new the root mean
             square of the dates' s.d.
    source : Gelman et al., Bayesian Data Analysis, ch. 14 (from memory)
    """
    years, values, sigmas, ahead = (np.asarray(v, float) for v in (years, values, sigmas, ahead))
    held = np.isfinite(values) & np.isfinite(sigmas) & (sigmas > 0)
    n = int(held.sum())
    if n < LEAST_SURVEYS:
        return None
    at = years[held]
    middle = float(at.mean())
    by_use = used is not None and used_ahead is not None and use_can_be_told(at, np.asarray(used, float)[held])
    season = not by_use and season_can_be_told(at)
    design, wanted = (_columns(t, u, middle, by_use, season) for t, u in ((at, None if used is None else used[held]), (ahead, used_ahead)))
    weight = 1.0 / sigmas[held]
    covariance = np.linalg.inv((design * weight[:, None]).T @ (design * weight[:, None]))
    beta = covariance @ ((design * weight[:, None]).T @ (values[held] * weight))
    freedom = PRIOR_FREEDOM + n - design.shape[1]
    factor = (PRIOR_FREEDOM + float(np.sum(((values[held] - design @ beta) * weight) ** 2))) / freedom
    own = float(np.mean(sigmas[held] ** 2))
    half = student.ppf(0.975, freedom) * np.sqrt(factor * (np.einsum("ij,jk,ik->i", wanted, covariance, wanted) + own))
    value = wanted @ beta
    return Forecast(value, value - half, value + half, n, by_use, season)


def last_inside(years: np.ndarray, values: np.ndarray, sigmas: np.ndarray, used: np.ndarray | None = None) -> bool | None:
    """Whether the band made of all surveys but the last holds the last; None where too few are left to make one."""
    held = np.flatnonzero(np.isfinite(values) & np.isfinite(sigmas) & (np.asarray(sigmas, float) > 0))
    if len(held) <= LEAST_SURVEYS:
        return None
    before, last = held[:-1], held[-1:]
    parts = (None, None) if used is None else (used[before], used[last])
    found = forecast(years[before], values[before], sigmas[before], years[last], *parts)
    return bool(found.low[0] <= values[last[0]] <= found.high[0])


def use_can_be_told(years: np.ndarray, used: np.ndarray) -> bool:
    """Whether hours of play, (T,), run differently enough from the clock to give wear by use beside wear by time."""
    if len(years) < USE_SURVEYS or not np.isfinite(used).all() or np.ptp(used) == 0:
        return False
    columns = np.column_stack([np.ones(len(years)), _unit(years), _unit(used)])
    return bool(np.linalg.cond(columns / np.linalg.norm(columns, axis=0)) <= USE_CONDITION)


def _unit(values: np.ndarray) -> np.ndarray:
    return (values - values.mean()) / np.ptp(values)


def _columns(years: np.ndarray, used: np.ndarray | None, middle: float, by_use: bool, season: bool) -> np.ndarray:
    if season:
        return season_terms(years, middle)
    plain = [np.ones(len(years)), years - middle]
    return np.column_stack([*plain, np.asarray(used, float) / 1000] if by_use else plain)
