"""Rates over several surveys, when all figures of one date share that date's error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.change.difference import LEVEL_95

MIN_SURVEYS = 4
MIN_YEARS = 0.7
SEASON_YEARS = 2.0  # a shorter time cannot tell a season from a rate
SEASON_SURVEYS = 6  # four unknowns, and two dates to check them by
SEASON_CONDITION = 20.0  # of the columns scaled to one: surveys always in the same months cannot show a season


@dataclass(frozen=True)
class Trend:
    """Straight line of one series within one epoch, and its season where the dates can tell one.

    rate       : per year, in the series' own unit; NaN when too short
    rate_sigma : one s.d. of it
    level      : value at the middle of all dates of the fit, `at_years`
    level_sigma, covariance : one s.d. of the level; covariance of level and rate (for a forecast)
    surveys    : dates with a value
    detected   : |rate| over 1.96 s.d.
    reason     : "too short" or empty
    season     : half the swing within a year about the line, NaN where no season was fitted, and its s.d. `season_sigma`
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
    season: float = float("nan")
    season_sigma: float = float("nan")

    def at(self, years: float) -> tuple[float, float]:
        """The line's value at a date and its s.d., without season and without the scatter of a single survey."""
        t = years - self.at_years
        variance = self.level_sigma**2 + 2 * t * self.covariance + t**2 * self.rate_sigma**2
        return self.level + self.rate * t, float(np.sqrt(max(variance, 0.0)))


def fit_trends(years: np.ndarray, values: np.ndarray, sigmas: np.ndarray, shared_sigma: np.ndarray, seasons: bool = True) -> list[Trend]:
    """Lines through several series that share each survey's error, by generalised least squares.

    years        : (T,) dates, years
    values       : (T, K) figures of K zones or edges; NaN where a survey gave none
    sigmas       : (T, K) one s.d. of each figure's own error, without what its survey's figures share
    shared_sigma : (T,) one s.d. of what all figures of a survey share: the tie
    seasons      : whether a season is fitted where the dates can tell one
    model        : y_tk = a_k + b_k t [+ c_k cos 2 pi t + s_k sin 2 pi t] + u_t + e_tk; V = s_u,t^2 within a date + own
                   variances. The season is in for a series of SEASON_SURVEYS over SEASON_YEARS whose months differ enough.
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
    date, series = np.nonzero(fitted)
    columns = {k: 4 if seasons and season_can_be_told(years[seen[:, k]]) else 2 for k in np.flatnonzero(long)}
    first = dict(zip(columns, np.cumsum([0, *columns.values()])))
    design = np.zeros((len(date), sum(columns.values())))
    terms = season_terms(years, middle)
    for k, count in columns.items():
        mine = series == k
        design[mine, first[k] : first[k] + count] = terms[date[mine], :count]
    v = np.where(date[:, None] == date, shared[date, None] * shared[date], 0.0)
    v[np.diag_indices_from(v)] += sigmas[date, series] ** 2
    beta, covariance = _generalised_least_squares(design, values[date, series], v)
    return [
        _line(beta, covariance, first[k], columns[k], middle, int(counts[k])) if long[k] else _too_short(int(counts[k]))
        for k in range(values.shape[1])
    ]


def season_can_be_told(years: np.ndarray) -> bool:
    """Whether dates (T,), years, are enough, over long enough, and spread enough over the months to tell a season from a rate."""
    if len(years) < SEASON_SURVEYS or np.ptp(years) < SEASON_YEARS:
        return False
    terms = season_terms(years, float(np.mean(years)))
    wave = np.sqrt(len(years) / 2)  # the size of a cosine and of a sine over evenly spread months
    size = np.array([*np.linalg.norm(terms[:, :2], axis=0), wave, wave])
    return bool(np.linalg.cond(terms / size) <= SEASON_CONDITION)


def season_terms(years: np.ndarray, middle: float) -> np.ndarray:
    """Level, rate, cosine and sine of the year, (T, 4)."""
    angle = 2 * np.pi * years
    return np.column_stack([np.ones(len(years)), years - middle, np.cos(angle), np.sin(angle)])


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


def _line(beta: np.ndarray, covariance: np.ndarray, at: int, columns: int, middle: float, count: int) -> Trend:
    level, rate = float(beta[at]), float(beta[at + 1])
    level_sigma, rate_sigma = (float(np.sqrt(covariance[i, i])) for i in (at, at + 1))
    detected = abs(rate) > LEVEL_95 * rate_sigma
    season = _season(beta[at + 2 : at + 4], covariance[at + 2 : at + 4, at + 2 : at + 4]) if columns == 4 else ()
    return Trend(rate, rate_sigma, level, level_sigma, float(covariance[at, at + 1]), middle, count, detected, "", *season)


def _season(wave: np.ndarray, covariance: np.ndarray) -> tuple[float, float]:
    """Size of a cosine and sine and its s.d. along its own direction."""
    size = float(np.hypot(*wave))
    along = wave / size if size > 0 else np.array([1.0, 0.0])
    return size, float(np.sqrt(along @ covariance @ along))


def _too_short(count: int) -> Trend:
    nan = float("nan")
    return Trend(nan, nan, nan, nan, nan, nan, count, False, "too short")
