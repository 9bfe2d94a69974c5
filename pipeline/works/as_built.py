"""As built: how far a finished surface stands off what was wanted, place by place, in three words.

A place is the mean over a 3 m block, whose error the survey knows far better than a cell's: raw cells must not be
counted, a good finish of 3 mm would show two thirds of them within 1/4 in. Against a form whose level nobody fixed the
best-fitting surface of that form is taken off, and with it the survey's own shift and tilt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, norm

from pipeline.change.difference import LEVEL_95
from pipeline.change.zones import LEVEL, holm

WITHIN, OUTSIDE, CANNOT_TELL = "within", "outside", "cannot_tell"
WORDS = (WITHIN, OUTSIDE, CANNOT_TELL)
FEWEST = 8  # places that a share is told from; ours
QUANTILES = 201  # of each pivot, evenly spaced in probability


@dataclass(frozen=True)
class Deviations:
    """Deviation of each place from what was wanted, positive = stands high.

    value      : (k,), m
    covariance : (k, k), m2: of the survey, and of what was fitted
    taken      : surfaces fitted and taken off (3 of a plane, 0 of a design whose level is known)
    """

    value: np.ndarray
    covariance: np.ndarray
    taken: int = 0

    @property
    def sigma(self) -> np.ndarray:
        """One s.d. of each, (k,), m."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))


@dataclass(frozen=True)
class Share:
    """Share of the ground within tolerance, noise taken off, and its 95 % interval; NaN with a reason where none can be told."""

    value: float
    low95: float
    high95: float
    reason: str = ""


def off_form(heights: np.ndarray, covariance: np.ndarray, basis: np.ndarray) -> Deviations:
    """Deviations from the best-fitting surface of a form, by least squares over the places.

    heights    : (k,), m, with their covariance (k, k), m2
    basis      : (k, p), the form's surfaces at the places: 1, x, y of a plane
    raises     : ValueError when the places are too few to leave anything over
    """
    k, p = basis.shape
    if k <= p:
        raise ValueError(f"{k} places cannot tell {p} surfaces from what stands off them")
    q, _ = np.linalg.qr(basis - np.where(np.arange(p) == 0, 0.0, basis.mean(axis=0)))
    left = np.eye(k) - q @ q.T
    return Deviations(left @ heights, left @ covariance @ left, p)


def verdicts(found: Deviations, tolerance_m: float) -> list[str]:
    """One of WORDS for each place: `outside` beyond the tolerance by 1.96 s.d., `within` inside it by as much, else `cannot_tell`.

    source : a guard band of 1.96 s.d., JCGM 106:2012 (from memory); so `outside` is said of at most 2.5 % of places that are inside
    """
    off, guard = np.abs(found.value), LEVEL_95 * found.sigma
    words = np.where(off > tolerance_m + guard, OUTSIDE, np.where(off + guard <= tolerance_m, WITHIN, CANNOT_TELL))
    return [str(w) for w in words]


def whole(found: Deviations, tolerance_m: float) -> str:
    """The word on all places together: `outside` where any place is after Holm over all of them, `within` where every place is."""
    beyond = holm(2 * norm.sf((np.abs(found.value) - tolerance_m) / np.maximum(found.sigma, 1e-9)))
    if (beyond <= LEVEL).any():
        return OUTSIDE
    return WITHIN if all(v == WITHIN for v in verdicts(found, tolerance_m)) else CANNOT_TELL


def share_within(found: Deviations, tolerance_m: float) -> Share:
    """Share of the ground within +/- tolerance, the survey's noise taken off.

    The ground's own deviations are taken as normal with one s.d. t over the places, about 0 where a form was fitted, else
    about a mean of its own. In the directions that no fit touched the observed ones are normal with variances t2 + l, l the
    eigenvalues of the covariance, so sum y2/(t2 + l) is chi-squared whatever t is: each quantile of it gives a t, and given
    t each quantile of the mean gives a mean. The share's median and 95 % ends over those are printed.

    source : a pivot for a variance component (elementary); the share of a normal within limits, elementary
    """
    k = len(found.value)
    if k < FEWEST:
        return Share(np.nan, np.nan, np.nan, f"{k} places: {FEWEST} are needed")
    fitted = max(found.taken, 1)
    value, vector = np.linalg.eigh(found.covariance)
    if found.taken:  # what was fitted has no variance left: those directions say nothing
        value, vector = value[found.taken :], vector[:, found.taken :]
    else:
        apart = np.linalg.svd(np.ones((1, k)))[2][1:].T  # orthonormal, across the common level
        value, inner = np.linalg.eigh(apart.T @ found.covariance @ apart)
        vector = apart @ inner
    y2 = (vector.T @ found.value) ** 2
    noise = np.maximum(value, 1e-12)
    if (y2 / noise).sum() < chi2.ppf(0.025, k - fitted):
        return Share(np.nan, np.nan, np.nan, "the places scatter less than the survey's noise alone would make them")
    p = (np.arange(QUANTILES) + 0.5) / QUANTILES
    spread = np.sqrt([_variance(q, y2, noise) for q in chi2.ppf(p, k - fitted)])
    if found.taken:
        shares = _share(np.zeros(1), spread, tolerance_m)
    else:
        mean, sigma = np.array([_mean(found, t) for t in spread]).T
        shares = _share(mean[:, None] + sigma[:, None] * norm.ppf(p), spread[:, None], tolerance_m).ravel()
    low, mid, high = np.quantile(shares, (0.025, 0.5, 0.975))
    return Share(float(mid), float(low), float(high))


def _variance(q: float, y2: np.ndarray, noise: np.ndarray) -> float:
    """t2 >= 0 at which sum y2 / (t2 + noise) is q, m2; 0 where it is less than q everywhere."""
    over = lambda t2: float((y2 / (t2 + noise)).sum() - q)
    return 0.0 if over(0.0) <= 0 else float(brentq(over, 0.0, y2.sum() / q + 1e-12, xtol=1e-14))


def _mean(found: Deviations, t: float) -> tuple[float, float]:
    """Mean of the ground's deviations given their s.d. t, and one s.d. of it, m, by generalised least squares."""
    weight = np.linalg.inv(found.covariance + t**2 * np.eye(len(found.value)))
    total = weight.sum()
    return float((weight @ found.value).sum() / total), float(total**-0.5)


def _share(mean, t, tolerance_m: float) -> np.ndarray:
    t = np.maximum(t, 1e-9)
    return norm.cdf((tolerance_m - mean) / t) - norm.cdf((-tolerance_m - mean) / t)
