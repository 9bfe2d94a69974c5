"""As built: how far a finished surface stands off what was wanted, place by place, in three words.

A place is the mean over a 3 m block, whose error the survey knows far better than a cell's: raw cells must not be
counted, a good finish of 3 mm would show two thirds of them within 1/4 in. Against a form whose level nobody fixed the
best-fitting surface of that form is taken off, and with it the survey's own shift and tilt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2, norm

from pipeline.change.difference import LEVEL_95
from pipeline.change.zones import LEVEL, holm

WITHIN, OUTSIDE, CANNOT_TELL = "within", "outside", "cannot_tell"
WORDS = (WITHIN, OUTSIDE, CANNOT_TELL)
FEWEST = 8  # places that a share is told from; ours
QUANTILES, DRAWS = 40, 25  # of the pivot, evenly spaced in probability, and of the ground for each


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
    """Share of the places within tolerance, noise taken off, and its 95 % interval; NaN with a reason where none can be told."""

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
    """Share of the places whose true deviation is within +/- tolerance, the survey's noise taken off.

    The ground's own deviations are taken as normal with one s.d. t, about 0 where a form was fitted, else about a level of
    their own. In the directions that no fit touched the observed ones then have variances t2 + l, l the eigenvalues of the
    covariance; the quantiles of the sum of their squares give each a t. Given t, the true deviations are normal about the
    observed ones drawn in toward their level; DRAWS of them each have a share, whose median and 95 % ends are printed. No
    seed of the project: the same deviations give the same share. All directions weigh alike, since unevenness that runs over
    several places looks like what neighbours share of the survey; where it does the interval still holds the truth in 90 %
    only, and less where nearly all of the ground stands by the limit itself (measured).

    source : the conditional normal (elementary); the sum's quantiles, `_sum_quantile`
    """
    k = len(found.value)
    if k < FEWEST:
        return Share(np.nan, np.nan, np.nan, f"{k} places: {FEWEST} are needed")
    value, vector = np.linalg.eigh(found.covariance)
    noise, vector = np.maximum(value[found.taken :], 1e-12), vector[:, found.taken :]  # what was fitted has no variance left: it says nothing
    seen, level = vector.T @ found.value, vector.sum(axis=0)
    spread2 = _spreads(found, noise, seen)
    if spread2 is None:
        return Share(np.nan, np.nan, np.nan, "the places scatter less than the survey's noise alone would make them")
    z, z0 = np.random.default_rng(k).standard_normal((2, len(spread2), DRAWS, len(noise)))
    total = spread2[:, None] + noise
    common = np.zeros((len(spread2), DRAWS, 1))
    if not found.taken:
        precision = (level**2 / total).sum(axis=1)
        common = ((level * seen / total).sum(axis=1) / precision)[:, None, None] + z0[..., :1] / np.sqrt(precision)[:, None, None]
    kept = (spread2[:, None] / total)[:, None, :]
    true = common * level + kept * (seen - common * level) + np.sqrt(kept * noise) * z
    shares = (np.abs(true @ vector.T) <= tolerance_m).mean(axis=-1)
    low, mid, high = np.quantile(shares, (0.025, 0.5, 0.975))
    return Share(float(mid), float(low), float(high))


def _spreads(found: Deviations, noise: np.ndarray, seen: np.ndarray) -> np.ndarray | None:
    """Variances of the ground's own deviations, one for each quantile of their pivot, (q,), m2; None where even the
    noise alone would scatter more."""
    y2 = seen**2
    if not found.taken:  # across the common level
        apart = np.linalg.svd(np.ones((1, len(found.value))))[2][1:].T
        noise, inner = np.linalg.eigh(apart.T @ found.covariance @ apart)
        y2 = (inner.T @ (apart.T @ found.value)) ** 2
    p = (np.arange(QUANTILES) + 0.5) / QUANTILES
    over = lambda t2, p: y2.sum() > _sum_quantile(t2[:, None] + noise, p)
    if not over(np.zeros(1), np.array([0.025]))[0]:
        return None
    low, high = np.zeros(QUANTILES), np.full(QUANTILES, y2.sum())
    for _ in range(40):
        middle = (low + high) / 2
        more = over(middle, p)
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return low


def _sum_quantile(variances: np.ndarray, p: np.ndarray) -> np.ndarray:
    """Quantile p of a sum of squares of normals, variances (q, k), (q,).

    source : Satterthwaite 1946 (from memory): a scaled chi-squared of the same mean and variance
    """
    total, square = variances.sum(axis=1), (variances**2).sum(axis=1)
    return square / total * chi2.ppf(p, total**2 / square)
