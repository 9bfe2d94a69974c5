"""Patches of stable ground and the height a survey gives them.

A patch may be a slab of 15 m2 or a pitcher's plate that is 0.51 x 0.05 m once its edges are taken off, so the
height comes from the points, not from the grid, and stands up to a ball, dirt or a bag lying on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from pipeline.diamond.layout import Layout
from pipeline.frame import Grid
from pipeline.survey.plane import MAD_TO_SD, TUKEY_C
from pipeline.survey.points import TICK_M, Ground

SHRINK_M = 0.05  # off every side: grass hangs over the edge, and mixed points stand on it
SLAB_SLOPE = 0.02  # slabs are laid at 1-2 % (common practice, no source): prior s.d. of the slope
PLATE_SLOPE, PLATE_M = 0.005, 1.0  # plates, whatever is under 1 m across, are set level
MIN_POINTS = 3
PLACES = 40  # where a patch's covariance with other places is averaged
STEPS = 30
TRUSTED = 1.5  # times the declared s.d. of a point: the short correlated part and rough concrete add so much


@dataclass(frozen=True)
class Footprint:
    """A piece of ground taken for stable, its edges taken off.

    patch_id : its name
    shape    : what is measured, in the working CRS
    places   : (q, 2) eastings and northings spread evenly over the shape, m
    slope_sd : prior s.d. of its slope, m per m, each way
    """

    patch_id: str
    shape: shapely.Geometry
    places: np.ndarray
    slope_sd: float = SLAB_SLOPE

    @property
    def centre(self) -> tuple[float, float]:
        """Centroid, m."""
        return self.shape.centroid.x, self.shape.centroid.y


@dataclass(frozen=True)
class PatchHeight:
    """A survey's height of one patch, at the centroid of its footprint.

    height_m : m; NaN with fewer than MIN_POINTS points
    sigma_m  : one s.d. from the points' independent error alone, m
    count    : points on the footprint
    outlying : how many of them were given no weight
    """

    patch_id: str
    height_m: float
    sigma_m: float
    count: int
    outlying: int


def footprint(patch_id: str, polygon: shapely.Geometry, shrink_m: float = SHRINK_M) -> Footprint | None:
    """A drawn patch less `shrink_m` all round; None where nothing is left."""
    shape = polygon.buffer(-shrink_m)
    if shape.is_empty:
        return None
    west, south, east, north = shape.bounds
    slope_sd = PLATE_SLOPE if max(east - west, north - south) < PLATE_M else SLAB_SLOPE
    return Footprint(patch_id, shape, spread_places(shape, PLACES), slope_sd)


def footprints(layout: Layout) -> list[Footprint]:
    """The field's patches of stable ground, edges taken off; slivers that vanish are no patch."""
    return [f for f in (footprint(p.patch_id, p.polygon) for p in layout.patches) if f is not None]


def spread_places(polygon: shapely.Geometry, about: int) -> np.ndarray:
    """About so many places on a square lattice inside a polygon, never none, (q, 2), m."""
    west, south, east, north = polygon.bounds
    step = float(np.sqrt(polygon.area / about))
    across, up = (max(int(np.ceil(d / step)), 1) for d in (east - west, north - south))
    e = west + (np.arange(across) + 0.5) * (east - west) / across
    n = south + (np.arange(up) + 0.5) * (north - south) / up
    ee, nn = (v.ravel() for v in np.meshgrid(e, n))
    shapely.prepare(polygon)
    inside = shapely.contains_xy(polygon, ee, nn)
    if not inside.any():
        point = polygon.representative_point()
        return np.array([[point.x, point.y]])
    return np.column_stack([ee[inside], nn[inside]])


def height_from_ground(ground: Ground, patch: Footprint, white_m: float) -> PatchHeight:
    """A patch's height from a survey's ground points; `white_m`: declared s.d. of one point, m."""
    west, south, east, north = patch.shape.bounds
    x0, x1 = (int((v - ground.west) / TICK_M) for v in (west, east))
    y0, y1 = (int((v - ground.south) / TICK_M) for v in (south, north))
    near = np.flatnonzero((ground.x >= x0) & (ground.x <= x1 + 1))
    near = near[(ground.y[near] >= y0) & (ground.y[near] <= y1 + 1)]
    return height_from_points(*ground.take(near).metres(), patch, white_m)


def height_from_cells(z: np.ndarray, grid: Grid, patch: Footprint, white_m: float) -> PatchHeight:
    """A patch's height from a raster: the cells whose centre lies on it stand for points.

    z : (ny, nx), m; NaN where nothing was measured
    """
    cells = grid.mask(patch.shape) & np.isfinite(z)
    e, n = grid.mesh()
    return height_from_points(e[cells], n[cells], z[cells], patch, white_m)


def height_from_points(e: np.ndarray, n: np.ndarray, z: np.ndarray, patch: Footprint, white_m: float) -> PatchHeight:
    """A patch's height at its centroid from points, (k,) each, m; points off the footprint take no part.

    The heights follow a plane whose slope has a prior, so that points crowded at one end do not tip the
    height, and a plate too narrow to show its slope still has one height.
    source : Tukey's biweight by reweighting, from the median and Huber's weights on; posterior mean of a linear model
    """
    east, north = patch.centre
    shapely.prepare(patch.shape)
    on = shapely.contains_xy(patch.shape, e, n) & np.isfinite(z)
    order = np.lexsort((z[on], n[on], e[on]))  # the same bytes whatever order the points come in
    u, v, h = e[on][order] - east, n[on][order] - north, z[on][order]
    count = len(h)
    if count < MIN_POINTS:
        return PatchHeight(patch.patch_id, float("nan"), float("nan"), count, 0)
    level = float(np.median(h))
    design = np.column_stack([np.ones(count), u, v])
    beta, covariance, weight = _robust_plane(design, h - level, white_m, patch.slope_sd)
    outlying = int((weight == 0).sum())
    return PatchHeight(patch.patch_id, level + float(beta[0]), float(np.sqrt(covariance[0, 0])), count, outlying)


def _robust_plane(
    design: np.ndarray, z: np.ndarray, white_m: float, slope_sd: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Coefficients, their covariance and the points' last weights; the slope has its prior throughout.

    Points are weighed by a scale not far above the declared one, or a third of them lying high would widen it until
    they pass for noise; what is said of the result rests on the scale as found.
    """
    prior = np.diag([0.0, slope_sd**-2, slope_sd**-2])
    beta = np.zeros(3)
    for step in range(STEPS):
        residual = np.abs(z - design @ beta)
        found = max(float(MAD_TO_SD * np.median(residual)), white_m)
        scale = min(found, max(TRUSTED * white_m, found / 2))
        t = residual / scale
        weight = 1.0 / np.maximum(t, 1.0) if step < STEPS // 3 else np.clip(1 - (t / TUKEY_C) ** 2, 0, None) ** 2
        normal = (design.T * weight) @ design / scale**2 + prior
        beta = np.linalg.solve(normal, (design.T * weight) @ z / scale**2)
    return beta, np.linalg.inv((design.T * weight) @ design / found**2 + prior), weight
