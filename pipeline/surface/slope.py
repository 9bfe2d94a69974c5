"""Slope and fall of a zone: its robust plane, and what the survey's errors let one say about it.

Neighbouring blocks share their errors, so the covariance of the slope comes from the error model with the tie's tilt in
it, not from the residuals: taken as independent it would be 2.5 to 5 times too small (measured). To it comes what the ground
in unseen blocks may do to the plane of the whole zone (`unseen`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np

from pipeline.frame import Grid
from pipeline.surface.block_heights import LEAST_SHARE, BlockHeights, block_grid, block_share, blocks
from pipeline.surface.survey_error import SurveyError, cropped
from pipeline.surface.unseen import covariance, kernel
from pipeline.survey.plane import Plane, fit_plane

BLOCK_M = 0.5
LEAST_BLOCKS = 6  # twice the plane's coefficients
LEVEL_SIGMAS = 2.0  # a slope below has no bearing: on level ground |b| reads 1.25 s.d. (Rayleigh, from memory)
INCHES_PER_10_FT = 1.2  # of 1 %, exact


@dataclass(frozen=True)
class ZonePlane:
    """The plane of a zone through its blocks.

    plane   : Huber's, heights m
    blocks  : medians (or means) on the whole field's block grid; NaN outside the zone
    weights : (3, ny, nx): plane height at (x0, y0), slope east, slope north as weighted sums of blocks, the plane
              taken as least squares; units none, 1/m, 1/m
    unseen  : (ny, nx) bool, blocks of the zone without a value
    """

    plane: Plane
    blocks: BlockHeights
    weights: np.ndarray
    unseen: np.ndarray

    @property
    def residual(self) -> np.ndarray:
        """Block less plane, (ny, nx), m; NaN outside the zone."""
        return self.blocks.value - self.plane.at(*self.blocks.grid.mesh())

    def hidden(self) -> np.ndarray:
        """Covariance of the plane's two slopes by what unseen blocks may hold, (2, 2), m2 per m2.

        The plane of the whole zone less that of its seen part is a weighted sum of what the ground leaves any plane by.
        """
        if not self.unseen.any():
            return np.zeros((2, 2))
        apart = plane_weights(self.blocks.grid, self.blocks.held | self.unseen, self.plane) - self.weights
        own = float(np.mean(self.blocks.white[self.blocks.held] ** 2))
        return covariance(apart[1:], kernel(self.residual, 3, own))

    def residual_of(self, errors: np.ndarray) -> np.ndarray:
        """What the plane leaves of error fields (K, ny, nx) on the block grid: (K, blocks of the zone), m."""
        held = self.blocks.held
        x, y = (v[held] for v in self.blocks.grid.mesh())
        design = np.stack([np.ones_like(x), x - self.plane.x0, y - self.plane.y0])
        weights = self.weights[:, held]
        out = errors[:, held]
        return out - np.array([[(w * e).sum() for w in weights] for e in out]) @ design


@dataclass(frozen=True)
class Slope:
    """Slope of a zone.

    slope, sigma             : steepest slope and its one s.d., m per m
    bearing_deg, sigma       : where it falls to, degrees clockwise from grid north; NaN below LEVEL_SIGMAS
    """

    slope: float
    slope_sigma: float
    bearing_deg: float
    bearing_sigma_deg: float

    @property
    def inches_per_10_ft(self) -> float:
        return 100.0 * self.slope * INCHES_PER_10_FT


def zone_plane(
    z: np.ndarray, white: np.ndarray, grid: Grid, zone: np.ndarray, median: bool = True
) -> ZonePlane | None:
    """The plane of a zone, or None where fewer than LEAST_BLOCKS blocks were measured or they lie on one line.

    z     : (ny, nx), m; NaN where nothing was measured
    white : one s.d. of each cell's independent error, same shape, m
    zone  : bool, the zone less mound, keep-outs and the strip along the grass
    median : block medians; False: block means, which keep the volume of narrow hollows
    """
    factor = max(int(round(BLOCK_M / grid.cell_m)), 1)
    found = _zone_blocks(z, white, grid, zone, factor, median)
    held = found.held
    if held.sum() < LEAST_BLOCKS:
        return None
    x, y = (v[held] for v in found.grid.mesh())
    try:
        plane = fit_plane(x, y, found.value[held], robust="huber")
    except ValueError:
        return None
    whole = block_share(zone, grid, factor) >= LEAST_SHARE
    return ZonePlane(plane, found, plane_weights(found.grid, held, plane), whole & ~held)


def plane_weights(grid: Grid, held: np.ndarray, plane: Plane) -> np.ndarray:
    """Weights of blocks in the least-squares plane through them: height at its middle, slope east, slope north, (3, ny, nx)."""
    x, y = (v[held] for v in grid.mesh())
    design = np.stack([np.ones_like(x), x - plane.x0, y - plane.y0])
    normal = np.array([[(p * q).sum() for q in design] for p in design])
    weights = np.zeros((3, *held.shape))
    weights[:, held] = np.einsum("ij,jk->ik", np.linalg.inv(normal), design)
    return weights


def slope_cov(zone: ZonePlane, error: SurveyError) -> np.ndarray:
    """Covariance of a zone's slopes east and north, (2, 2): the survey's error, and what unseen blocks may hold."""
    white = np.where(zone.blocks.held, zone.blocks.white, 0.0)
    return error.covariance(zone.weights[1:], zone.blocks.grid, white) + zone.hidden()


def slope_of(zone: ZonePlane, error: SurveyError) -> Slope:
    """Slope and fall bearing of a zone's plane with their s.d. by the delta rule; bearing = atan2(-b_e, -b_n)."""
    cov = slope_cov(zone, error)
    b = np.array([zone.plane.b, zone.plane.c])
    size = float(np.hypot(*b))
    if size == 0.0:
        return Slope(0.0, float(np.sqrt(np.trace(cov) / 2)), nan, nan)
    down = b / size
    along, across = (float(np.sqrt(max(d @ cov @ d, 0.0))) for d in (down, np.array([-down[1], down[0]])))
    if size < LEVEL_SIGMAS * along:
        return Slope(size, along, nan, nan)
    bearing = float(np.degrees(np.arctan2(-b[0], -b[1])) % 360.0)
    return Slope(size, along, bearing, float(np.degrees(across / size)))


def _zone_blocks(z, white, grid: Grid, zone: np.ndarray, factor: int, median: bool) -> BlockHeights:
    """BlockHeights of the zone on the whole block grid, worked out on the zone's own part of the raster."""
    whole, north, west = block_grid(grid, factor)
    value, sigma = np.full(whole.shape, np.nan), np.full(whole.shape, np.nan)
    count = np.zeros(whole.shape, int)
    rows, cols = np.flatnonzero(zone.any(axis=1)), np.flatnonzero(zone.any(axis=0))
    if len(rows):
        a, b = slice(int(rows[0]), int(rows[-1]) + 1), slice(int(cols[0]), int(cols[-1]) + 1)
        part = blocks(z[a, b], cropped(grid, a, b), factor, white[a, b], zone[a, b], median)
        r, c = whole.row0 - part.grid.row0, part.grid.col0 - whole.col0
        put = np.s_[r : r + part.grid.ny, c : c + part.grid.nx]
        value[put], sigma[put], count[put] = part.value, part.white, part.count
    return BlockHeights(whole, value, sigma, count, factor**2)
