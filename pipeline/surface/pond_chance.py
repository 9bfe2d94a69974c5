"""How sure a pond is: the same flood on surfaces that carry one more error of the survey.

Added noise counts twice, so it is read both ways. P1 is the share of noisy surfaces on which the place holds more than
the tolerance; P2 is the same with the departures reflected about what was seen (basic bootstrap, Davison & Hinkley
1997, from memory); the probability is the lower of the two. That still trusts too many ponds where the ground is flat
and the survey weak, so the same errors are also laid on the field's own form without its hollows: how often noise alone
makes a pond as deep somewhere on the field is the last judge.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np
from scipy import ndimage

from pipeline.frame import Grid
from pipeline.surface.block_heights import Smoother, block_grid, block_of, block_share, blocks
from pipeline.surface.flood import fill
from pipeline.surface.ponds import EIGHT, SMOOTH_SD_M, WET_M, Ponding, deepest_of, walls
from pipeline.surface.survey_error import SurveyError

FIELDS = 32
BLOCK_M = 0.2  # the noisy floods run on block means of this size
GROWN_M = 0.4
FORM_STEPS = 5
VOLUME_WIDER = 1.35  # the plain s.d. of the volume covers 82-90 % (measured)


@dataclass(frozen=True)
class Chance:
    """What the noisy floods say of one place; NaN where there was nothing to say.

    depth_sigma_m, volume_sigma_m3 : one s.d.
    probability : that the true depth is over the tolerance, at most 1 - 1/K; NaN without a tolerance
    by_noise    : ponds at least as deep that noise alone makes on the whole field, on average
    shut_by_noise : the same for its depth with every hole in the data shut, which is the most it can be
    """

    depth_sigma_m: float
    volume_sigma_m3: float
    probability: float
    by_noise: float
    shut_by_noise: float


def grown(ponding: Ponding, grid: Grid, asked: np.ndarray) -> list[np.ndarray]:
    """Each pond's cells grown by GROWN_M on the ground asked for, without the cells of other ponds; flat indices."""
    taken = np.zeros(grid.ny * grid.nx, bool)
    for pond in ponding.ponds:
        taken[pond.cells] = True
    taken = taken.reshape(grid.shape)
    reach = int(round(GROWN_M / grid.cell_m))
    step = np.arange(-reach, reach + 1)
    disc = np.hypot(step, step[:, None]) <= GROWN_M / grid.cell_m + 1e-9
    out = []
    for pond in ponding.ponds:
        row, col = pond.cells // grid.nx, pond.cells % grid.nx
        r0, c0 = max(row.min() - reach, 0), max(col.min() - reach, 0)
        box = np.s_[r0 : row.max() + reach + 1, c0 : col.max() + reach + 1]
        own = np.zeros(taken[box].shape, bool)
        own[row - r0, col - c0] = True
        wide = ndimage.binary_dilation(own, disc) & asked[box] & (~taken[box] | own)
        rr, cc = np.nonzero(wide)
        out.append((rr + r0) * grid.nx + cc + c0)
    return out


def pond_chances(
    ponding: Ponding,
    regions: list[np.ndarray],
    z: np.ndarray,
    white: np.ndarray,
    grid: Grid,
    asked: np.ndarray,
    error: SurveyError,
    tolerance_m: float | None,
    rng: np.random.Generator,
    count: int = FIELDS,
    soft: tuple[np.ndarray, float] | None = None,
) -> tuple[Chance, ...]:
    """Depth and volume s.d. of each region's water and the chance that it is over the tolerance.

    regions : flat cell indices; of each, the greatest depth and the volume are read
    soft    : cells whose height carries one more error in common, and its s.d., m: grass whose canopy was taken off
    Measured against floods on the cells themselves: see benchmarks/condition.py.
    """
    factor = max(int(BLOCK_M / grid.cell_m + 1e-9), 1)
    coarse = block_grid(grid, factor)[0]
    over = block_share(ponding.ground, grid, factor) >= 0.5
    b = blocks(z, grid, factor, white, ponding.ground)
    held = over & b.held
    kernel = np.sqrt(max(SMOOTH_SD_M**2 - (factor**2 - 1) / 12 * grid.cell_m**2, 0.0))
    smoother = Smoother(held, coarse.cell_m, kernel, twice=True)
    base = smoother.heights(b.value)
    wall = walls(over & ~held, coarse.cell_m) if (over & ~held).any() else None
    wet_asked = block_share(asked, grid, factor) >= 0.5
    where = _Regions([in_blocks(r, grid, factor) for r in regions])
    seen = _Regions(regions).greatest(np.nan_to_num(ponding.depth))

    def depths(surface: np.ndarray) -> np.ndarray:
        return np.where(wet_asked, np.nan_to_num(fill(surface, wall) - surface), 0.0)

    first = depths(base)
    coarsely = where.greatest(first)
    shift = seen - coarsely
    form = _form(base, wet_asked & held)
    own = depths(form) > WET_M
    soft_share = None if soft is None else block_share(soft[0], grid, factor)
    depth, volume = np.zeros((count, len(regions))), np.zeros((count, len(regions)))
    noise = [np.empty(0)]
    for k, field in enumerate(error.fields(coarse, np.where(held, b.white, 0.0), count, rng)):
        smooth = smoother.errors(field)
        noise.append(_made_by_noise(depths(form + smooth), own))
        if soft_share is not None:  # grass of unknown height dams at the edge alone: no reason to doubt ponds elsewhere
            smooth = smoother.errors(field + soft_share * (soft[1] * rng.standard_normal()))
        now = depths(base + smooth)
        depth[k] = where.greatest(now) + shift
        volume[k] = where.total(now) * coarse.cell_area_m2
    alone = np.sort(np.concatenate(noise))
    by_noise, shut_by_noise = ((len(alone) - np.searchsorted(alone, depth_m)) / count for depth_m in (coarsely, seen))
    sigma, volume_sigma = depth.std(axis=0, ddof=1), VOLUME_WIDER * volume.std(axis=0, ddof=1)
    chance = np.full(len(regions), nan) if tolerance_m is None else _probability(depth, seen, tolerance_m)
    return tuple(Chance(*(float(v) for v in row)) for row in zip(sigma, volume_sigma, chance, by_noise, shut_by_noise))


def _probability(noisy: np.ndarray, seen: np.ndarray, tolerance_m: float) -> np.ndarray:
    """Chance of each region being over the tolerance, from K noisy depths (K, regions) and the depths seen."""
    as_drawn, reflected = (noisy > tolerance_m).mean(axis=0), (2 * seen - noisy > tolerance_m).mean(axis=0)
    return np.minimum(np.minimum(as_drawn, reflected), 1.0 - 1.0 / len(noisy))


class _Regions:
    """Several sets of cells (flat indices), read together."""

    def __init__(self, regions: list[np.ndarray]):
        self.some = np.array([len(r) > 0 for r in regions], bool)
        full = [r for r in regions if len(r)]
        self.cells = np.concatenate(full) if full else np.empty(0, int)
        self.starts = np.cumsum([0, *(len(r) for r in full)])[:-1] if full else np.empty(0, int)

    def _each(self, read, raster: np.ndarray) -> np.ndarray:
        out = np.zeros(len(self.some))
        if len(self.cells):
            out[self.some] = read(raster.ravel()[self.cells], self.starts)
        return out

    def greatest(self, raster: np.ndarray) -> np.ndarray:
        return self._each(np.maximum.reduceat, raster)

    def total(self, raster: np.ndarray) -> np.ndarray:
        return self._each(np.add.reduceat, raster)


def in_blocks(cells: np.ndarray, grid: Grid, factor: int) -> np.ndarray:
    """Flat indices of the blocks of which at least half lies in the cells; all they touch where there is none."""
    number, share = np.unique(block_of(cells, grid, factor), return_counts=True)
    most = number[share >= 0.5 * factor**2]
    return most if len(most) else number


def _form(z: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """The field's own form: a robust quadratic through the chosen cells, NaN where z is, m."""
    rows, cols = (np.arange(n) / max(n - 1, 1) - 0.5 for n in z.shape)
    v, u = np.broadcast_arrays(rows[:, None], cols)
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v])
    if chosen.sum() <= 2 * len(terms):
        return np.where(np.isfinite(z), 0.0, np.nan)
    design, h = terms[:, chosen], z[chosen]
    z0 = h.mean()
    h = h - z0
    weight = np.ones_like(h)
    for _ in range(FORM_STEPS):
        moved = design * weight
        normal = np.array([[(p * q).sum() for q in moved] for p in design])
        b = np.linalg.lstsq(normal, np.array([(p * h).sum() for p in moved]), rcond=None)[0]
        left = np.abs(h - (b[:, None] * design).sum(axis=0))
        scale = max(1.4826 * float(np.median(left)), 1e-9)
        weight = np.minimum(1.0, 1.345 * scale / np.maximum(left, 1e-12))  # Huber
    return np.where(np.isfinite(z), z0 + (b[:, None, None] * terms).sum(axis=0), np.nan)


def _made_by_noise(depth: np.ndarray, own: np.ndarray) -> np.ndarray:
    """Depths of the ponds that touch none of the form's own."""
    number, count = ndimage.label(depth > WET_M, EIGHT)
    if count == 0:
        return np.empty(0)
    return np.delete(deepest_of(depth, number, count), np.unique(number[own & (number > 0)]) - 1)
