"""The noise that a pair of surveys shows: correlated parts fitted to the variogram of its difference."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import nnls

from pipeline.survey.noise import Noise
from pipeline.survey.plane import HUBER_K, MAD_TO_SD
from pipeline.survey.stable.correlated import cell_covariance
from pipeline.survey.stable.drift import drift_basis
from pipeline.survey.stable.variogram import Variogram, binned

LARGEST_SHARE = 0.5  # a part whose range is over half the zone cannot be seen in it
WINSOR = 3.5  # robust s.d. beyond which a residual is drawn in
BLOCKS = 350  # what taking off plane and dome hides is worked out on about so many blocks
DRIFT_VARIANCE_M2 = 1.0  # of shift, tilt, dome where they are taken as unknown
VARIOGRAM_SHARE = 0.5  # of the information behind a variance that a variogram fit keeps
LIKE_RANGES = 3.0  # parts within such a factor of range are fitted as one
PRIOR_FREEDOM = 12.0  # degrees of freedom that the declared noise counts for against what pairs show


@dataclass(frozen=True)
class NoiseFit:
    """Correlated parts of a pair's difference.

    noise   : the declared model with the fitted s.d. where a part could be fitted
    fitted  : one for each part: True where it was fitted, False where the declared value stands
    freedom : one for each part: independent pieces of information behind its variance, 0 where not fitted
    zone_m  : size of the zone, root of its area, m
    variogram : what was fitted, of the residual
    ratios  : one for each group of like parts, see `like_parts`: found variance over declared, 1 where not fitted
    """

    noise: Noise
    fitted: tuple[bool, ...]
    freedom: tuple[float, ...]
    zone_m: float
    variogram: Variogram
    ratios: tuple[float, ...]


def fit_noise(dz: np.ndarray, cell_m: float, declared: Noise, white: np.ndarray | float) -> NoiseFit:
    """Correlated parts of a pair from the difference over its skin.

    dz       : later minus earlier, (ny, nx), m; NaN off the skin and wherever work was done between the dates
    declared : the pair's declared model; its ranges are kept, and parts of like range move together
    white    : one s.d. of a cell's own error in dz, m, a number or (ny, nx)
    Real change between the dates is read as noise, so what is found is at least the noise. Plane and dome are taken off
    first; what that hides of each part is worked out and given back.
    """
    seen = np.isfinite(dz)
    zone_m = float(np.sqrt(seen.sum()) * cell_m)
    residual = _drawn_in(_without_drift(dz, cell_m))
    variogram, bin_of, pairs = binned(residual, cell_m, zone_m / 2)
    own = float(np.mean(np.broadcast_to(white, dz.shape)[seen] ** 2))
    blocks = _Blocks(seen, cell_m)
    correlations = [blocks.correlation(range_m) for _, range_m in declared.parts]
    shapes = [
        _expected(range_m, cell_m, bin_of, pairs) - blocks.hidden(c, variogram.distance_m)
        for (_, range_m), c in zip(declared.parts, correlations)
    ]
    groups = like_parts(declared)
    shares = [_shares(declared, g) for g in groups]
    fits = np.array([declared.parts[g[-1]][1] <= LARGEST_SHARE * zone_m for g in groups], bool)
    whole = np.array([sum(declared.parts[i][0] ** 2 for i in g) for g in groups])
    shapes, correlations = ([sum(w * of[i] for w, i in zip(ws, g)) for ws, g in zip(shares, groups)] for of in (shapes, correlations))
    variances = whole.copy()
    rest = variogram.gamma_m2 - own - sum(v * s for v, s, fit in zip(variances, shapes, fits) if not fit)
    variances[fits] = _non_negative([s for s, fit in zip(shapes, fits) if fit], rest, variogram.gamma_m2)
    freedom = np.where(fits, blocks.freedom(correlations, variances, own), 0.0)
    group_of = {i: k for k, g in enumerate(groups) for i in g}
    parts = tuple(
        (float(np.sqrt(variances[group_of[i]] * shares[group_of[i]][groups[group_of[i]].index(i)])) if fits[group_of[i]] else sd, range_m)
        for i, (sd, range_m) in enumerate(declared.parts)
    )
    of_part = [group_of[i] for i in range(len(declared.parts))]
    ratios = np.where(fits & (whole > 0), variances / np.where(whole > 0, whole, 1.0), 1.0)
    return NoiseFit(
        replace(declared, parts=parts), tuple(bool(fits[k]) for k in of_part), tuple(float(freedom[k]) for k in of_part), zone_m,
        variogram, tuple(ratios.tolist()),
    )  # fmt: skip


def like_parts(noise: Noise) -> list[list[int]]:
    """Indices of parts by range, shortest first, those within LIKE_RANGES of a group's shortest together: two dates of one
    source differ a little in range, and no variogram tells 0.15 m from 0.25 m."""
    groups: list[list[int]] = []
    for i in sorted(range(len(noise.parts)), key=lambda i: noise.parts[i][1]):
        if groups and noise.parts[i][1] <= LIKE_RANGES * noise.parts[groups[-1][0]][1]:
            groups[-1].append(i)
        else:
            groups.append([i])
    return groups


def _shares(noise: Noise, group: list[int]) -> list[float]:
    """Each part's share of its group's declared variance."""
    variances = [noise.parts[i][0] ** 2 for i in group]
    return [v / sum(variances) for v in variances] if sum(variances) > 0 else [1.0 / len(group)] * len(group)


def combined(declared: Noise, fits: list[NoiseFit]) -> Noise:
    """Declared noise of a pair and what some pairs of the same sources showed, never narrower than the evidence allows.

    The variance of each group of like parts is the mean of the declared one and the found ones by degrees of freedom (the
    declared one counts PRIOR_FREEDOM), times f / (f - 2): the posterior mean of a variance. So few surveys widen rather
    than narrow; a group that no pair could fit keeps the declared value.
    source : scaled inverse chi-square prior (Gelman et al. 2013, 2.6, from memory)
    """
    parts = list(declared.parts)
    for k, group in enumerate(like_parts(declared)):
        found = [(fit.ratios[k], _group_freedom(fit, k)) for fit in fits if len(fit.ratios) == len(like_parts(declared))]
        total = PRIOR_FREEDOM + sum(f for _, f in found)
        if total == PRIOR_FREEDOM:
            continue
        ratio = (PRIOR_FREEDOM + sum(r * f for r, f in found)) / (total - 2.0)
        for i in group:
            parts[i] = (declared.parts[i][0] * float(np.sqrt(ratio)), declared.parts[i][1])
    return replace(declared, parts=tuple(parts))


def _group_freedom(fit: NoiseFit, k: int) -> float:
    return fit.freedom[like_parts(fit.noise)[k][0]]


def _without_drift(dz: np.ndarray, cell_m: float) -> np.ndarray:
    """dz less its robust shift, tilt and dome, (ny, nx): Huber's weights, ten rounds."""
    seen = np.isfinite(dz)
    row, col = np.nonzero(seen)
    design = _basis(row * cell_m, col * cell_m)
    z = dz[seen]
    weight = np.ones_like(z)
    for _ in range(10):
        moved = design.T * weight
        residual = z - design @ np.linalg.solve(moved @ design, moved @ z)
        scale = MAD_TO_SD * np.median(np.abs(residual))
        if scale == 0.0:
            break
        weight = np.minimum(1.0, HUBER_K * scale / np.maximum(np.abs(residual), 1e-300))
    out = np.full(dz.shape, np.nan)
    out[seen] = residual
    return out


def _drawn_in(residual: np.ndarray) -> np.ndarray:
    """Residuals with what lies beyond WINSOR robust s.d. drawn in to there."""
    limit = WINSOR * MAD_TO_SD * np.nanmedian(np.abs(residual))
    return np.clip(residual, -limit, limit)


def _basis(n: np.ndarray, e: np.ndarray) -> np.ndarray:
    return drift_basis(e, n, (float(e.mean()), float(n.mean())))


def _expected(range_m: float, cell_m: float, bin_of: np.ndarray, pairs: np.ndarray) -> np.ndarray:
    """Variogram of a unit part averaged over each bin's pairs, (b,)."""
    ny, nx = (n // 2 + 1 for n in bin_of.shape)
    quarter = cell_covariance(_unit(range_m), cell_m, np.arange(ny), np.arange(nx))
    rows, cols = np.abs(np.arange(-ny + 1, ny)), np.abs(np.arange(-nx + 1, nx))
    inside = bin_of >= 0
    gamma = (quarter[0, 0] - quarter[np.ix_(rows, cols)])[inside]
    return np.bincount(bin_of[inside], gamma * pairs[inside]) / np.bincount(bin_of[inside], pairs[inside])


class _Blocks:
    """The zone in some hundred square blocks: small enough for whole covariance matrices between them."""

    def __init__(self, seen: np.ndarray, cell_m: float):
        row, col = np.nonzero(seen)
        self.step = max(int(np.ceil(np.sqrt(len(row) / BLOCKS))), 1)
        block, count = np.unique(np.column_stack([row // self.step, col // self.step]), axis=0, return_counts=True)
        held = count >= self.step**2 / 2
        self.block, self.count = block[held], count[held]
        self.size_m = self.step * cell_m
        n, e = self.block.T * self.size_m
        self.basis = _basis(n, e)
        self.apart_m = np.hypot(n[:, None] - n, e[:, None] - e)

    def correlation(self, range_m: float) -> np.ndarray:
        """Covariance between the blocks' means of a unit part."""
        row, col = self.block.T - self.block.min(axis=0)[:, None]
        quarter = cell_covariance(_unit(range_m), self.size_m, np.arange(row.max() + 1), np.arange(col.max() + 1))
        return quarter[np.abs(row[:, None] - row), np.abs(col[:, None] - col)]

    def hidden(self, correlation: np.ndarray, distance_m: np.ndarray) -> np.ndarray:
        """What taking shift, tilt and dome off hides of a unit part's variogram at distances, (b,).

        P rho P' in place of rho, P = I - X (X'X)^-1 X'.
        """
        x, pinv = self.basis, np.linalg.pinv(self.basis)
        left = correlation - x @ (pinv @ correlation)
        left = left - (left @ x) @ pinv
        gone = correlation - left
        own = np.diag(gone)
        lost = (own[:, None] + own) / 2 - gone
        edges = np.geomspace(self.size_m * 0.9, self.apart_m.max() + 1e-6, 16)
        apart = self.apart_m > 0
        which = np.searchsorted(edges, self.apart_m[apart], side="right")
        pairs = np.bincount(which)
        held = pairs > 0
        at = np.bincount(which, self.apart_m[apart])[held] / pairs[held]
        mean = np.bincount(which, lost[apart])[held] / pairs[held]
        return np.interp(distance_m, np.concatenate([[0.0], at]), np.concatenate([[0.0], mean]))

    def freedom(self, correlations: list[np.ndarray], variances: np.ndarray, own_m2: float) -> np.ndarray:
        """Degrees of freedom behind each fitted variance, the parts having to be told apart, (k,).

        2 s^4 / var(s^2), var from the Fisher information 1/2 tr(V^-1 C_i V^-1 C_j) of the restricted likelihood
        (Harville 1977, from memory), times VARIOGRAM_SHARE.
        """
        v = DRIFT_VARIANCE_M2 * self.basis @ self.basis.T + np.diag(own_m2 / self.count)
        for variance, c in zip(variances, correlations):
            v = v + variance * c
        inverse = np.linalg.inv(v)
        solved = [inverse @ c for c in correlations]
        information = np.array([[0.5 * float(np.sum(a * b.T)) for b in solved] for a in solved])
        spread = np.diag(np.linalg.inv(information))
        return VARIOGRAM_SHARE * 2.0 * variances**2 / spread


def _unit(range_m: float) -> Noise:
    return Noise(0.0, ((1.0, range_m),), 0.0, 0.0, 0.0, 0.0)


def _non_negative(shapes: list[np.ndarray], rest: np.ndarray, gamma: np.ndarray) -> list[float]:
    """Variances >= 0 of the parts, each bin weighted by one over its variogram."""
    if not shapes:
        return []
    weight = 1.0 / np.maximum(gamma, 1e-12)
    return list(nnls(np.column_stack(shapes) * weight[:, None], rest * weight)[0])
