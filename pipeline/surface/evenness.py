"""Evenness of a zone: how far its blocks leave a plane, and the gap under a straightedge. Noise is read back off both.

Planarity sees a crown and a sag over the whole zone, the straightedge what a foot or a ball meets within its length.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np
from numba import njit

from pipeline.frame import Grid
from pipeline.surface.block_heights import Smoother
from pipeline.surface.survey_error import SurveyError
from pipeline.surface.slope import ZonePlane
from pipeline.surface.unseen import covariance, kernel

SMOOTH_FWHM_M = 0.3
FWHM_TO_SD = 1.0 / (2.0 * np.sqrt(2.0 * np.log(2.0)))
EVERY_M = 0.5
PERCENTILE = 95.0
TOUCH_M = 1e-9
NOISE_PATCH_M, NOISE_FIELDS = 20.0, 8
DIRECTIONS = 8  # of the straightedge over half a turn: every 22.5 degrees
ON_CELL = 1e-9  # of a cell: a sample so near a cell's middle is that cell


@dataclass(frozen=True)
class BlockNoise:
    """Random errors of a survey on its block grid: shared (K, ny, nx), m, and unit normals for each block's own."""

    shared: np.ndarray
    unit: np.ndarray

    @classmethod
    def draw(cls, error: SurveyError, grid: Grid, count: int, rng: np.random.Generator) -> BlockNoise:
        return cls(error.fields(grid, np.zeros(grid.shape), count, rng), rng.standard_normal((count, *grid.shape)))

    def of(self, zone: ZonePlane) -> np.ndarray:
        """Errors of a zone's blocks, (K, ny, nx), m."""
        return self.shared + np.nan_to_num(zone.blocks.white) * self.unit


@dataclass(frozen=True)
class Planarity:
    """Root mean square departure of a zone from its plane (or its declared shape), m.

    value_m, sigma_m : noise taken out, and one s.d.
    raw_m, noise_m   : as measured, and what noise alone gives
    """

    value_m: float
    sigma_m: float
    raw_m: float
    noise_m: float


def crown(zone: ZonePlane, departures: np.ndarray) -> np.ndarray:
    """Departures less their own best smooth crown, a surface of second degree, (..., n) over the zone's held blocks.

    On a skin that is built crowned the crown is no unevenness; what is left is what a crew would level.
    """
    row, col = np.nonzero(zone.blocks.held)
    x, y = (v / max(float(np.ptp(v)), 1.0) for v in (col - col.mean(), row - row.mean()))
    basis = np.linalg.qr(np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1))[0]
    return departures - (departures @ basis) @ basis.T


def planarity(zone: ZonePlane, noise: BlockNoise, shape: np.ndarray | None = None, crowned: bool = False) -> Planarity:
    """Planarity sqrt(max(RMS^2 - RMS_noise^2, 0)) of a zone's block medians.

    shape : heights on the block grid that the zone is meant to have (a crown, a design), m; None: its robust plane.
            Only the departure's form counts, its mean is the tie's affair
    crowned : the zone is meant to be crowned, by how much nobody said: its own best crown is taken off
    The s.d. comes from the same figure on the surface with one more error; near 0 it is half the root of the s.d. of
    the square, which is what sqrt(max(normal, 0)) scatters by (0.48, integrated numerically). What unseen blocks may hold
    comes to it.
    """
    held = zone.blocks.held
    departure = zone.residual[held] if shape is None else (zone.blocks.value - shape)[held]
    departure = departure - departure.mean()
    errors = zone.residual_of(noise.of(zone)) if shape is None else noise.of(zone)[:, held]
    errors = errors - errors.mean(axis=1, keepdims=True)
    if crowned:
        departure, errors = crown(zone, departure), crown(zone, errors)
    raw2, noise2 = float((departure**2).mean()), float((errors**2).mean())
    spread2 = float(np.hypot(((departure + errors) ** 2).mean(axis=1).std(ddof=1), _hidden(zone, departure)))
    value = float(np.sqrt(max(raw2 - noise2, 0.0)))
    sigma = spread2 / (2.0 * max(value, np.sqrt(spread2))) if spread2 > 0 else 0.0
    return Planarity(value, float(sigma), float(np.sqrt(raw2)), float(np.sqrt(noise2)))


def _hidden(zone: ZonePlane, departure: np.ndarray) -> float:
    """One s.d. of the whole zone's mean square departure by what unseen blocks may hold, m2."""
    held, unseen = zone.blocks.held, zone.unseen
    if not unseen.any():
        return 0.0
    square = np.full(held.shape, np.nan)
    square[held] = departure**2 - (departure**2).mean()
    weights = np.where(unseen, 1.0 / unseen.sum(), 0.0) - np.where(held, 1.0 / held.sum(), 0.0)
    share = unseen.sum() / (unseen.sum() + held.sum())
    return float(share * np.sqrt(covariance(weights[None], kernel(square))[0, 0]))


@dataclass(frozen=True)
class Straightedge:
    """Gaps under a straightedge on a zone, m; NaN where no straightedge lies wholly on measured skin.

    value_m  : 95th percentile with the noise taken out, sqrt(max(raw^2 - noise^2, 0))
    raw_m    : 95th percentile as measured
    noise_m  : the same on ground that is plane
    count    : straightedges laid
    sigma_m  : one s.d. of value_m; NaN where no noisy surfaces were laid on
    over_share : share of the gaps that are over the limit asked about, as measured; NaN without a limit
    """

    value_m: float
    raw_m: float
    noise_m: float
    count: int
    sigma_m: float = nan
    over_share: float = nan


def straightedge(
    z: np.ndarray, grid: Grid, zone: np.ndarray, usable: np.ndarray, length_m: float, noise_m: float,
    errors: np.ndarray | None = None, limit_m: float | None = None,
) -> Straightedge:  # fmt: skip
    """Gap under a straightedge over a zone, laid in every direction.

    zone    : bool, cells over which the middle of the straightedge may stand
    usable  : bool, ground on which the whole straightedge must lie: skin less mound, keep-outs, strip by the grass
    noise_m : from `noise_gap` with the same length
    errors  : (K, ny, nx) random errors of the survey, m; the s.d. comes from the same figure with one more of them laid on,
              as for `planarity`
    A small zone is judged by straightedges that reach beyond it.
    """
    smoother = Smoother(usable & np.isfinite(z), grid.cell_m, SMOOTH_FWHM_M * FWHM_TO_SD)
    smooth, centres, half = smoother.heights(z), zone & lattice(grid), half_samples(length_m, grid.cell_m)
    found = gaps(smooth, centres, half)
    if not len(found):
        return Straightedge(nan, nan, noise_m, 0)
    raw = float(np.percentile(found, PERCENTILE))
    value = float(np.sqrt(max(raw**2 - noise_m**2, 0.0)))
    sigma = nan
    if errors is not None:
        spread2 = float(np.std([np.percentile(gaps(smooth + smoother.errors(e), centres, half), PERCENTILE) ** 2 for e in errors], ddof=1))
        sigma = spread2 / (2.0 * max(value, np.sqrt(spread2))) if spread2 > 0 else 0.0
    over = nan if limit_m is None else float((found > limit_m).mean())
    return Straightedge(value, raw, noise_m, len(found), sigma, over)


def noise_gaps(error: SurveyError, white_m: float, cell_m: float, length_m: float, rng: np.random.Generator) -> np.ndarray:
    """Gaps that noise alone makes on plane ground, m.

    white_m : one s.d. of a cell's independent error, the zone's root mean square, m
    A straightedge sees its own length only, so patches of NOISE_PATCH_M stand for any zone.
    """
    side = int(round(max(NOISE_PATCH_M, 3 * length_m) / cell_m))
    grid = Grid("", 0, side, cell_m, side, side)
    held = np.ones(grid.shape, bool)
    smoother = Smoother(held, cell_m, SMOOTH_FWHM_M * FWHM_TO_SD)
    centres, half = lattice(grid), half_samples(length_m, cell_m)
    patch = SurveyError(error.noise, error.centre, np.zeros((4, 4)))  # shift and tilt leave no gap
    fields = patch.fields(grid, np.full(grid.shape, white_m), NOISE_FIELDS, rng)
    return np.concatenate([gaps(smoother.errors(f), centres, half) for f in fields])


def noise_gap(error: SurveyError, white_m: float, cell_m: float, length_m: float, rng: np.random.Generator) -> float:
    """95th percentile of `noise_gaps`, m."""
    return float(np.percentile(noise_gaps(error, white_m, cell_m, length_m, rng), PERCENTILE))


def half_samples(length_m: float, cell_m: float) -> int:
    """Samples on each side of the middle one."""
    return max(int(round(length_m / cell_m / 2)), 1)


def lattice(grid: Grid) -> np.ndarray:
    """Cells every EVERY_M in both directions, fixed to the working CRS, (ny, nx) bool."""
    step = max(int(round(EVERY_M / grid.cell_m)), 1)
    return ((grid.row0 - np.arange(grid.ny)) % step == 0)[:, None] & ((grid.col0 + np.arange(grid.nx)) % step == 0)


def gaps(z: np.ndarray, centres: np.ndarray, half: int, directions: int = DIRECTIONS) -> np.ndarray:
    """Gap under each straightedge with its middle over a centre, laid in each of some directions, (count,), m.

    z          : (ny, nx), m; a straightedge that meets a NaN or the border is not laid
    half       : samples on each side of the middle, one cell apart; between cells the surface is bilinear
    directions : over half a turn, the first along the rows
    The edge rests on the segment of the upper hull that holds the middle sample, and the gap is the greatest depth
    between its two contacts; where the middle sample is itself a contact, the wider of the gaps on its two sides.
    What comes within TOUCH_M of the straightedge touches it, so that rounding does not decide.
    source  : as EN 13036-7 and ACI 117 measure (from memory)
    """
    found = gaps_each(z, centres, half, directions)[2].ravel()
    return found[found >= 0]


def gaps_each(z: np.ndarray, centres: np.ndarray, half: int, directions: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows and columns of the centres, and each one's gap in each direction, (centres, directions), m; -1 where none is laid."""
    row, col = np.nonzero(centres)
    turn = np.pi * np.arange(directions) / directions
    found = _gaps(np.ascontiguousarray(z, np.float64), row, col, half, -np.sin(turn), np.cos(turn))
    return row, col, found.reshape(-1, directions)


@njit(cache=True, nogil=True)
def _gaps(z, row, col, half, down, right):
    """A gap for each centre and direction; -1 where the straightedge cannot be laid."""
    ways = len(down)
    out = np.full(ways * len(row), -1.0)
    line = np.empty(2 * half + 1)
    for i in range(len(row)):
        for way in range(ways):
            held = True
            for k in range(2 * half + 1):
                line[k] = _between(z, row[i] + (k - half) * down[way], col[i] + (k - half) * right[way]) - z[row[i], col[i]]
                held = held and not np.isnan(line[k])
            if held:
                out[ways * i + way] = _gap(line, half)
    return out


@njit(cache=True, nogil=True)
def _between(z, r, c):
    """Height between four cells; NaN beyond the raster or where one of those it needs is."""
    r0, c0 = int(np.floor(r + ON_CELL)), int(np.floor(c + ON_CELL))
    u, v = r - r0, c - c0
    r1 = r0 if u < ON_CELL else r0 + 1
    c1 = c0 if v < ON_CELL else c0 + 1
    if r0 < 0 or c0 < 0 or r1 >= z.shape[0] or c1 >= z.shape[1]:
        return np.nan
    u, v = max(u, 0.0), max(v, 0.0)
    return (1 - u) * ((1 - v) * z[r0, c0] + v * z[r0, c1]) + u * ((1 - v) * z[r1, c0] + v * z[r1, c1])


@njit(cache=True, nogil=True)
def _gap(line, middle):
    """Gap about sample `middle` of one profile with equal spacing."""
    hull = np.empty(len(line), np.int64)
    n = 0
    for k in range(len(line)):
        while n >= 2 and (line[hull[n - 1]] - line[hull[n - 2]] + TOUCH_M) * (k - hull[n - 2]) < (
            line[k] - line[hull[n - 2]]
        ) * (hull[n - 1] - hull[n - 2]):
            n -= 1
        hull[n] = k
        n += 1
    widest = 0.0
    for s in range(n - 1):
        a, b = hull[s], hull[s + 1]
        if a <= middle <= b:
            for k in range(a + 1, b):
                widest = max(widest, line[a] + (line[b] - line[a]) * (k - a) / (b - a) - line[k])
    return widest
