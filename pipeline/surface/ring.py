"""Ring depth: how far the disc at a declared place lies under the plane of the ring around it.

Shift and tilt of the survey cancel, so the figure needs no tie, and it is linear in the heights, so its s.d. is exact
for the error model. It is a mean over the disc: of Gaussian pits of s.d. 0.5, 0.8, 1.2, 2.0 m it reads 0.50, 0.70,
0.66, 0.39 of the depth of the centre, and fill comes from the volume, never from depth x area.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np
from scipy.special import ndtr

from pipeline.frame import Grid
from pipeline.surface.block_heights import Smoother
from pipeline.surface.survey_error import SurveyError, cropped

LEAST_RING_DEG = 200.0
MOST_WEIGHT = 3.0  # sum |w|: 2 is the least there is, more means that the plane is carried beyond its ring
LEAST_DISC_COVER = 0.8
LEAST_DISC_LEFT = 0.5  # of the whole disc, when keep-outs take a part of it
SECTORS = 36
SECTOR_FILLED = 0.5  # share of a sector's cells that must be there for its bearing to count
RING_PIECES = 7.0  # relief of the ring beyond noise is taken for so many pieces that know nothing of each other
EXCESS_FROM = 1.5  # the ring's scatter under the noise model varies: only beyond so many times its variance
SMOOTH_SD_M = 0.15
BY_HAND = "check by hand: "  # begins a reason that no survey can mend: the layout leaves too little skin there
LOW_M = 0.006  # a cell that low counts as part of the low spot's area


@dataclass(frozen=True)
class Contrast:
    """The weights of a ring depth: depth = sum(depth_weights * z), on a crop of the raster.

    rows, cols     : the crop
    disc, ring     : measured cells of the crop that take part, bool
    hollow         : measured cells inside the ring's inner radius: the ground whose missing volume is asked for
    depth_weights  : ring plane at the disc's centroid less the disc's mean; no unit
    volume_weights : ring plane less the ground, summed over `hollow`; m2
    ring_deg       : bearings around the place that the ring covers, degrees
    disc_cover     : measured share of the disc, keep-outs set aside
    reason         : why the depth is not to be trusted, or None
    """

    rows: slice
    cols: slice
    disc: np.ndarray
    ring: np.ndarray
    hollow: np.ndarray
    depth_weights: np.ndarray
    volume_weights: np.ndarray
    ring_deg: float
    disc_cover: float
    reason: str | None


@dataclass(frozen=True)
class RingDepth:
    """Depth of one declared place; metres, NaN where `reason` says why there is none.

    depth_m, depth_sigma_m   : ring plane less disc mean, + is low, and its one s.d.
    volume_m3, _sigma_m3     : ground missing under the ring's plane inside the ring, signed
    area_m2                  : part of that lying LOW_M or more under the plane, smoothed
    ring_deg, disc_cover     : as in Contrast
    ring_spread_m            : root mean square of the ring's cells about their plane
    ring_noise_m             : what the error model expects that to be on ground that is plane
    """

    depth_m: float
    depth_sigma_m: float
    volume_m3: float
    volume_sigma_m3: float
    area_m2: float
    ring_deg: float
    disc_cover: float
    ring_spread_m: float
    ring_noise_m: float
    reason: str | None


def contrast(place, usable: np.ndarray, held: np.ndarray, grid: Grid) -> Contrast:
    """Weights and fitness of one place's ring depth.

    place  : has e, n, disc_m, ring_in_m, ring_out_m
    usable : (ny, nx) bool, ground whose height may be used: skin less keep-outs, anchors and the strip by the grass
    held   : (ny, nx) bool, cells that were measured
    source : w_ring = X (X'X)^-1 m with X = [1, x, y] on the ring and m its mean over the disc; w_disc = -1/n
    """
    row, col = (int(v) for v in grid.rows_cols(place.e, place.n))
    reach = int(np.ceil(place.ring_out_m / grid.cell_m)) + 1
    all_rows, all_cols = np.arange(row - reach, row + reach + 1), np.arange(col - reach, col + reach + 1)
    x = grid.west + (all_cols + 0.5) * grid.cell_m - place.e
    y = (grid.north - (all_rows + 0.5) * grid.cell_m - place.n)[:, None]
    inside = (all_rows >= 0)[:, None] & (all_rows < grid.ny)[:, None] & (all_cols >= 0) & (all_cols < grid.nx)
    may, may_not = np.zeros(inside.shape, bool), np.zeros(inside.shape, bool)
    at = np.ix_(all_rows.clip(0, grid.ny - 1), all_cols.clip(0, grid.nx - 1))
    may[inside] = (usable & held)[at][inside]
    may_not[inside] = ~usable[at][inside]

    distance = np.hypot(x, y)
    disc, ring = distance <= place.disc_m, (distance >= place.ring_in_m) & (distance <= place.ring_out_m)
    hollow = may & (distance < place.ring_in_m)
    bearing = np.degrees(np.arctan2(x, y)) % 360.0
    ring_deg, at_most = bearings(ring, ring & may, bearing), bearings(ring, ring & ~may_not, bearing)
    left = (disc & ~may_not).sum()
    cover = float((disc & may).sum() / left) if left else 0.0
    reason = _by_layout(at_most, left / disc.sum()) or _too_little(ring_deg, cover)
    depth_w, volume_w = np.zeros(may.shape), np.zeros(may.shape)
    if reason is None:
        xx, yy = np.broadcast_to(x, may.shape), np.broadcast_to(y, may.shape)
        depth_w, volume_w = plane_weights(disc & may, ring & may, hollow, xx, yy, grid.cell_area_m2)
        if np.abs(depth_w).sum() > MOST_WEIGHT:
            reason = "the ring is too lopsided to carry its plane over the place"
    rows = slice(max(row - reach, 0), max(min(row + reach + 1, grid.ny), 0))
    cols = slice(max(col - reach, 0), max(min(col + reach + 1, grid.nx), 0))
    cut = np.s_[rows.start - row + reach : rows.stop - row + reach, cols.start - col + reach : cols.stop - col + reach]
    return Contrast(
        rows, cols, (disc & may)[cut], (ring & may)[cut], hollow[cut], depth_w[cut], volume_w[cut], ring_deg, cover,
        reason,
    )  # fmt: skip


def ring_depth(
    z: np.ndarray, white: np.ndarray, grid: Grid, place, usable: np.ndarray, error: SurveyError,
    built: np.ndarray | None = None,
) -> RingDepth:  # fmt: skip
    """Depth of a declared place with its s.d., or the reason why there is none.

    z      : (ny, nx), m; NaN where nothing was measured
    white  : one s.d. of each cell's independent error, same shape, m
    built  : height that the ground there is meant to have over a plane (a mound), same shape, m; None: none
    Relief of the ring that noise does not explain means that the ring is not a plane; it widens the s.d. as RING_PIECES
    independent pieces would (measured: a ridge of 15 mm on 15 % of the ring moves the depth by 2 mm).
    """
    w = contrast(place, usable, np.isfinite(z), grid)
    if w.reason is not None:
        return RingDepth(*[nan] * 5, w.ring_deg, w.disc_cover, nan, nan, w.reason)
    heights = z[w.rows, w.cols] - (0.0 if built is None else np.nan_to_num(built[w.rows, w.cols]))
    part = cropped(grid, w.rows, w.cols)
    own = white[w.rows, w.cols]
    depth, volume = (float((v * np.where(v != 0, heights, 0.0)).sum()) for v in (w.depth_weights, w.volume_weights))
    spread, expected, plane = ring_scatter(heights, own, part, w.ring, error)
    lack = max(spread**2 - EXCESS_FROM * expected**2, 0.0) / RING_PIECES
    var = error.covariance([w.depth_weights, w.volume_weights], part, own)
    hollow_m2 = w.hollow.sum() * grid.cell_area_m2
    below = plane - Smoother(w.hollow | w.ring, grid.cell_m, SMOOTH_SD_M).heights(heights)
    area = float((w.hollow & (np.nan_to_num(below) >= LOW_M)).sum() * grid.cell_area_m2)
    return RingDepth(
        depth, float(np.sqrt(var[0, 0] + lack)), volume, float(np.sqrt(var[1, 1] + lack * hollow_m2**2)), area,
        w.ring_deg, w.disc_cover, spread, expected, None,
    )  # fmt: skip


def exceedance(depth_m: float, sigma_m: float, tolerance_m: float) -> float:
    """Chance that the true depth is more than the tolerance, errors taken as normal; NaN where one is unknown."""
    if not np.isfinite([depth_m, sigma_m, tolerance_m]).all():
        return nan
    if sigma_m == 0.0:
        return float(depth_m > tolerance_m)
    return float(ndtr((depth_m - tolerance_m) / sigma_m))


def plane_weights(disc, ring, hollow, x, y, cell_area_m2: float) -> tuple[np.ndarray, np.ndarray]:
    """Depth and volume weights on the crop."""
    design = np.stack([np.ones(int(ring.sum())), x[ring], y[ring]])
    normal = np.array([[(p * q).sum() for q in design] for p in design])

    def plane_over(cells: np.ndarray) -> np.ndarray:
        mean = np.array([1.0, x[cells].mean(), y[cells].mean()])
        return (np.linalg.solve(normal, mean)[:, None] * design).sum(axis=0)

    depth = np.zeros(disc.shape)
    depth[ring] = plane_over(disc)
    depth[disc] -= 1.0 / disc.sum()
    volume = np.zeros(disc.shape)
    volume[ring] = plane_over(hollow) * hollow.sum() * cell_area_m2
    volume[hollow] -= cell_area_m2
    return depth, volume


def bearings(whole: np.ndarray, there: np.ndarray, bearing: np.ndarray) -> float:
    """Degrees of bearing at which at least SECTOR_FILLED of the ring is there."""
    sector = np.minimum((bearing / 360.0 * SECTORS).astype(int), SECTORS - 1)
    full, found = (np.bincount(sector[m], minlength=SECTORS) for m in (whole, there))
    some = full > 0
    return float(360.0 * (found[some] >= SECTOR_FILLED * full[some]).sum() / some.sum())


def _by_layout(at_most_deg: float, left: float) -> str | None:
    if at_most_deg < LEAST_RING_DEG:
        return f"{BY_HAND}there is skin on {at_most_deg:.0f} degrees of the ring around it, {LEAST_RING_DEG:.0f} needed"
    if left < LEAST_DISC_LEFT:
        return f"{BY_HAND}{100 * left:.0f} % of the place is skin that may be measured, {100 * LEAST_DISC_LEFT:.0f} needed"
    return None


def _too_little(ring_deg: float, cover: float) -> str | None:
    if ring_deg < LEAST_RING_DEG:
        return f"skin measured on {ring_deg:.0f} degrees of the ring, {LEAST_RING_DEG:.0f} needed"
    if cover < LEAST_DISC_COVER:
        return f"{100 * cover:.0f} % of the place was measured, {100 * LEAST_DISC_COVER:.0f} needed"
    return None


def ring_scatter(heights, own, part: Grid, ring, error: SurveyError) -> tuple[float, float, np.ndarray]:
    """Root mean square of the ring about its plane, what noise alone would give, and the plane on the crop, m."""
    x, y = part.mesh()
    x, y = x - x[ring].mean(), y - y[ring].mean()
    n = int(ring.sum())
    columns = np.stack([np.ones(n), x[ring], y[ring]])
    normal = np.array([[(p * q).sum() for q in columns] for p in columns])
    z0 = heights[ring].mean()
    values = heights[ring] - z0
    beta = np.linalg.solve(normal, np.array([(c * values).sum() for c in columns]))
    plane = z0 + beta[0] + beta[1] * x + beta[2] * y
    spread = float(np.sqrt(((heights - plane)[ring] ** 2).mean()))
    stack = np.zeros((3, *ring.shape))
    stack[:, ring] = columns
    only_noise = SurveyError(error.noise, error.centre, np.zeros((4, 4)))
    taken = np.trace(np.linalg.solve(normal, only_noise.covariance(stack, part, own)))
    cell = _cell_variance(only_noise, part)
    expected = float(np.sqrt(max((own[ring] ** 2).mean() + cell - taken / n, 0.0)))
    return spread, expected, plane


def _cell_variance(error: SurveyError, part: Grid) -> float:
    """Variance of one cell's shared error, m2."""
    one = Grid(part.crs, part.col0, part.row0, part.cell_m, 1, 1)
    return float(error.covariance(np.ones((1, 1, 1)), one, np.zeros((1, 1)))[0, 0])
