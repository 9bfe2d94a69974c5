"""What it takes to bring the mix to the owner's least depth: volume, tonnes and their ranges, by draws of depths that may be true."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from pipeline.frame import Grid
from pipeline.survey.noise import Noise
from pipeline.survey.stable.correlated import error_fields
from pipeline.surface.mix_depth import MixDepth, columns_of, krige, matern

DRAWS = 400


@dataclass(frozen=True)
class Restore:
    """Mix to bring the ground to a wanted depth, over what the cores speak for alone.

    volume_m3    : placed, its expectation; low95, high95: 95 % range
    tonnes       : the same by the placed density; NaN without one
    short_m2     : expected area that is less deep than wanted
    sure_m2      : area where that is 80 % sure or more
    untold_m2    : ground asked for that is not in any of these
    reason       : what is missing, or ``
    """

    volume_m3: float
    volume_low95_m3: float
    volume_high95_m3: float
    tonnes: float
    tonnes_low95: float
    tonnes_high95: float
    short_m2: float
    sure_m2: float
    untold_m2: float
    reason: str


def depth_draws(mix: MixDepth, count: int, rng: np.random.Generator) -> np.ndarray:
    """Depths that may be true, given the cores, (count, told cells), m.

    Each draw: one of the models by its weight, a random field with its errors at the cores, the field less its own
    kriging from those, onto the kriged depth (conditioning by kriging, Journel & Huijbregts 1978, from memory). The
    cores stand in the middle of their cells for this. What age does to all cores is one draw for all ground.
    """
    places, values, own = columns_of(mix.cores)
    e, n = mix.grid.mesh()
    told = mix.told
    at = np.column_stack([e[told], n[told]])
    grown, off = _around(mix.grid, places)
    row, col = grown.rows_cols(places[:, 0], places[:, 1])
    ce, cn = (v[row, col] for v in grown.mesh())
    snapped = np.column_stack([ce, cn])
    out = np.empty((count, len(at)))
    chosen = np.searchsorted(np.cumsum([w for *_, w in mix.models]), rng.random(count)).clip(max=len(mix.models) - 1)
    errors = rng.standard_normal((count, len(values))) * np.sqrt(own)
    window = np.s_[off[0] : off[0] + mix.grid.ny, off[1] : off[1] + mix.grid.nx]
    for k, (sd, range_m, _) in enumerate(mix.models):
        mine = np.flatnonzero(chosen == k)
        if not len(mine):
            continue
        found = krige(places, values, own, matern(sd, range_m), at)
        weights = krige(snapped, values, own, matern(sd, range_m), at).weights
        fields = error_fields(Noise(0.0, ((sd, range_m),), 0.0, 0.0, 0.0, 0.0), grown.shape, grown.cell_m, len(mine), rng, 0.0)
        for j, field in zip(mine, fields):
            read = field[row, col] + errors[j]
            out[j] = found.value + field[window][told] - np.einsum("kc,c->k", weights, read)
    return out + rng.standard_normal((count, 1)) * mix.aged_m[told]


def restore(
    mix: MixDepth, wanted_m: float | None, placed_t_per_m3: float | None, density_sigma: float, rng: np.random.Generator,
    draws: int = DRAWS, drawn: np.ndarray | None = None,
) -> Restore:  # fmt: skip
    """What it takes to bring the mix to a wanted depth everywhere it is short.

    wanted_m        : the owner's `mix_depth_min_mm`, m, or None
    placed_t_per_m3 : the owner's, or None; density_sigma: one s.d. of it, same unit
    drawn           : of `depth_draws` of this mix, where they were made already
    The expectation is a closed form, E max(w - d, 0) = s phi(z) + (w - d) Phi(z), z = (w - d) / s; the range is by draws,
    because neighbours err together.
    """
    nan = float("nan")
    if mix.reason or wanted_m is None:
        why = mix.reason or "no tolerance: mix_depth_min_mm"
        return Restore(nan, nan, nan, nan, nan, nan, nan, nan, mix.untold_m2, why)
    area = mix.grid.cell_area_m2
    depth, sigma = mix.depth_m[mix.told], np.maximum(mix.sigma_m[mix.told], 1e-9)
    z = (wanted_m - depth) / sigma
    volume = float((sigma * np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi) + (wanted_m - depth) * ndtr(z)).sum() * area)
    lacking = np.maximum(wanted_m - (depth_draws(mix, draws, rng) if drawn is None else drawn), 0.0).sum(axis=1) * area
    low, high = (float(v) for v in np.quantile(lacking, (0.025, 0.975)))
    chance = ndtr(z)
    short, sure = float(chance.sum() * area), float((chance >= 0.8).sum() * area)
    if placed_t_per_m3 is None:
        return Restore(volume, low, high, nan, nan, nan, short, sure, mix.untold_m2, "no placed density: placed_t_per_m3")
    weighed = lacking * np.maximum(placed_t_per_m3 + density_sigma * rng.standard_normal(len(lacking)), 0.0)
    light, heavy = (float(v) for v in np.quantile(weighed, (0.025, 0.975)))
    return Restore(volume, low, high, volume * placed_t_per_m3, light, heavy, short, sure, mix.untold_m2, "")


def _around(grid: Grid, places: np.ndarray) -> tuple[Grid, tuple[int, int]]:
    """A grid grown to hold the places too, and the old grid's first row and column in it."""
    row, col = grid.rows_cols(places[:, 0], places[:, 1])
    north, west = max(-int(row.min()), 0), max(-int(col.min()), 0)
    south, east = max(int(row.max()) + 1 - grid.ny, 0), max(int(col.max()) + 1 - grid.nx, 0)
    grown = Grid(grid.crs, grid.col0 - west, grid.row0 + north, grid.cell_m, grid.ny + north + south, grid.nx + west + east)
    return grown, (north, west)
