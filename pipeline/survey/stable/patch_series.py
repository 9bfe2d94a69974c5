"""Patches over all dates together: one that moved a little shows in the series where no single pair can show it.

Every date's heights are levels of the patches plus that date's drift, shared residual and own errors. A patch is tried for a
step at each date and for an even drift, by generalised least squares against all other patches and dates at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag
from scipy.special import ndtr, ndtri, stdtr

from pipeline.survey.noise import Noise, of_difference
from pipeline.survey.stable.drift import LONG_RANGE_M, drift_prior, mean_covariance
from pipeline.survey.stable.misfit import PATCH_MOVES_M, SHORT_PLACES, Misfit, MisfitSystem
from pipeline.survey.stable.patches import Footprint, PatchHeight, spread_places
from pipeline.survey.stable.tie import MIN_PATCHES

MIN_DATES = 3  # two dates are a pair, and the tie judges those itself
LEVEL = 0.05  # chance that any patch of a still field is named, Holm over the patches
DRAWS, SEED = 20_000, 1  # for the largest of correlated normals
GRANT_WORTH = 6.0  # patches that the scatter of all dates counts for against one date's own
MAX_GRANT = 9.0
LOUD = 1.5  # scatter of all dates beyond which the declared noise is not believed, and the scatter is all there is to go by
SCATTER_FREEDOM = 10.0  # what six dates of six patches leave to tell a scatter by, shift, tilt, dome and levels taken off
SAME_FIT = 3.84  # dates whose step fits within so much of the best one's squared s.d. may be the date (chi-square, 95 %)


@dataclass(frozen=True)
class PatchDay:
    """One survey's heights of the patches; years from any origin."""

    survey_id: str
    years: float
    heights: dict[str, PatchHeight]
    noise: Noise


@dataclass(frozen=True)
class MovedPatch:
    """A patch that the series shows to have moved.

    form     : `step` or `drift`
    since    : first survey after the step; for a drift the first survey of all
    earliest, latest : surveys that may as well have been the first after the step
    moved_m  : step, or drift over the whole series, positive = up, and its s.d. `sigma_m`
    p_holm   : chance to see so much of any still patch, Holm over the patches
    """

    patch_id: str
    form: str
    since: str
    earliest: str
    latest: str
    moved_m: float
    sigma_m: float
    p_holm: float

    def between(self, earlier: str, later: str, order: list[str]) -> bool:
        """Whether the patch may have moved between two surveys; `order`: all survey ids, oldest first."""
        a, b = order.index(earlier), order.index(later)
        return self.form == "drift" or (a < order.index(self.latest) and b >= order.index(self.earliest))


def moved_patches(patches: list[Footprint], days: list[PatchDay], centre: tuple[float, float]) -> list[MovedPatch]:
    """The patches that moved, surest first; days oldest first.

    Tried one by one (Holm 1979, from memory): the surest is named and set aside, then the others are tried without it,
    as long as MIN_PATCHES are left to tell a moved patch from a tilted survey.
    """
    out: list[MovedPatch] = []
    left = [p for p in patches if sum(_seen(d, p) for d in days) >= MIN_DATES]
    while len(left) >= MIN_PATCHES and len(days) >= MIN_DATES:
        series = _Series.of(left, days, centre)
        found = [series.tried(k) for k in range(len(left))]
        k = int(np.argmin([f.p_holm for f in found]))
        p = max(found[k].p_holm * len(left), *(f.p_holm for f in out)) if out else found[k].p_holm * len(left)
        if p > LEVEL:
            break
        out.append(replace(found[k], p_holm=float(p)))
        left.pop(k)
    return out


@dataclass(frozen=True)
class _Series:
    """All heights of all dates: y (n,), which patch and date each is of, and their covariance in two parts, (n, n) m2."""

    patches: list[Footprint]
    days: list[PatchDay]
    y: np.ndarray
    patch: np.ndarray
    date: np.ndarray
    drift: np.ndarray
    rest: np.ndarray

    @classmethod
    def of(cls, patches: list[Footprint], days: list[PatchDay], centre: tuple[float, float]) -> _Series:
        y, which, date = [], [], []
        drift, rest, known = [], [], _Known(patches, centre)
        for t, day in enumerate(days):
            seen = tuple(k for k, p in enumerate(patches) if _seen(day, p))
            heights = [day.heights[patches[k].patch_id] for k in seen]
            system = known.system(seen, day.noise)
            drift.append(system.drift)
            rest.append(system.rest + np.diag([h.sigma_m**2 for h in heights]))
            y += [h.height_m for h in heights]
            which += seen
            date += [t] * len(seen)
        return cls(patches, days, np.array(y), np.array(which), np.array(date), block_diag(*drift), block_diag(*rest))

    def tried(self, k: int) -> MovedPatch:
        """The step or drift that patch k shows most, with its own p, not yet adjusted."""
        grant, whole = self._granted(k)
        root = np.sqrt(grant)[self.date]
        project = _levels_off(self.drift + self.rest * root[:, None] * root, self._levels(np.ones(len(self.y), bool)))
        mine = self.patch == k
        starts = np.unique(self.date[mine])[1:]
        years = np.array([d.years for d in self.days])[self.date]
        span = float(np.ptp(years[mine]))
        columns = [mine & (self.date >= t) for t in starts] + ([mine * (years - years[mine].min()) / span] if span > 0 else [])
        c = np.column_stack(columns).astype(float)
        information = c.T @ project @ c
        sd = np.sqrt(np.diag(information))
        z = c.T @ project @ self.y / sd
        best = int(np.argmax(np.abs(z)))
        size = abs(float(z[best]))
        p = _largest_p(size if whole <= LOUD else float(-ndtri(stdtr(SCATTER_FREEDOM, -size))), information / np.outer(sd, sd))
        step = best < len(starts)
        like = [int(t) for t, v in zip(starts, z) if v * v >= z[best] ** 2 - SAME_FIT and v * z[best] > 0] if step else [int(self.date[mine].min())]
        first = int(starts[best]) if step else like[0]
        ids = [d.survey_id for d in self.days]
        return MovedPatch(self.patches[k].patch_id, "step" if step else "drift", ids[first], ids[min(like)], ids[max(like)],
                          float(z[best] / sd[best]), float(1.0 / sd[best]), p)  # fmt: skip

    def _granted(self, k: int) -> tuple[np.ndarray, float]:
        """By what each date's variances are multiplied, (T,), at least 1: what the other patches' scatter asks for, over all dates
        and at this one; and what it asks for over all dates."""
        kept = self.patch != k
        project = _levels_off((self.drift + self.rest)[np.ix_(kept, kept)], self._levels(kept))
        own = np.diag(project)
        told = own > 1e-9 * own.max()
        score = np.where(told, (project @ self.y[kept]) ** 2 / np.where(told, own, 1.0), 1.0)
        whole = max(float(score.mean()), 1.0)
        count = np.bincount(self.date[kept], minlength=len(self.days))
        total = np.bincount(self.date[kept], score, minlength=len(self.days))
        return np.clip((total + GRANT_WORTH * whole) / (count + GRANT_WORTH), 1.0, MAX_GRANT), whole

    def _levels(self, kept: np.ndarray) -> np.ndarray:
        """One column for each patch's unknown level."""
        return (self.patch[kept][:, None] == np.unique(self.patch[kept])).astype(float)


def _seen(day: PatchDay, patch: Footprint) -> bool:
    height = day.heights.get(patch.patch_id)
    return height is not None and bool(np.isfinite(height.height_m))


class _Known:
    """Covariances between patches that depend on a survey's noise alone, worked out once for each."""

    def __init__(self, patches: list[Footprint], centre: tuple[float, float]):
        self.patches, self.centre, self._systems = patches, centre, {}

    def system(self, seen: tuple[int, ...], noise: Noise) -> MisfitSystem:
        """One date's covariances but for the points' white noise: drift; shared and short parts and the patches' own movement."""
        key = (seen, replace(noise, white_m=0.0))
        if key not in self._systems:
            found = [Misfit(self.patches[k], 0.0, 0.0, self._own_m(self.patches[k], noise)) for k in seen]
            prior = drift_prior(of_difference(noise, noise)) / 2.0
            self._systems[key] = MisfitSystem.of(found, noise.longer_than(LONG_RANGE_M), prior, self.centre)
        return self._systems[key]

    def _own_m(self, patch: Footprint, noise: Noise) -> float:
        places = spread_places(patch.shape, SHORT_PLACES)
        return float(np.sqrt(mean_covariance(noise.shorter_than(LONG_RANGE_M), places, places) + PATCH_MOVES_M**2))


def _levels_off(v: np.ndarray, x: np.ndarray) -> np.ndarray:
    """P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1: what is left to learn once the levels X are unknown, 1/m2."""
    inverse = np.linalg.inv(v)
    solved = inverse @ x
    return inverse - solved @ np.linalg.solve(x.T @ solved, solved.T)


def _largest_p(z: float, correlation: np.ndarray) -> float:
    """Chance that the largest of several correlated unit normals exceeds z in size."""
    alone = 2.0 * float(ndtr(-z))
    bound = min(alone * len(correlation), 1.0)
    if alone > LEVEL:
        return bound
    values, vectors = np.linalg.eigh(correlation)
    draws = np.random.default_rng(SEED).standard_normal((DRAWS, len(values)))
    largest = np.abs(draws @ (vectors * np.sqrt(np.maximum(values, 0.0))).T).max(axis=1)
    return min((float((largest >= z).sum()) + 1.0) / (DRAWS + 1.0), bound)
