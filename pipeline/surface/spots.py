"""The low spots of one survey: at every declared place, and wherever else water would stand.

Three figures stand side by side because each is blind to something: the ring depth to a wide sag, the pond depth to a
hollow that drains, the depth below the plane to a field that was never built plane.
"""

from __future__ import annotations

from dataclasses import replace
from math import nan

import numpy as np

from pipeline.diamond.by_play import nearby
from pipeline.frame import Grid
from pipeline.surface.below_plane import depth_below, spot_shares, zone_l1
from pipeline.surface.block_heights import Smoother
from pipeline.surface.filling import Fill, fill
from pipeline.surface.loose import widened
from pipeline.surface.low_spot import LowSpot, LowSpots, SpotInput
from pipeline.surface.pond_chance import FIELDS, Chance, grown, pond_chances
from pipeline.surface.ponds import KEEP_M, SMOOTH_SD_M, Pond, Ponding, find_ponds
from pipeline.surface.ring import RingDepth, exceedance, ring_depth
from pipeline.surface.slope import ZonePlane, zone_plane
from pipeline.surface.survey_error import SurveyError

BY_NOISE_KNOWN = 0.1  # noise alone makes so deep a pond on one field in ten: beyond, there is not enough evidence
BY_NOISE_LISTED = 1.0  # noise alone makes one on every field: beyond, it is not listed
SURE = 1.96  # s.d. that the signed volume of a place must exceed: else the noise of all places adds up to an order
OWN_SHARE = 0.5  # of a pond's water inside a place's ring: then it is that place's pond
ENOUGH, NOT_ENOUGH = "enough", "not_enough_evidence"


def low_spots(given: SpotInput, rng: np.random.Generator, count: int = FIELDS) -> LowSpots:
    """Every declared place and every found pond of a survey with its three depths, volume and probability."""
    grid, masks = given.grid, given.masks
    ground = flood_ground(given)
    ponding = find_ponds(ground, grid, masks.flood, masks.ponds)
    discs = [_disc(place, grid, masks.ponds & np.isfinite(given.z)) for place in given.places]
    regions = grown(ponding, grid, masks.ponds) + discs
    soft = (masks.grass, given.canopy_sigma_m) if given.canopy_sigma_m > 0 else None
    chances = pond_chances(
        ponding, regions, ground, given.white, grid, masks.ponds, given.error, given.tolerance_m, rng, count, soft,
    )  # fmt: skip
    own = _owners(ponding, given)
    listed = [
        k for k, c in enumerate(chances[: len(ponding.ponds)])
        if own[k] is None and (c.shut_by_noise if ponding.ponds[k].reason else c.by_noise) <= BY_NOISE_LISTED
    ]  # fmt: skip
    unlisted = sum(o is None for o in own) - len(listed)
    found = [ponding.ponds[k] for k in listed]
    planes = [(d, widened(s, given.loose_m)) for d, s in _plane_depths(given, ponding, found, discs)]
    top = 1.0 - 1.0 / count
    rows = []
    for i, place in enumerate(given.places):
        ring = _loosened(ring_depth(given.z, given.white, grid, place, masks.ring, given.error, given.built), given.loose_m)
        mine = [p for p, o in zip(ponding.ponds, own) if o == i]
        depth, sigma = _place_pond(ponding, discs[i], chances[len(ponding.ponds) + i])
        water = depth, widened(sigma, given.loose_m)
        rows.append(_place_row(given, place, ring, water, planes[len(found) + i], mine, top))
    for i, k in enumerate(listed):
        rows.append(_pond_row(given, f"pond-{i + 1}", ponding.ponds[k], chances[k], planes[i]))
    cells = {f"pond-{i + 1}": p.cells for i, p in enumerate(found)}
    ponds_of = {p.place_id: tuple(k for k, o in enumerate(own) if o == i) for i, p in enumerate(given.places)}
    ponds_of |= {f"pond-{i + 1}": (k,) for i, k in enumerate(listed)}
    sure = tuple(
        p.reason is None and c.by_noise <= BY_NOISE_KNOWN and c.volume_sigma_m3 <= p.volume_m3 for p, c in zip(ponding.ponds, chances)
    )  # fmt: skip
    return LowSpots(tuple(rows), cells, ponding, unlisted, ponds_of, sure)


def flood_ground(given: SpotInput) -> np.ndarray:
    """The surface that water meets: the heights less the canopy on the grass, (ny, nx), m."""
    return given.z - np.where(given.masks.grass, given.canopy_m, 0.0)


def cell_centre(grid: Grid, row: int, col: int) -> tuple[float, float]:
    """Easting and northing of a cell, m."""
    return grid.west + (col + 0.5) * grid.cell_m, grid.north - (row + 0.5) * grid.cell_m


def _disc(place, grid: Grid, chosen: np.ndarray) -> np.ndarray:
    """Flat indices of the chosen cells in a place's disc."""
    (row,), (col,) = grid.rows_cols(np.array([place.e]), np.array([place.n]))
    reach = int(place.disc_m / grid.cell_m) + 1
    rows = np.arange(max(row - reach, 0), max(min(row + reach + 1, grid.ny), 0))
    cols = np.arange(max(col - reach, 0), max(min(col + reach + 1, grid.nx), 0))
    e, n = cell_centre(grid, rows[:, None], cols)
    r, c = np.nonzero(chosen[np.ix_(rows, cols)] & (np.hypot(e - place.e, n - place.n) <= place.disc_m))
    return rows[r] * grid.nx + cols[c]


def _owners(ponding: Ponding, given: SpotInput) -> list[int | None]:
    """For each pond the nearest declared place whose ring holds more than OWN_SHARE of its water, or None."""
    grid, depth, out = given.grid, ponding.depth.ravel(), []
    for pond in ponding.ponds:
        e, n = cell_centre(grid, pond.cells // grid.nx, pond.cells % grid.nx)
        water = depth[pond.cells]
        best = None
        for i, place in enumerate(given.places):
            inside = np.hypot(e - place.e, n - place.n) <= place.ring_in_m
            away = float(np.hypot((e * water).sum() / water.sum() - place.e, (n * water).sum() / water.sum() - place.n))
            if water[inside].sum() > OWN_SHARE * water.sum() and (best is None or away < best[0]):
                best = (away, i)
        out.append(None if best is None else best[1])
    return out


def _place_pond(ponding: Ponding, disc: np.ndarray, chance: Chance) -> tuple[float, float]:
    """Greatest depth of water in a place's disc and its s.d., m; NaN where a hole leaves it unknown.

    Noise makes a film of water on any ground, never less than none: up to KEEP_M it is its own s.d. at least.
    """
    if not len(disc) or any(p.reason and len(np.intersect1d(p.cells, disc)) for p in ponding.ponds):
        return nan, nan
    depth = float(ponding.depth.ravel()[disc].max())
    return depth, max(chance.depth_sigma_m, depth) if depth <= KEEP_M else chance.depth_sigma_m


def _plane_depths(
    given: SpotInput, ponding: Ponding, found: list[Pond], discs: list[np.ndarray]
) -> list[tuple[float, float]]:
    """Depth below the skin's L1 plane and its s.d. of each found pond's deepest cell, then of each place's disc, m."""
    unknown = [(nan, nan)] * (len(found) + len(discs))
    zone = zone_plane(given.z, given.white, given.grid, given.masks.even, median=False)
    if zone is None:
        return unknown
    zone = zone_l1(zone)
    spots = [np.array([p.row * given.grid.nx + p.col]) for p in found] + discs
    extra = _cell_over_block(given, zone) if found else 0.0
    wanted = [k for k, s in enumerate(spots) if len(s)]
    z = given.z.ravel()
    values, at, more = [], [], []
    for k in wanted:
        cells = spots[k]
        values.append(ponding.smoothed.ravel()[cells[0]] if k < len(found) else z[cells].mean())
        e, n = cell_centre(given.grid, cells // given.grid.nx, cells % given.grid.nx)
        at.append((float(e.mean()), float(n.mean())))
        more.append(extra if k < len(found) else 0.0)
    shares = [spot_shares(spots[k], given.grid, zone.blocks.grid) for k in wanted]
    depth, sigma = depth_below(zone, shares, np.array(values), at, np.array(more), given.error)
    for k, d, s in zip(wanted, depth, sigma):
        unknown[k] = (float(d), float(s))
    return unknown


def _cell_over_block(given: SpotInput, zone: ZonePlane) -> float:
    """Variance that one smoothed cell has beyond the mean of its block, m2."""
    half = int(np.ceil(8 * SMOOTH_SD_M / given.grid.cell_m)) + 1
    grid = Grid(given.grid.crs, 0, 0, given.grid.cell_m, 2 * half + 1, 2 * half + 1)
    impulse = np.zeros(grid.shape)
    impulse[half, half] = 1.0
    kernel = Smoother(np.ones(grid.shape, bool), grid.cell_m, SMOOTH_SD_M, twice=True).errors(impulse)
    side = int(round(np.sqrt(zone.blocks.cells)))
    block = np.zeros(grid.shape)
    block[half - side // 2 : half - side // 2 + side, half - side // 2 : half - side // 2 + side] = 1.0 / side**2
    held = given.white[given.masks.even & np.isfinite(given.white)]
    white = np.full(grid.shape, np.sqrt((held**2).mean()) if len(held) else 0.0)
    flat = SurveyError(given.error.noise, given.error.centre, np.zeros((4, 4)))
    cov = flat.covariance([kernel, block], grid, white)
    return float(max(cov[0, 0] - cov[1, 1], 0.0))


def _loosened(ring: RingDepth, loose_m: float) -> RingDepth:
    """A place's figures where loose topdressing may lie in it or beside it."""
    if not loose_m:
        return ring
    return replace(ring, depth_sigma_m=float(widened(ring.depth_sigma_m, loose_m)),
                   volume_sigma_m3=float(widened(ring.volume_sigma_m3, loose_m * ring.area_m2)))  # fmt: skip


def _place_row(
    given: SpotInput, place, ring: RingDepth, water: tuple[float, float], plane: tuple[float, float], mine: list[Pond],
    top: float,
) -> LowSpot:  # fmt: skip
    tolerance = nan if given.tolerance_m is None else given.tolerance_m
    chance = float(np.minimum(exceedance(ring.depth_m, ring.depth_sigma_m, tolerance), top))
    why = [ring.reason] if ring.reason else []
    if given.tolerance_m is None:
        why.append("no tolerance: low_spot_mm")
    unknown = np.isnan(water[0]) or any(p.reason for p in mine)
    ponded = nan if unknown else float(sum(p.standing_m3 for p in mine))
    return LowSpot(
        place.place_id, place.near, place.e, place.n, 1e3 * ring.depth_m, 1e3 * ring.depth_sigma_m,
        1e3 * ring.depth_m, 1e3 * ring.depth_sigma_m, 1e3 * water[0], 1e3 * water[1], 1e3 * plane[0], 1e3 * plane[1],
        ring.area_m2, ring.volume_m3, ring.volume_sigma_m3, ponded,
        *_filled(given, ring.volume_m3, ring.volume_sigma_m3, SURE), 1e3 * tolerance, chance,
        NOT_ENOUGH if why else ENOUGH, "; ".join(why),
    )  # fmt: skip


def _pond_row(given: SpotInput, name: str, pond: Pond, chance: Chance, plane: tuple[float, float]) -> LowSpot:
    e, n = cell_centre(given.grid, pond.row, pond.col)
    tolerance = nan if given.tolerance_m is None else given.tolerance_m
    depth, sigma = pond.depth_m, float(widened(chance.depth_sigma_m, given.loose_m))
    volume, volume_sigma, ponded = pond.volume_m3, float(widened(chance.volume_sigma_m3, given.loose_m * pond.area_m2)), pond.standing_m3
    area, probability, why = pond.area_m2, chance.probability, []
    if given.loose_m and given.tolerance_m is not None:
        probability = min(probability, float(exceedance(depth, sigma, tolerance)))
    if pond.reason:
        depth = sigma = volume = volume_sigma = ponded = area = probability = nan
        why.append(pond.reason)
    elif chance.by_noise > BY_NOISE_KNOWN:
        probability = nan
        why.append(f"noise alone makes so deep a pond on {100 * min(chance.by_noise, 1.0):.0f} % of fields like this")
    if volume_sigma > volume:
        volume = volume_sigma = ponded = nan
        why.append("the volume is below its standard deviation")
    if given.tolerance_m is None:
        why.append("no tolerance: low_spot_mm")
    refused = bool(pond.reason) or chance.by_noise > BY_NOISE_KNOWN or given.tolerance_m is None
    return LowSpot(
        name, nearby(e, n, given.places, given.axes), e, n, 1e3 * depth, 1e3 * sigma, nan, nan, 1e3 * depth, 1e3 * sigma,
        1e3 * plane[0], 1e3 * plane[1], area, volume, volume_sigma, ponded, *_filled(given, volume, volume_sigma, 1.0),
        1e3 * tolerance, probability, NOT_ENOUGH if refused else ENOUGH, "; ".join(why),
    )  # fmt: skip


def _filled(given: SpotInput, volume_m3: float, sigma_m3: float, sure: float) -> tuple[float, float, float, float]:
    """Fill, its range and its loose volume, where the volume is above so many of its s.d."""
    found: Fill = fill(volume_m3, sigma_m3, sure * sigma_m3, given.placed_t_per_m3, given.loose_t_per_m3)
    return found.tonnes, found.low, found.high, found.loose_m3
