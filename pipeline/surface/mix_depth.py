"""How deep the mix lies over its base: cores kriged with a constant mean, and what follows from it for a blade.

Nothing is known without a core, and nothing beyond 10 m of one. Below 8 cores the depth's own spread is taken for 25 mm;
from 8 on the cores tell spread and range, and how little they tell them is in the s.d.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Callable, Mapping, Sequence

import numpy as np
from scipy.special import ndtr, ndtri

from pipeline.diamond.layout import Feature
from pipeline.diamond.places import Place
from pipeline.frame import Grid
from pipeline.survey.noise import Noise, matern32
from pipeline.survey.stable.correlated import error_fields
from pipeline.units import LENGTH_UNITS

REACH_M = 10.0
TOLD_FROM = 8
DECLARED_SD_M = 0.025
DECLARED_RANGE_M = 6.0  # Matern 3/2; a guess: mix is dragged over some metres
CORE_SD_M = 0.005  # one core's reading, and the base's own bumps under it; a guess
TRIED_SD_M = (0.008, 0.012, 0.018, 0.025, 0.035, 0.050, 0.070)
TRIED_RANGE_M = (2.0, 3.5, 6.0, 10.0, 17.0)
SD_FACTOR, RANGE_FACTOR = 2.0, 2.0  # one s.d. of the logarithms of both about what is declared, before looking
BLOCK_M = 0.5
DRAWS = 400
SURE = 0.95  # that a blade stays in the mix


@dataclass(frozen=True)
class Core:
    """One depth of mix: `sigma_m` one s.d. of the reading; easting, northing and depth in m."""

    core_id: str
    e: float
    n: float
    depth_m: float
    taken_on: dt.date | None = None
    sigma_m: float = CORE_SD_M


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
    reason  : why there is no figure at all, or ``
    """

    grid: Grid
    depth_m: np.ndarray
    sigma_m: np.ndarray
    asked: np.ndarray
    models: tuple[tuple[float, float, float], ...]
    cores: tuple[Core, ...]
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
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    inverse = np.linalg.inv(covariance(apart) + np.diag(own_variance))
    c0 = covariance(np.hypot(*(at[:, None] - places[None]).transpose(2, 0, 1)))
    simple = np.einsum("kc,cd->kd", c0, inverse)
    ones = inverse.sum(axis=0)
    lacking = 1.0 - simple.sum(axis=1)
    weights = simple + lacking[:, None] * ones / ones.sum()
    variance = float(covariance(np.zeros(1))[0]) - np.einsum("kc,kc->k", simple, c0) + lacking**2 / ones.sum()
    return Kriged(np.einsum("kc,c->k", weights, values), np.maximum(variance, 0.0), weights)


def spreads(cores: Sequence[Core]) -> tuple[tuple[float, float, float], ...]:
    """Spreads (s.d. m, Matern 3/2 range m, weight) that the cores leave possible; below TOLD_FROM cores the declared one.

    source : restricted likelihood of the differences between cores (Patterson & Thompson 1971, from memory) times
             lognormal priors about DECLARED_SD_M and DECLARED_RANGE_M, on a grid of both
    """
    if len(cores) < TOLD_FROM:
        return ((DECLARED_SD_M, DECLARED_RANGE_M, 1.0),)
    places, values, own = _columns(cores)
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
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
    return tuple((sd, range_m, float(w)) for (sd, range_m), w in zip(tried, weight) if w > 1e-4)


def mix_depth(cores: Sequence[Core], grid: Grid, asked: np.ndarray) -> MixDepth:
    """Depth of mix on a grid's cells.

    grid  : coarse is fine: BLOCK_M
    asked : (ny, nx) bool, the skin without mound and keep-outs
    Cores within REACH_M of the ground asked for take part; depths are estimated, not readings, so a core's own error is
    taken off again.
    """
    e, n = grid.mesh()
    nothing = np.full(grid.shape, np.nan)
    used = tuple(sorted((c for c in cores if _near(c, e, n, asked)), key=lambda c: (c.core_id, c.e, c.n)))
    if not used:
        why = "no core of the mix" if not cores else f"no core of the mix within {REACH_M:.0f} m of the skin"
        return MixDepth(grid, nothing, nothing.copy(), asked, (), (), f"{why}: its depth is not known and nothing is assumed")
    places, values, own = _columns(used)
    near = asked & (np.hypot(e[..., None] - places[:, 0], n[..., None] - places[:, 1]).min(axis=-1) <= REACH_M)
    at = np.column_stack([e[near], n[near]])
    models = spreads(used)
    mean, square = np.zeros(len(at)), np.zeros(len(at))
    for sd, range_m, weight in models:
        found = krige(places, values, own, _matern(sd, range_m), at)
        mean += weight * found.value
        square += weight * (found.variance + found.value**2)
    depth, sigma = nothing.copy(), nothing.copy()
    depth[near], sigma[near] = mean, np.sqrt(np.maximum(square - mean**2, 0.0))
    return MixDepth(grid, depth, sigma, asked, models, used, "")


def depth_draws(mix: MixDepth, count: int, rng: np.random.Generator) -> np.ndarray:
    """Depths that may be true, given the cores, (count, told cells), m.

    Each draw: one of the models by its weight, a random field with its errors at the cores, the field less its own
    kriging from those, onto the kriged depth (conditioning by kriging, Journel & Huijbregts 1978, from memory). The
    cores stand in the middle of their cells for this.
    """
    places, values, own = _columns(mix.cores)
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
        found = krige(places, values, own, _matern(sd, range_m), at)
        weights = krige(snapped, values, own, _matern(sd, range_m), at).weights
        fields = error_fields(Noise(0.0, ((sd, range_m),), 0.0, 0.0, 0.0, 0.0), grown.shape, grown.cell_m, len(mine), rng, 0.0)
        for j, field in zip(mine, fields):
            read = field[row, col] + errors[j]
            out[j] = found.value + field[window][told] - np.einsum("kc,c->k", weights, read)
    return out


def restore(
    mix: MixDepth, wanted_m: float | None, placed_t_per_m3: float | None, density_sigma: float, rng: np.random.Generator, draws: int = DRAWS
) -> Restore:
    """What it takes to bring the mix to a wanted depth everywhere it is short.

    wanted_m        : the owner's `mix_depth_min_mm`, m, or None
    placed_t_per_m3 : the owner's, or None; density_sigma: one s.d. of it, same unit
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
    drawn = np.maximum(wanted_m - depth_draws(mix, draws, rng), 0.0).sum(axis=1) * area
    low, high = (float(v) for v in np.quantile(drawn, (0.025, 0.975)))
    chance = ndtr(z)
    short, sure = float(chance.sum() * area), float((chance >= 0.8).sum() * area)
    if placed_t_per_m3 is None:
        return Restore(volume, low, high, nan, nan, nan, short, sure, mix.untold_m2, "no placed density: placed_t_per_m3")
    weighed = drawn * np.maximum(placed_t_per_m3 + density_sigma * rng.standard_normal(draws), 0.0)
    light, heavy = (float(v) for v in np.quantile(weighed, (0.025, 0.975)))
    return Restore(volume, low, high, volume * placed_t_per_m3, light, heavy, short, sure, mix.untold_m2, "")


def cores_drawn(features: Sequence[Feature]) -> tuple[Core, ...]:
    """Cores among the drawn features (`mix_core`, in the working CRS); one without a depth is none."""
    out = []
    for f in features:
        if f.role == "mix_core" and f.props.get("depth_mm") not in (None, ""):
            taken = f.props.get("taken_on")  # a date, a timestamp or text, by the file's format
            day = dt.date.fromisoformat(str(taken)[:10]) if taken else None
            out.append(Core(f.name, float(f.geometry.x), float(f.geometry.y), float(f.props["depth_mm"]) / 1000, day))
    return tuple(out)


def cores_read(readings: Sequence[Mapping], places: Sequence[Place], crs_m: float) -> tuple[tuple[Core, ...], tuple[tuple[str, str], ...]]:
    """Cores among the readings of kind `mix_depth`, and (reading_id, why) of those that could not be placed.

    readings : rows with reading_id, read_on, kind, value, unit, and e, n (in the field's own coordinates, a unit of which is
               crs_m metres) or a place, by its id or in the words people use
    """
    named = {p.place_id: p for p in places} | {p.near.lower(): p for p in places}
    out, lost = [], []
    for row in (r for r in readings if r.get("kind") == "mix_depth"):
        name, unit = str(row.get("reading_id")), row.get("unit")
        place = named.get(str(row.get("place") or "").strip().lower())
        if unit is None:
            lost.append((name, "no unit"))
        elif row.get("e") is not None and row.get("n") is not None:
            out.append(Core(name, row.get("e") * crs_m, row.get("n") * crs_m, float(row.get("value")) * LENGTH_UNITS[unit], row.get("read_on")))
        elif place is not None:
            out.append(Core(name, place.e, place.n, float(row.get("value")) * LENGTH_UNITS[unit], row.get("read_on")))
        else:
            lost.append((name, "neither e, n nor a place of this field"))
    return tuple(out), tuple(lost)


def still_speaking(cores: Sequence[Core], renewed_on: Sequence[dt.date], on: dt.date) -> tuple[tuple[Core, ...], tuple[tuple[Core, str], ...]]:
    """Cores that speak for the mix on a day, and the others with the reason.

    renewed_on : last days of works that gave the mix another depth: mix_add, level, laser_grade, rebuild
    A core without a date is taken at its word; one taken after the day speaks for it unless the mix was renewed between.
    The day's survey came after a work of the same day; a core of the day of a work may be of before it.
    """
    kept, dropped = [], []
    for core in cores:
        taken = core.taken_on
        between = [r for r in renewed_on if taken is not None and (taken <= r <= on or on < r <= taken)]
        if between:
            dropped.append((core, f"taken {taken.isoformat()}, the mix was renewed {max(between).isoformat()}"))
        else:
            kept.append(core)
    return tuple(kept), tuple(dropped)


def _columns(cores: Sequence[Core]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places (c, 2), depths and own variances (c,)."""
    places = np.array([(c.e, c.n) for c in cores], float).reshape(-1, 2)
    return places, np.array([c.depth_m for c in cores], float), np.array([c.sigma_m for c in cores], float) ** 2


def _matern(sd: float, range_m: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda h: sd**2 * matern32(h / range_m)


def _near(core: Core, e: np.ndarray, n: np.ndarray, asked: np.ndarray) -> bool:
    return bool(asked.any() and np.hypot(e[asked] - core.e, n[asked] - core.n).min() <= REACH_M)


def _around(grid: Grid, places: np.ndarray) -> tuple[Grid, tuple[int, int]]:
    """A grid grown to hold the places too, and the old grid's first row and column in it."""
    row, col = grid.rows_cols(places[:, 0], places[:, 1])
    north, west = max(-int(row.min()), 0), max(-int(col.min()), 0)
    south, east = max(int(row.max()) + 1 - grid.ny, 0), max(int(col.max()) + 1 - grid.nx, 0)
    grown = Grid(grid.crs, grid.col0 - west, grid.row0 + north, grid.cell_m, grid.ny + north + south, grid.nx + west + east)
    return grown, (north, west)
