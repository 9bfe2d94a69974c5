"""Rates over several surveys, when all figures of one date share that date's error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.change.difference import LEVEL_95

MIN_SURVEYS = 4
MIN_YEARS = 0.7


@dataclass(frozen=True)
class Trend:
    """Straight line of one series within one epoch.

    rate       : per year, in the series' own unit; NaN when too short
    rate_sigma : one s.d. of it
    level      : value at the middle of all dates of the fit, `at_years`
    level_sigma, covariance : one s.d. of the level; covariance of level and rate (for a forecast)
    surveys    : dates with a value
    detected   : |rate| over 1.96 s.d.
    reason     : "too short" or empty
    """

    rate: float
    rate_sigma: float
    level: float
    level_sigma: float
    covariance: float
    at_years: float
    surveys: int
    detected: bool
    reason: str = ""

    def at(self, years: float) -> tuple[float, float]:
        """The line's value at a date and its s.d., without the scatter of a single survey."""
        t = years - self.at_years
        variance = self.level_sigma**2 + 2 * t * self.covariance + t**2 * self.rate_sigma**2
        return self.level + self.rate * t, float(np.sqrt(max(variance, 0.0)))


def fit_trends(years: np.ndarray, values: np.ndarray, sigmas: np.ndarray, shared_sigma: np.ndarray) -> list[Trend]:
    """Lines through several series that share each survey's error, by generalised least squares.

    years        : (T,) dates, years
    values       : (T, K) figures of K zones or edges; NaN where a survey gave none
    sigmas       : (T, K) one s.d. of each figure's own error, without what its survey's figures share
    shared_sigma : (T,) one s.d. of what all figures of a survey share: the tie
    model        : y_tk = a_k + b_k t + u_t + e_tk; V = s_u,t^2 within a date + own variances
    source       : (X'V^-1X)^-1 X'V^-1 y (Aitken 1935, from memory). Where residuals scatter more than V says (a season,
                   a line that is none), all variances are multiplied by their mean square over its degrees of freedom.
    """
    years, values = np.asarray(years, float), np.asarray(values, float)
    sigmas = np.broadcast_to(np.asarray(sigmas, float), values.shape)
    shared = np.asarray(shared_sigma, float)
    seen = np.isfinite(values) & np.isfinite(sigmas)
    long = np.array([_long_enough(years[seen[:, k]]) for k in range(values.shape[1])], bool)
    counts = seen.sum(axis=0)
    if not long.any():
        return [_too_short(int(c)) for c in counts]
    fitted = seen & long
    middle = float((years[:, None] * fitted).sum() / fitted.sum())
    column = np.cumsum(long) - 1
    date, series = np.nonzero(fitted)
    design = np.zeros((len(date), 2 * long.sum()))
    design[np.arange(len(date)), 2 * column[series]] = 1.0
    design[np.arange(len(date)), 2 * column[series] + 1] = years[date] - middle
    v = np.where(date[:, None] == date, shared[date, None] * shared[date], 0.0)
    v[np.diag_indices_from(v)] += sigmas[date, series] ** 2
    beta, covariance = _generalised_least_squares(design, values[date, series], v)
    return [
        _line(beta, covariance, 2 * column[k], middle, int(counts[k])) if long[k] else _too_short(int(counts[k]))
        for k in range(values.shape[1])
    ]


def _long_enough(years: np.ndarray) -> bool:
    return len(years) >= MIN_SURVEYS and float(np.ptp(years)) >= MIN_YEARS


def _generalised_least_squares(design: np.ndarray, y: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients and covariance, the latter never below what the residuals show."""
    root = np.linalg.cholesky(v)
    whitened = np.linalg.solve(root, np.column_stack([design, y]))
    x, z = whitened[:, :-1], whitened[:, -1]
    covariance = np.linalg.inv(x.T @ x)
    beta = covariance @ (x.T @ z)
    free = len(y) - design.shape[1]
    scatter = float(np.sum((z - x @ beta) ** 2) / free)
    return beta, covariance * max(scatter, 1.0)


def _line(beta: np.ndarray, covariance: np.ndarray, at: int, middle: float, count: int) -> Trend:
    level, rate = float(beta[at]), float(beta[at + 1])
    level_sigma, rate_sigma = (float(np.sqrt(covariance[i, i])) for i in (at, at + 1))
    detected = abs(rate) > LEVEL_95 * rate_sigma
    return Trend(rate, rate_sigma, level, level_sigma, float(covariance[at, at + 1]), middle, count, detected)


def _too_short(count: int) -> Trend:
    nan = float("nan")
    return Trend(nan, nan, nan, nan, nan, nan, count, False, "too short")
