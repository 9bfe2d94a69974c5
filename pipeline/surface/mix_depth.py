"""How deep the mix lies over its base: cores kriged with a constant mean, and what follows from it for a blade.

Nothing is known without a core, and nothing beyond 10 m of one. Below 8 cores the depth's own spread is taken for 25 mm;
from 8 on the cores tell spread and range, and how little they tell them is in the s.d. What the skin gained or lost since a
core was taken is not known either: a core of another day says less, and old ones all err the same way.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Callable, Sequence

import numpy as np
from scipy.special import ndtr, ndtri

from pipeline.frame import Grid
from pipeline.surface.mix_cores import Core
from pipeline.survey.noise import matern32
from pipeline.units import YEAR_DAYS

REACH_M = 10.0
TOLD_FROM = 8
DECLARED_SD_M = 0.025
DECLARED_RANGE_M = 6.0  # Matern 3/2; a guess: mix is dragged over some metres
AGED_SD_M_PER_YEAR = 0.006  # what a skin in use may have gained or lost in a year, nobody having measured it; a guess
TRIED_SD_M = (0.008, 0.012, 0.018, 0.025, 0.035, 0.050, 0.070)
TRIED_RANGE_M = (2.0, 3.5, 6.0, 10.0, 17.0)
SD_FACTOR, RANGE_FACTOR = 2.0, 2.0  # one s.d. of the logarithms of both about what is declared, before looking
BLOCK_M = 0.5
LEAST_WEIGHT = 1e-4  # of a spread worth following up
AT_ONCE = 20_000  # places kriged in one go: memory
SURE = 0.95  # that a blade stays in the mix


@dataclass(frozen=True)
class Kriged:
    """Estimate and variance (k,) at places, and the (k, c) weights of the cores, whose rows add up to 1."""

    value: np.ndarray
    variance: np.ndarray
    weights: np.ndarray


@dataclass(frozen=True)
class MixDepth:
    """Depth of mix on blocks.

    grid    : of the blocks
    depth_m, sigma_m : (ny, nx), m; NaN off the ground asked for and beyond REACH_M of a core
    asked   : (ny, nx) bool, the ground asked for
    models  : (s.d. m, range m, weight) of each spread that was thought possible
    cores   : those used
    aged_m  : (ny, nx), m: the part of sigma_m that the cores' age makes, alike for all of them
    reason  : why there is no figure at all, or ``
    """

    grid: Grid
    depth_m: np.ndarray
    sigma_m: np.ndarray
    asked: np.ndarray
    models: tuple[tuple[float, float, float], ...]
    cores: tuple[Core, ...]
    aged_m: np.ndarray
    reason: str

    @property
    def told(self) -> np.ndarray:
        return np.isfinite(self.depth_m)

    @property
    def told_m2(self) -> float:
        return float(self.told.sum() * self.grid.cell_area_m2)

    @property
    def untold_m2(self) -> float:
        """Ground asked for that no core speaks for."""
        return float((self.asked & ~self.told).sum() * self.grid.cell_area_m2)

    def short_chance(self, wanted_m: float) -> np.ndarray:
        """Probability that the mix is less deep than wanted, (ny, nx); NaN where nothing is told."""
        return ndtr((wanted_m - self.depth_m) / self.sigma_m)

    def blade_m(self, reserve_m: float, sure: float = SURE) -> np.ndarray:
        """How deep a blade may go and leave the reserve over the base, with probability `sure` (0.5: as estimated),
        (ny, nx), m, >= 0; NaN where nothing is told: no blade there before it is probed."""
        return np.maximum(self.depth_m - ndtri(sure) * self.sigma_m - reserve_m, 0.0)


def krige(
    places: np.ndarray, values: np.ndarray, own_variance: np.ndarray, covariance: Callable[[np.ndarray], np.ndarray], at: np.ndarray
) -> Kriged:
    """Ordinary kriging: the best unbiased estimate with a constant mean of which nothing is known.

    places       : (c, 2) of the values, m
    values       : (c,)
    own_variance : (c,) of each value's own error, which is no part of what is estimated
    covariance   : of two places so far apart, same unit as own_variance
    at           : (k, 2)
    source       : Isaaks & Srivastava 1989, ch. 12 (from memory): C w + mu 1 = c0, 1'w = 1; variance C(0) - w'c0 - mu
    """
    sill = float(covariance(np.zeros(1))[0])
    return _solved(values, covariance(distances(places, places)) + np.diag(own_variance), covariance(distances(at, places)), sill)


def _solved(values: np.ndarray, among: np.ndarray, toward: np.ndarray, sill: float) -> Kriged:
    """`krige` from its covariances: (c, c) among the readings, (k, c) from the places asked for, and that of a place itself."""
    inverse = np.linalg.inv(among)
    simple = toward @ inverse
    ones = inverse.sum(axis=0)
    lacking = 1.0 - simple.sum(axis=1)
    weights = simple + lacking[:, None] * ones / ones.sum()
    variance = sill - np.einsum("kc,kc->k", simple, toward) + lacking**2 / ones.sum()
    return Kriged(weights @ values, np.maximum(variance, 0.0), weights)


def distances(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Between places (k, 2) and (c, 2), (k, c), m."""
    return np.hypot(one[:, None, 0] - other[None, :, 0], one[:, None, 1] - other[None, :, 1])


def spreads(cores: Sequence[Core]) -> tuple[tuple[float, float, float], ...]:
    """Spreads (s.d. m, Matern 3/2 range m, weight) that the cores leave possible; below TOLD_FROM cores the declared one.

    source : restricted likelihood of the differences between cores (Patterson & Thompson 1971, from memory) times
             lognormal priors about DECLARED_SD_M and DECLARED_RANGE_M, on a grid of both
    """
    if len(cores) < TOLD_FROM:
        return ((DECLARED_SD_M, DECLARED_RANGE_M, 1.0),)
    places, values, own = columns_of(cores)
    apart = distances(places, places)
    tried, score = [], []
    for sd in TRIED_SD_M:
        for range_m in TRIED_RANGE_M:
            c = sd**2 * matern32(apart / range_m) + np.diag(own)
            inverse = np.linalg.inv(c)
            ones = inverse.sum(axis=0)
            off = values - ones @ values / ones.sum()
            likelihood = -0.5 * (np.linalg.slogdet(c)[1] + np.log(ones.sum()) + off @ inverse @ off)
            prior = (np.log(sd / DECLARED_SD_M) / np.log(SD_FACTOR)) ** 2 + (np.log(range_m / DECLARED_RANGE_M) / np.log(RANGE_FACTOR)) ** 2
            tried.append((sd, range_m))
            score.append(likelihood - 0.5 * prior)
    weight = np.exp(np.array(score) - max(score))
    weight /= weight.sum()
    weight[weight < LEAST_WEIGHT] = 0.0
    weight /= weight.sum()
    return tuple((sd, range_m, float(w)) for (sd, range_m), w in zip(tried, weight) if w > 0)


def mix_depth(cores: Sequence[Core], grid: Grid, asked: np.ndarray, on: dt.date | None = None) -> MixDepth:
    """Depth of mix on a grid's cells.

    grid  : coarse is fine: BLOCK_M
    asked : (ny, nx) bool, the skin without mound and keep-outs
    on    : the day spoken of; None: the day of the cores, whatever it was
    Cores within REACH_M of the ground asked for take part; depths are estimated, not readings, so a core's own error is
    taken off again.
    """
    e, n = grid.mesh()
    nothing = np.full(grid.shape, np.nan)
    used = tuple(sorted((c for c in cores if _near(c, e, n, asked)), key=lambda c: (c.core_id, c.e, c.n)))
    if not used:
        why = "no core of the mix" if not cores else f"no core of the mix within {REACH_M:.0f} m of the skin"
        return MixDepth(grid, nothing, nothing.copy(), asked, (), (), nothing.copy(), f"{why}: its depth is not known and nothing is assumed")
    places, values, own = columns_of(used)
    away = np.full(grid.shape, np.inf)
    for ce, cn in places:
        np.minimum(away, np.hypot(e - ce, n - cn), out=away)
    near = asked & (away <= REACH_M)
    at = np.column_stack([e[near], n[near]])
    models = spreads(used)
    old = AGED_SD_M_PER_YEAR * years_off(used, on)
    mean, square, aged = np.zeros(len(at)), np.zeros(len(at)), np.zeros(len(at))
    for first in range(0, len(at), AT_ONCE):
        part = slice(first, first + AT_ONCE)
        away, apart = distances(at[part], places), distances(places, places)
        like = {r: (matern32(apart / r), matern32(away / r)) for r in {r for _, r, _ in models}}
        for sd, range_m, weight in models:
            among, toward = like[range_m]
            found = _solved(values, sd**2 * among + np.diag(own), sd**2 * toward, sd**2)
            mean[part] += weight * found.value
            square[part] += weight * (found.variance + found.value**2)
            aged[part] += weight * (found.weights @ old)
    depth, sigma, common = nothing.copy(), nothing.copy(), nothing.copy()
    depth[near], common[near] = mean, np.abs(aged)
    sigma[near] = np.sqrt(np.maximum(square - mean**2, 0.0) + aged**2)
    return MixDepth(grid, depth, sigma, asked, models, used, common, "")


def years_off(cores: Sequence[Core], on: dt.date | None) -> np.ndarray:
    """How far each core's day lies from a day, years, (c,); 0 where either is not given."""
    return np.array([0.0 if on is None or c.taken_on is None else abs((on - c.taken_on).days) / YEAR_DAYS for c in cores])


def columns_of(cores: Sequence[Core]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places (c, 2), depths and own variances (c,)."""
    places = np.array([(c.e, c.n) for c in cores], float).reshape(-1, 2)
    return places, np.array([c.depth_m for c in cores], float), np.array([c.sigma_m for c in cores], float) ** 2


def matern(sd: float, range_m: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda h: sd**2 * matern32(h / range_m)


def _near(core: Core, e: np.ndarray, n: np.ndarray, asked: np.ndarray) -> bool:
    return bool(asked.any() and np.hypot(e[asked] - core.e, n[asked] - core.n).min() <= REACH_M)
