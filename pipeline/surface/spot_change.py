"""What a low spot did between two dates, against the ground around it: shift and tilt of both surveys cancel.

The ground compared is fixed for the pair and chosen on the mean of both dates by weight, whose error has nothing to do with
that of their difference. Chosen on the date that found it, a pond deepened by that date's noise would seem to fill up by the
next: by 6 mm on good photogrammetry, where the pond was found at one date only (measured).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np
from scipy import ndimage

from pipeline.frame import Grid
from pipeline.survey.cells.plants import PLANTS_MAY
from pipeline.surface.survey_error import SurveyError, cropped
from pipeline.surface.masks import Masks
from pipeline.surface.ponds import Ponding, find_ponds
from pipeline.surface.ring import (
    EXCESS_FROM, LEAST_DISC_COVER, LEAST_RING_DEG, MOST_WEIGHT, RING_PIECES, bearings, contrast, plane_weights,
    ring_scatter,
)  # fmt: skip
from pipeline.surface.spots import ENOUGH, NOT_ENOUGH, SpotInput, flood_ground

LEAST_MEAN_M = 0.004
RIM_M = (0.4, 1.6)  # the ground around a found pond: so far from its edge
BOTTOM = 0.5  # of the greatest depth: what lies deeper is the pond's bottom
DETECTED = 1.96
SHARED_M = 3.0  # a part of the noise at least so long lifts a hollow and its rim alike
ONE_DATE_WIDER = 1.5  # s.d. of a pond found at one date only: on a weak survey it was noise that chose it (measured)


@dataclass(frozen=True)
class LowSpotChange:
    """One row of low_spot_change.csv, later minus earlier: depth positive = deeper, volume positive = material gained.

    depth_change_mm   : of a declared place, its ring depth; of a found pond, its bottom under its rim's plane
    volume_change_m3  : ground gained over the same plane inside the ring, or where the mean of both dates has its pond
    detected          : the depth changed by more than 1.96 s.d.
    """

    low_spot_id: str
    near: str
    depth_change_mm: float
    depth_change_sigma_mm: float
    volume_change_m3: float
    volume_change_sigma_m3: float
    detected: bool
    evidence: str
    reason: str


@dataclass(frozen=True)
class FoundPond:
    """A found pond over a pair of dates, with enough evidence at one of them: its cells (flat indices) at each, empty
    where it was not found."""

    low_spot_id: str
    near: str
    earlier: np.ndarray
    later: np.ndarray


@dataclass(frozen=True)
class _Weights:
    rows: slice
    cols: slice
    ring: np.ndarray
    depth: np.ndarray
    volume: np.ndarray
    area_m2: float
    reason: str | None


def mean_ponding(earlier: SpotInput, later: SpotInput) -> Ponding:
    """Ponds of the mean of two dates' surfaces, each by one over its variance: the ground on which found ponds are compared.

    A plain mean of a noisy date and a quiet one still carries the noisy one's error, (v2 - v1) / 2 of covariance with the
    difference: where noise dug a hollow, it would be seen to change. One weight for each date, or cells that one date saw
    better would stand in steps.
    """
    one, other = _own_variance(earlier), _own_variance(later)
    share = one / (one + other) if one + other > 0 else 0.5
    ground = (1.0 - share) * flood_ground(earlier) + share * flood_ground(later)
    return find_ponds(ground, earlier.grid, earlier.masks.flood, earlier.masks.ponds, keep_m=LEAST_MEAN_M)


def _own_variance(given: SpotInput) -> float:
    """Variance of a cell's error that a hollow's neighbours do not share, m2."""
    white = given.white[np.isfinite(given.white) & given.masks.ponds]
    own = float(np.median(white**2)) if len(white) else 0.0
    return own + given.error.noise.shorter_than(SHARED_M).correlated_variance


def low_spot_change(
    dz: np.ndarray,
    white: np.ndarray,
    mean: Ponding,
    grid: Grid,
    masks: Masks,
    places: tuple,
    ponds: tuple[FoundPond, ...],
    error: SurveyError,
    hidden_m: float = 0.0,
) -> tuple[LowSpotChange, ...]:
    """Change of every declared place and every found pond.

    dz     : later less earlier, (ny, nx), m; NaN where either date measured nothing; it needs no tie
    white  : one s.d. of each cell's independent error of the difference, same shape, m
    mean   : `mean_ponding` of the two dates
    error  : model of the difference (`noise.of_difference`)
    hidden_m : so much height unseen plants may add at the later date, m: a place that got shallower by no more is not called
              changed. One that got deeper is: whether weeds were cleared or ground was lost, somebody should look
    """
    held = np.isfinite(dz)
    out = []
    for place in places:
        c = contrast(place, masks.ring, held, grid)
        weights = _Weights(
            c.rows, c.cols, c.ring, c.depth_weights, c.volume_weights, c.hollow.sum() * grid.cell_area_m2, c.reason
        )
        out.append(_row(place.place_id, place.near, weights, dz, white, grid, error, hidden_m))
    for pond in ponds:
        cells = _ground_of(pond, mean)
        if len(cells):
            weights = _pond_weights(cells, mean.depth, held, masks, grid)
            wider = 1.0 if len(pond.earlier) and len(pond.later) else ONE_DATE_WIDER
            out.append(_row(pond.low_spot_id, pond.near, weights, dz, white, grid, error, hidden_m, wider))
        else:
            shallow = f"the mean of both dates holds less than {1e3 * LEAST_MEAN_M:.0f} mm there"
            out.append(LowSpotChange(pond.low_spot_id, pond.near, nan, nan, nan, nan, False, NOT_ENOUGH, shallow))
    return tuple(out)


def _row(
    name: str, near: str, w: _Weights, dz, white, grid: Grid, error: SurveyError, hidden_m: float, wider: float = 1.0
) -> LowSpotChange:
    if w.reason:
        return LowSpotChange(name, near, nan, nan, nan, nan, False, NOT_ENOUGH, w.reason)
    part, own, d = cropped(grid, w.rows, w.cols), white[w.rows, w.cols], dz[w.rows, w.cols]
    depth, missing = (float((v * np.where(v != 0, d, 0.0)).sum()) for v in (w.depth, w.volume))
    spread, expected, _ = ring_scatter(d, own, part, w.ring, error)
    lack = max(spread**2 - EXCESS_FROM * expected**2, 0.0) / RING_PIECES
    cov = error.covariance([w.depth, w.volume], part, own)
    sigma = wider * float(np.sqrt(cov[0, 0] + lack))
    volume_sigma = wider * float(np.sqrt(cov[1, 1] + lack * w.area_m2**2))
    detected = abs(depth) - (hidden_m if depth < 0 else 0.0) > DETECTED * sigma
    reason = PLANTS_MAY if abs(depth) > DETECTED * sigma and not detected else ""
    return LowSpotChange(
        name, near, 1e3 * depth, 1e3 * sigma, -missing, volume_sigma, detected, ENOUGH, reason
    )  # fmt: skip


def _ground_of(pond: FoundPond, mean: Ponding) -> np.ndarray:
    """Cells of the mean's pond that shares most ground with a found pond; empty where none does."""
    seen = np.union1d(pond.earlier, pond.later)
    shared = [len(np.intersect1d(seen, p.cells, assume_unique=True)) for p in mean.ponds]
    k = int(np.argmax(shared)) if shared else -1
    return mean.ponds[k].cells if k >= 0 and shared[k] > 0 else np.empty(0, np.int64)


def _pond_weights(cells: np.ndarray, depth: np.ndarray, held: np.ndarray, masks: Masks, grid: Grid) -> _Weights:
    """Weights of a found pond's change: the plane through the rim around it less its own ground."""
    row, col = cells // grid.nx, cells % grid.nx
    reach = int(np.ceil(RIM_M[1] / grid.cell_m)) + 1
    rows = slice(max(int(row.min()) - reach, 0), min(int(row.max()) + reach + 1, grid.ny))
    cols = slice(max(int(col.min()) - reach, 0), min(int(col.max()) + reach + 1, grid.nx))
    box = np.s_[rows, cols]
    whole = np.zeros((rows.stop - rows.start, cols.stop - cols.start), bool)
    whole[row - rows.start, col - cols.start] = True
    away = ndimage.distance_transform_edt(~whole) * grid.cell_m
    around = (away >= RIM_M[0]) & (away <= RIM_M[1])
    ring = around & masks.even[box] & held[box]
    own = whole & held[box]
    water = np.where(whole, np.nan_to_num(depth[box]), 0.0)
    bottom = own & (water >= BOTTOM * water.max())
    x, y = cropped(grid, rows, cols).mesh()
    x, y = x - x[whole].mean(), y - y[whole].mean()
    seen = bearings(around, ring, np.degrees(np.arctan2(x, y)) % 360.0)
    zero = np.zeros(whole.shape)
    area = float(own.sum() * grid.cell_area_m2)
    reason = None
    if seen < LEAST_RING_DEG:
        reason = f"skin on {seen:.0f} degrees of the ground around it, {LEAST_RING_DEG:.0f} needed"
    elif own.sum() < LEAST_DISC_COVER * whole.sum() or not bottom.any():
        share = 100 * own.sum() / whole.sum()
        reason = f"{share:.0f} % of it was measured at both dates, {100 * LEAST_DISC_COVER:.0f} needed"
    if reason:
        return _Weights(rows, cols, ring, zero, zero, area, reason)
    depth_w, volume_w = plane_weights(bottom, ring, own, x, y, grid.cell_area_m2)
    if np.abs(depth_w).sum() > MOST_WEIGHT:
        reason = "the ground around it is too lopsided to carry its plane over it"
    return _Weights(rows, cols, ring, depth_w, volume_w, area, reason)
