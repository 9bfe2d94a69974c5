"""A rover's rows about one grass edge: a smooth line along it, and across it a slope, a step and a lip.

z(s, d) = f(s) + slope d + step ramp(d) + lip bump(d), f a cubic spline along the edge, ramp and bump the shapes of
`edge_shape`. A second walk adds its own drift along the edge, its sideways shift, and what step and lip gained. One fit
over all rows: a zig-zag has too few in any one place for medians.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
from scipy.interpolate import BSpline

from pipeline.survey.edges.edge_shape import DEFAULT_BUMP, Bump, bump, ramp
from pipeline.survey.noise import ROVER
from pipeline.survey.plane import MAD_TO_SD

RAMP_START_M, RAMP_WIDTH_M = -0.05, 0.25  # how a rover sees the grass begin
REACH_M = (-1.2, 1.4)  # rows further from the edge than this say nothing about it
KNOT_M, DRIFT_KNOT_M = 3.0, 12.0  # of f, and of the second walk's drift
SHAPE_SD = (0.05, 0.03, 0.06)  # prior s.d. of the lip's crest, w_in and w_out about DEFAULT_BUMP, m
SHAPE_LIMITS = ((0.03, 0.25), (0.06, 0.22), (0.15, 0.48))
RAMP_SD = (0.02, 0.04)  # prior s.d. of where the grass begins and over what width, m
NO_LIP_M = 0.004  # under this height a lip's shape is its prior's
SIDEWAYS_M = ROVER.horizontal_m * 2**0.5  # s.d. of the shift across the edge between two walks
LEAST_SHARE = 0.08
SIDES = (("skin", -np.inf, -0.3), ("crest", 0.0, 0.3), ("turf", 0.7, np.inf))  # each must hold LEAST_SHARE of the rows
LEAST_LEGS = 6  # ways across from skin to turf or back
LEAST_COVER = 0.6  # of the edge's length, in pieces of KNOT_M
WORST_M = 0.010  # one s.d.: a lip known worse than this is not told
CREST_M = (-0.10, 0.15)  # about the crest: the stretch over which a lip's height is meant
SHAPE_SHARE, FLOOR_M = 0.08, 0.0004  # of a lip's height or growth, for its shape; what no fit knows better than
GRASS_M, GRASS_SD_M = 0.003, 0.002  # how far above the ground the pole stands on grass
SINK_M, SINK_SD_M = 0.002, 0.001  # how far it sinks into the skin
HUBER_K = 2.0  # 99 % efficient on normal errors: gross ones are gone when a walk is cleaned
RESHAPINGS, REWEIGHTINGS, SETTLED_M = 5, 40, 1e-6
H_M = 1e-4  # over which shapes are differentiated

Rows = tuple[np.ndarray, np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Profile:
    """What a fit across one edge found.

    value      : coefficient by name: `slope` (m per m), `step`, `lip`, and for two walks `step_gained`, `lip_gained`, m
    covariance : of those, in that order
    shape      : the lip's shape used
    sigma      : residual s.d. of one row, m
    points     : rows used
    """

    value: dict[str, float]
    covariance: np.ndarray
    shape: Bump
    sigma: float
    points: int

    def variance(self, **weights: float) -> float:
        """Variance of a weighted sum of coefficients, m2."""
        w = np.array([weights.get(name, 0.0) for name in self.value])
        return float(w @ self.covariance @ w)


@dataclass(frozen=True)
class RoverLip:
    """The lip along one edge from one walk, m; NaN and a reason where it is not told.

    rise_m, fall_m : crest over skin and crest over turf, the base slope taken out, grass and sinking taken off
    step_m         : turf over skin, as walked
    shape          : where the crest stands and how wide the lip is
    points         : rows used
    """

    rise_m: float
    rise_sigma_m: float
    fall_m: float
    fall_sigma_m: float
    step_m: float
    step_sigma_m: float
    shape: Bump
    points: int
    reason: str


def why_not(s: np.ndarray, d: np.ndarray, length_m: float, walk: str = "the walk") -> str:
    """Why rows walked in this order cannot tell a lip; empty where they can.

    A walk along the edge compares the crest with skin and turf minutes apart: its drift would pass for a lip.
    """
    if not len(d):
        return f"{walk} has no row near the edge"
    for side, low, high in SIDES:
        share = float(np.mean((d >= low) & (d <= high)))
        if share < LEAST_SHARE:
            return f"{share:.0%} of {walk}'s rows lie on the {side}, {LEAST_SHARE:.0%} are needed: walk a zig-zag"
    side = np.where(d < SIDES[0][2], -1, np.where(d > SIDES[2][1], 1, 0))
    legs = int((np.diff(side[side != 0]) != 0).sum())
    if legs < LEAST_LEGS:
        return f"{walk} goes across the edge {legs} times, {LEAST_LEGS} are needed: walk a zig-zag, not along it"
    pieces = max(int(round(length_m / KNOT_M)), 1)
    held = np.unique(np.clip((s / length_m * pieces).astype(int), 0, pieces - 1)).size / pieces
    if held < LEAST_COVER:
        return f"{walk} covers {held:.0%} of the edge, {LEAST_COVER:.0%} are needed"
    return ""


def near(rows: Rows) -> Rows:
    """Station, distance and height of the rows near enough to the edge, in the order walked."""
    s, d, z = (np.asarray(v, float) for v in rows)
    held = (d >= REACH_M[0]) & (d <= REACH_M[1]) & np.isfinite(s) & np.isfinite(z)
    return s[held], d[held], z[held]


def rover_lip(rows: Rows, length_m: float, shape: Bump | None = None) -> RoverLip:
    """Rise and fall of the lip along one edge from one zig-zag walk.

    rows     : station, distance (+ in the grass) and height of the rows in the order walked, each (n,), m
    length_m : of the edge
    shape    : the lip's shape where it is known; None: found here, from the prior where there is no lip

    Rise and fall are the mean over CREST_M about the crest, less skin and turf. The pole stands GRASS_M high on grass
    and SINK_M deep in the skin: as far as the crest is grass (ramp), that is taken off, and its s.d. counted.
    """
    s, d, z = near(rows)
    reason = why_not(s, d, length_m)
    if reason:
        return _untold(reason, len(z))
    fit = fit_profile([(s, d, z)], length_m, shape)
    over = np.linspace(fit.shape.crest + CREST_M[0], fit.shape.crest + CREST_M[1], 51)
    grass = float(_ramp(over).mean())
    body = float(bump(over, fit.shape).mean())
    step, lip = fit.value["step"], fit.value["lip"]
    pole_sd = float(np.hypot(GRASS_SD_M, SINK_SD_M))
    rise = grass * step + body * lip - grass * (GRASS_M + SINK_M)
    fall = (grass - 1.0) * step + body * lip + (1.0 - grass) * (GRASS_M + SINK_M)
    spare = (SHAPE_SHARE * lip) ** 2 + FLOOR_M**2
    rise_sd = float(np.sqrt(fit.variance(step=grass, lip=body) + (grass * pole_sd) ** 2 + spare))
    fall_sd = float(np.sqrt(fit.variance(step=grass - 1.0, lip=body) + ((1.0 - grass) * pole_sd) ** 2 + spare))
    worst = max(rise_sd, fall_sd)
    if worst > WORST_M:
        return _untold(f"the lip is known to {worst * 1e3:.0f} mm, {WORST_M * 1e3:.0f} are allowed", len(z))
    return RoverLip(rise, rise_sd, fall, fall_sd, step, float(np.sqrt(fit.variance(step=1.0))), fit.shape, len(z), "")


def _untold(reason: str, points: int) -> RoverLip:
    nan = float("nan")
    return RoverLip(nan, nan, nan, nan, nan, nan, DEFAULT_BUMP, points, reason)


def fit_profile(walks: Sequence[Rows], length_m: float, shape: Bump | None = None) -> Profile:
    """Joint robust fit of one or two walks about one edge.

    walks    : earlier and later walk (or one): station, distance, height, each (n,), m, near the edge
    length_m : of the edge
    shape    : the lip's shape, kept; None: crest and widths are found with the rest (Gauss-Newton, priors SHAPE_SD)
    source   : Huber's M-estimate by reweighting; covariance s2 (X'X)^-1 by Huber 1981, 7.6 (from memory)
    """
    s, d, z = (np.concatenate([w[k] for w in walks]) for k in range(3))
    late = np.repeat(np.arange(len(walks), dtype=float), [len(w[0]) for w in walks])
    z = z - np.median(z)
    along = [spline(s, length_m, KNOT_M)]
    if len(walks) > 1:
        along.append(spline(s, length_m, DRIFT_KNOT_M) * late[:, None])
    fixed = sum(a.shape[1] for a in along)
    find, shape = shape is None, shape or DEFAULT_BUMP
    lip, step, sigma = 0.02, np.zeros(len(z)), ROVER.white_m
    for _ in range(RESHAPINGS):
        wanted, names = _across(d, late, shape, len(walks) > 1)
        extra, prior_sd, known = _nuisance(d, late, shape, max(lip, NO_LIP_M), step, find)
        design = np.column_stack([*along, wanted, extra])
        prior = np.concatenate([np.full(fixed + len(names), 1.0), prior_sd])
        beta, covariance, sigma = huber_fit(design, z + known, (sigma / prior) ** 2)
        value = dict(zip(names, beta[fixed:].tolist()))
        lip = value["lip"] + value.get("lip_gained", 0.0) / 2
        step = value["step"] + late * value.get("step_gained", 0.0)
        if find:
            shape = _reshaped(beta[-3:])
    block = slice(fixed, fixed + len(names))
    return Profile(value, covariance[block, block], shape, sigma, len(z))


def spline(s: np.ndarray, length_m: float, knot_m: float) -> np.ndarray:
    """Cubic spline along an edge, (n, k): a whole number of pieces of about knot_m."""
    pieces = max(int(round(length_m / knot_m)), 1)
    knots = np.concatenate([[0.0] * 3, np.linspace(0.0, length_m, pieces + 1), [length_m] * 3])
    return BSpline.design_matrix(np.clip(s, 0.0, length_m), knots, 3).toarray()


def _across(d: np.ndarray, late: np.ndarray, shape: Bump, two: bool) -> tuple[np.ndarray, tuple[str, ...]]:
    """Columns across the edge, and their names."""
    up, body = _ramp(d), bump(d, shape)
    if not two:
        return np.column_stack([d, up, body]), ("slope", "step", "lip")
    columns = np.column_stack([d, up, body, late * up, late * body])
    return columns, ("slope", "step", "lip", "step_gained", "lip_gained")


def _nuisance(d, late, shape: Bump, lip: float, step: np.ndarray, find: bool):
    """Columns of what is not known of the shapes, their prior s.d., and the height already explained.

    Where the grass begins and how wide that is; the later walk's sideways shift; last, if it is to be found, the lip's
    crest and widths as departures from DEFAULT_BUMP, linearised at `shape`: what its own departure already explains
    is to be added to what is fitted.
    """
    columns, prior, known = list((step[:, None] * _by_ramp(d)).T), list(RAMP_SD), np.zeros(len(d))
    if late.any():
        rises = lip * _by_distance(lambda x: bump(x, shape), d) + step * _by_distance(_ramp, d)
        columns.append(late * rises)
        prior.append(SIDEWAYS_M)
    if find:
        by_shape = lip * _by_shape(d, shape)
        known = by_shape @ (_numbers(shape) - _numbers(DEFAULT_BUMP))
        columns.extend(by_shape.T)
        prior.extend(SHAPE_SD)
    return np.column_stack(columns), np.asarray(prior), known


def _ramp(d: np.ndarray, start_m: float = RAMP_START_M, width_m: float = RAMP_WIDTH_M) -> np.ndarray:
    return ramp(d, start_m, width_m)


def _by_distance(shape, d: np.ndarray) -> np.ndarray:
    return (shape(d + H_M) - shape(d - H_M)) / (2 * H_M)


def _by_ramp(d: np.ndarray) -> np.ndarray:
    """Derivatives of the ramp by its start and its width, (n, 2), 1/m."""
    start = _ramp(d, RAMP_START_M + H_M) - _ramp(d, RAMP_START_M - H_M)
    width = _ramp(d, width_m=RAMP_WIDTH_M + H_M) - _ramp(d, width_m=RAMP_WIDTH_M - H_M)
    return np.column_stack([start, width]) / (2 * H_M)


def _numbers(shape: Bump) -> np.ndarray:
    return np.array([shape.crest, shape.w_in, shape.w_out])


def _by_shape(d: np.ndarray, shape: Bump) -> np.ndarray:
    """Derivatives of a unit bump by crest, w_in and w_out, (n, 3), 1/m."""
    at = _numbers(shape)
    return np.column_stack(
        [(bump(d, Bump(*(at + e))) - bump(d, Bump(*(at - e)))) / (2 * H_M) for e in np.eye(3) * H_M]
    )


def _reshaped(departure: np.ndarray) -> Bump:
    at = _numbers(DEFAULT_BUMP) + departure
    return Bump(*(float(np.clip(v, low, high)) for v, (low, high) in zip(at, SHAPE_LIMITS)))


def huber_fit(design: np.ndarray, z: np.ndarray, ridge: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Coefficients (k,), covariance (k, k), residual s.d. of a Huber fit.

    design : (n, k)
    z      : (n,)
    ridge  : (k,) residual variance over the prior variance of each coefficient about 0
    """
    plain = design.T @ design
    inverse = np.linalg.inv(plain + np.diag(ridge))
    free = max(len(z) - float(np.sum(inverse * plain)), 1.0)
    weight, beta = np.ones(len(z)), np.zeros(design.shape[1])
    for _ in range(REWEIGHTINGS):
        moved = np.linalg.solve((design.T * weight) @ design + np.diag(ridge), design.T @ (weight * z))
        residual = z - design @ moved
        scale = max(MAD_TO_SD * float(np.median(np.abs(residual))) * float(np.sqrt(len(z) / free)), 1e-9)
        weight = np.minimum(1.0, HUBER_K * scale / np.maximum(np.abs(residual), 1e-15))
        step, beta = float(np.abs(moved - beta).max()), moved
        if step < SETTLED_M:
            break
    inside = max(float(np.mean(np.abs(residual) <= HUBER_K * scale)), 0.1)
    variance = float(np.sum((weight * residual) ** 2)) / free / inside**2
    return beta, variance * inverse, float(np.sqrt(variance))
