"""A mound's shape laid onto the ground: how high, how steep in front, and where it really stands.

A mound is built by eye and worn where the pitcher lands, so height, front slope and place are free, the landing spot takes no
part, and ground that leaves the shape by more than noise widens what comes out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.diamond.dimensions import PLATE_BEHIND_CENTRE_M
from pipeline.diamond.layout import Layout
from pipeline.diamond.mound import FLAT_FRONT_M, FRONT_SLOPE, TABLE_M
from pipeline.surface.rulebook_heights import Heights, Linear
from pipeline.survey.noise import Noise
from pipeline.survey.plane import HUBER_K, MAD_TO_SD

STEP_M = 0.02  # of the numerical derivatives
MOST_STEPS, MOVED_M, MOST_MOVED_M = 12, 1e-4, 1.0
MISFIT_RANGE_M = 0.7  # over which a mound that is not built to the drawing leaves it
SHORT_M = 2.0  # correlated parts up to this range stay in the residual
SLOPE_SD = 0.02  # prior s.d. of the front slope, m per m: a quarter inch in a foot (an assumption)
ALIKE = 10.0  # cells that share one error, for the weight of that prior alone; its share of the error is counted apart
# The parameters: plane (0, 1, 2), height, moved aside and from home, front slope.
HEIGHT, ASIDE, FROM_HOME, FRONT = 3, 4, 5, 6


@dataclass(frozen=True)
class MoundFit:
    """z = plane + shape, x and y from the mound's drawn centre in diamond axes.

    at      : (7,) plane at the centre (m), its slopes, height (m), moved aside and from home (m), front slope
    weights : (7, k) of the used cells in the parameters;  prior : (7,) share of the prior slope in them
    terms   : (7, ny, nx) derivatives;  model : (ny, nx) the shape, m
    misfit  : error of the shape as a field, or None
    """

    of: Heights
    cells: tuple[np.ndarray, np.ndarray]
    at: np.ndarray
    weights: np.ndarray
    prior: np.ndarray
    terms: np.ndarray
    model: np.ndarray
    misfit: Noise | None

    def parameter(self, j: int) -> Linear:
        found = self.of.sum(self.cells, self.weights[j])
        return replace(found, value=float(self.at[j]), own=found.own + (self.prior[j] * SLOPE_SD) ** 2)

    def over(self, disc: np.ndarray) -> Linear:
        """Mean of the shape less the ground over cells that took no part in the fit."""
        there = np.nonzero(disc)
        mean = self.terms[:, there[0], there[1]].mean(axis=1)
        what = self.of.sum(self.cells, mean @ self.weights) - self.of.mean(disc)
        own = what.own + float(mean @ self.prior * SLOPE_SD) ** 2
        return replace(what, value=float((self.model[there] - self.of.z[there]).mean()), own=own)

    def sigma(self, what: Linear) -> float:
        return self.of.sigma(what, self.misfit)


def fit_mound(part: Heights, layout: Layout, use: np.ndarray) -> MoundFit | None:
    """Gauss-Newton with Huber's weights; None where the ground has no mound's shape.

    part : the heights about the mound;  use : (ny, nx) bool, measured cells well inside the circle, landing spot left out
    """
    cells = np.nonzero(use)
    z, mound = part.z[cells], layout.mound
    middle = layout.axes.local(mound.e, mound.n)
    x, y = layout.axes.local(*part.grid.mesh())
    x, y = x - middle[0], y - middle[1]
    level = float(z.mean())
    at = np.array([0.0, 0.0, 0.0, mound.height_m, 0.0, 0.0, FRONT_SLOPE])
    weight, scale = np.ones(len(z)), 0.01
    for _ in range(MOST_STEPS):
        model = _surface(at, x, y, mound.radius_m)
        terms = _terms(at, x, y, mound.radius_m)
        design = terms[:, *cells].T
        if np.linalg.matrix_rank(design) < len(at) - 1:
            return None
        normal = (design.T * weight) @ design
        firm = ALIKE * scale**2 / SLOPE_SD**2
        normal[FRONT, FRONT] += firm
        weights = np.linalg.solve(normal, design.T * weight)
        prior = np.linalg.solve(normal, np.eye(len(at))[FRONT]) * firm
        away = z - level - model[cells]
        step = weights @ away + prior * (FRONT_SLOPE - at[FRONT])
        at = at + step
        if np.abs(at[[ASIDE, FROM_HOME]]).max() > MOST_MOVED_M or at[HEIGHT] < 0.25 * mound.height_m:
            return None
        left = away - design @ step
        scale = max(MAD_TO_SD * float(np.median(np.abs(left))), 1e-6)
        new = np.minimum(1.0, HUBER_K * scale / np.maximum(np.abs(left), 1e-12))
        settled = np.abs(step[HEIGHT:FRONT]).max() < MOVED_M and np.abs(new - weight).max() < 0.02
        weight = new
        if settled:
            break
    expected = float((part.white[cells] ** 2).mean()) + part.error.noise.shorter_than(SHORT_M).correlated_variance
    excess = max(float((left**2).mean()) - expected, 0.0)
    misfit = replace(part.error.noise, parts=((float(np.sqrt(excess)), MISFIT_RANGE_M),)) if excess > 0 else None
    return MoundFit(part, cells, at, weights, prior, terms, level + _surface(at, x, y, mound.radius_m), misfit)


def _surface(at: np.ndarray, x: np.ndarray, y: np.ndarray, radius_m: float) -> np.ndarray:
    """The plane with the mound on it: as `diamond.mound` draws it, with a front slope of its own."""
    height, u, v, slope = at[HEIGHT], x - at[ASIDE], y - at[FROM_HOME], at[FRONT]
    front = PLATE_BEHIND_CENTRE_M - FLAT_FRONT_M
    before = np.maximum(front - v, 0.0)
    dx = np.maximum(np.abs(u) - TABLE_M[0] / 2, 0.0)
    off = np.hypot(dx, np.maximum(v - front - TABLE_M[1], 0.0) + before)
    rim = np.maximum(radius_m - np.hypot(u, v), 0.0)
    aside = height * rim / np.maximum(off + rim, 1e-9)
    ahead = (before > 0) & (np.abs(u) <= TABLE_M[0] / 2)
    shape = np.where(ahead, np.maximum(height - slope * before, 0.0), np.where(rim > 0, aside, 0.0))
    return at[0] + at[1] * x + at[2] * y + shape


def _terms(at: np.ndarray, x: np.ndarray, y: np.ndarray, radius_m: float) -> np.ndarray:
    out = [np.ones(x.shape), x, y]
    for j in (HEIGHT, ASIDE, FROM_HOME, FRONT):
        half = np.zeros(len(at))
        half[j] = STEP_M
        out.append((_surface(at + half, x, y, radius_m) - _surface(at - half, x, y, radius_m)) / (2 * STEP_M))
    return np.stack(out)
