"""The low spots of one survey: at every declared place, and wherever else water would stand.

Three figures stand side by side because each is blind to something: the ring depth to a wide sag, the pond depth to a
hollow that drains, the depth below the plane to a field that was never built plane.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import nan

import numpy as np

from pipeline.frame import Grid
from pipeline.surface.below_plane import depth_below, spot_shares, zone_l1
from pipeline.surface.block_heights import Smoother
from pipeline.surface.masks import Masks
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
SIDES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True)
class LowSpot:
    """One row of low_spots.csv; positive depths are low, NaN is unknown.

    depth_mm     : ring depth at a declared place, else pond depth
    ring_depth, pond_depth, plane_depth : the three figures; pond depth is the greatest in the place's disc, plane depth
                   the disc's mean (of a pond its deepest cell) below the skin's L1 plane, negative where it is high
    area_m2      : of a place, what lies 6 mm or more below the ring's plane; of a pond, its water
    volume_m3    : of a place, ground missing under the ring's plane inside the ring, signed; of a pond, its water
    ponded_m3    : water left by 10 mm of rain, no more than the ground draining into it first brings (with what fuller
                   ponds above pass on); nothing seeps away, nothing runs in from beyond the grass edge
    fill_tonnes  : volume at the placed density, where the volume is above its s.d. (of a place 1.96 of them)
    probability  : that the true depth is over the tolerance
    evidence     : `enough` or `not_enough_evidence`, and why in `reason`
    """

    low_spot_id: str
    near: str
    e: float
    n: float
    depth_mm: float
    depth_sigma_mm: float
    ring_depth_mm: float
    ring_depth_sigma_mm: float
    pond_depth_mm: float
    pond_depth_sigma_mm: float
    plane_depth_mm: float
    plane_depth_sigma_mm: float
    area_m2: float
    volume_m3: float
    volume_sigma_m3: float
    ponded_m3: float
    fill_tonnes: float
    tolerance_mm: float
    probability: float
    evidence: str
    reason: str


@dataclass(frozen=True)
class LowSpots:
    """All low spots of one survey.

    spots     : declared places in their order, then found ponds, deepest first as `pond-1`, ...
    cells     : of each found pond, its flat cell indices (`same_ponds` matches dates by them)
    ponding   : the flood they were read from
    unlisted  : found ponds left out because noise alone makes as many as deep
    """

    spots: tuple[LowSpot, ...]
    cells: dict[str, np.ndarray]
    ponding: Ponding
    unlisted: int


@dataclass(frozen=True)
class SpotInput:
    """What the low spots of one survey are read from.

    z, white         : (ny, nx) height and one s.d. of each cell's independent error, m; NaN where nothing was measured
    places           : declared places (place_id, near, e, n, disc_m, ring_in_m, ring_out_m)
    canopy_m, canopy_sigma_m : height that grass adds in this survey and its s.d., taken off outside the skin before the
                       flood: grass is no wall to water. Unknown grass: 0.04 x the noise's `canopy_reach`, and 0.015
    tolerance_m      : the owner's low-spot tolerance; None: none was set
    placed_t_per_m3  : density of the placed mix; None: not given
    built            : height the ground is meant to have over a plane (a mound), (ny, nx), m; None: none
    """

    grid: Grid
    z: np.ndarray
    white: np.ndarray
    masks: Masks
    places: tuple
    error: SurveyError
    canopy_m: float
    canopy_sigma_m: float
    tolerance_m: float | None
    placed_t_per_m3: float | None = None
    built: np.ndarray | None = field(default=None, compare=False)


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
    planes = _plane_depths(given, ponding, found, discs)
    top = 1.0 - 1.0 / count
    rows = []
    for i, place in enumerate(given.places):
        ring = ring_depth(given.z, given.white, grid, place, masks.ring, given.error, given.built)
        mine = [p for p, o in zip(ponding.ponds, own) if o == i]
        water = _place_pond(ponding, discs[i], chances[len(ponding.ponds) + i])
        rows.append(_place_row(given, place, ring, water, planes[len(found) + i], mine, top))
    for i, k in enumerate(listed):
        rows.append(_pond_row(given, f"pond-{i + 1}", ponding.ponds[k], chances[k], planes[i]))
    cells = {f"pond-{i + 1}": p.cells for i, p in enumerate(found)}
    return LowSpots(tuple(rows), cells, ponding, unlisted)


def flood_ground(given: SpotInput) -> np.ndarray:
    """The surface that water meets: the heights less the canopy on the grass, (ny, nx), m."""
    return given.z - np.where(given.masks.grass, given.canopy_m, 0.0)


def nearby(e: float, n: float, places) -> str:
    """Where a point lies in words: '2.1 m north-east of second base'; empty without places."""
    if not len(places):
        return ""
    away = [float(np.hypot(e - p.e, n - p.n)) for p in places]
    k = int(np.argmin(away))
    if away[k] < 0.05:
        return places[k].near
    side = np.degrees(np.arctan2(e - places[k].e, n - places[k].n)) % 360.0
    return f"{away[k]:.1f} m {SIDES[int((side + 22.5) // 45) % 8]} of {places[k].near}"


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
        _tonnes(given, ring.volume_m3, SURE * ring.volume_sigma_m3), 1e3 * tolerance, chance,
        NOT_ENOUGH if why else ENOUGH, "; ".join(why),
    )  # fmt: skip


def _pond_row(given: SpotInput, name: str, pond: Pond, chance: Chance, plane: tuple[float, float]) -> LowSpot:
    e, n = cell_centre(given.grid, pond.row, pond.col)
    tolerance = nan if given.tolerance_m is None else given.tolerance_m
    depth, sigma = pond.depth_m, chance.depth_sigma_m
    volume, volume_sigma, ponded = pond.volume_m3, chance.volume_sigma_m3, pond.standing_m3
    area, probability, why = pond.area_m2, chance.probability, []
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
        name, nearby(e, n, given.places), e, n, 1e3 * depth, 1e3 * sigma, nan, nan, 1e3 * depth, 1e3 * sigma,
        1e3 * plane[0], 1e3 * plane[1], area, volume, volume_sigma, ponded, _tonnes(given, volume, volume_sigma),
        1e3 * tolerance, probability, NOT_ENOUGH if refused else ENOUGH, "; ".join(why),
    )  # fmt: skip


def _tonnes(given: SpotInput, volume_m3: float, least_m3: float) -> float:
    """Fill at the placed density, t; NaN where the volume is no more than `least_m3` or no density is given."""
    if given.placed_t_per_m3 is None or not volume_m3 > least_m3:
        return nan
    return volume_m3 * given.placed_t_per_m3
