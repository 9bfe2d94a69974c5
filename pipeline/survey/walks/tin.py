"""A raster from a rover's rows: linear in the triangles between them, near the rows only, with what that may be off by.

The error of a straight line between rows grows with q = sum of w_i |x - x_i|^2 over the triangle's corners, w_i their
weights: it is the exact bound of linear interpolation on curved ground (q/2 times the curvature; Waldron 1998, from
memory). How fast it grows is read from the walk itself, by leaving rows out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from scipy.optimize import nnls
from scipy.spatial import Delaunay, QhullError, cKDTree

from pipeline.frame import Grid, Surface
from pipeline.survey.noise import ROVER, Noise
from pipeline.survey.plane import MAD_TO_SD
from pipeline.survey.points import TICK_M, Ground

REACH_M = 1.5  # cells further than this from every row stay empty
HOLES_M = (0.2, 0.4, 0.7, 1.1, 1.5)  # radii within which rows are left out around a tried row
LATTICE_M = 3.0  # tried rows are about so far apart, further where the holes are wide
LEAST_TRIALS = 20  # fewer say nothing: then the ground is taken to be as rough as ASSUMED_ROUGH
ASSUMED_ROUGH = 1e-4  # 10 mm at 1 m: rougher than a kept infield
CLIP = 4.0  # robust s.d. beyond which a trial's error is cut: a kerb is not the ground's roughness
OWN_M = 0.001  # the least a cell has of its own
BLOCK = 200_000  # cells at a time
ON_SIDE = 1e-12  # of a weight: a point on a side lies inside


@dataclass(frozen=True)
class Spacing:
    """How far the ground strays from straight lines between rows: variance rough q + curved q^2, q in m2.

    rough  : m2 per m2, at least 0
    curved : m2 per m4, at least 0
    trials : rows left out to find them
    """

    rough: float
    curved: float
    trials: int

    def variance(self, q: np.ndarray) -> np.ndarray:
        """Variance of the interpolated height beyond noise, m2, same shape as q."""
        return self.rough * q + self.curved * q**2


@dataclass(frozen=True)
class TinRaster:
    """A rover's surface.

    surface : z, sigma (noise, spacing and drift; the walk's shift is the tie's), count of rows in each cell
    noise   : part of sigma from the rows' white noise, (ny, nx), m
    away    : distance to the nearest row, (ny, nx), m; NaN where z is NaN
    spacing : what the distance costs
    """

    surface: Surface
    noise: np.ndarray
    away: np.ndarray
    spacing: Spacing


def tin_raster(ground: Ground, grid: Grid, white_m: float, noise: Noise = ROVER) -> TinRaster:
    """Heights of a rover's rows on the field's grid.

    ground  : cleaned rows (`walk.to_ground`)
    white_m : s.d. of one row, m (`walk.white_noise`); NaN takes the declared one
    noise   : the error model whose correlated parts (drift) every cell carries

    Cells outside the rows' hull, or further than REACH_M from a row, are empty; so is everything where the rows lie on
    one line. Whatever the rows' order, the same bytes.
    """
    white = white_m if np.isfinite(white_m) else noise.white_m
    x, y, z = _sorted_once(*ground.metres())
    count = _count(ground, grid)
    empty = np.full(grid.shape, np.nan)
    corners = _triangles(x, y)
    if corners is None:
        nothing = Surface(grid, empty, empty.copy(), np.zeros(grid.shape, np.uint32))
        return TinRaster(nothing, empty.copy(), empty.copy(), Spacing(0.0, 0.0, 0))
    spacing = spacing_error(x, y, z, white)
    height, sigma, share, away = (np.full(grid.ny * grid.nx, np.nan) for _ in range(4))
    tree = cKDTree(np.column_stack([x, y]))
    e, n = (v.ravel() for v in grid.mesh())
    for start in range(0, len(e), BLOCK):
        at = np.column_stack([e[start : start + BLOCK], n[start : start + BLOCK]])
        near, _ = tree.query(at, distance_upper_bound=REACH_M)
        held = np.flatnonzero(np.isfinite(near))
        value, gain, q, inside = interpolate(corners, x, y, z, at[held])
        rows = start + held[inside]
        height[rows], share[rows], away[rows] = value, white * np.sqrt(gain), near[held[inside]]
        sigma[rows] = np.sqrt(white**2 * gain + spacing.variance(q) + noise.correlated_variance)
    shape = grid.shape
    height = height.reshape(shape)
    count = np.where(np.isfinite(height), count, 0).astype(np.uint32)
    surface = Surface(grid, height, sigma.reshape(shape), count)
    return TinRaster(surface, share.reshape(shape), away.reshape(shape), spacing)


def between_rows(raster: TinRaster, skin: np.ndarray, noise: Noise) -> tuple[Noise, np.ndarray]:
    """The error model of a walk's raster, and what is left as each cell's own, (ny, nx), m.

    skin : (ny, nx) bool, where figures are drawn from the raster
    A row's noise and what the ground does between rows reach over as much ground as a row stands for: they are no
    cell's own, and a mean over many cells does not average them away as if they were. The short part's range l gives
    that ground as its integral, A = 2 pi l^2 for a Matern 3/2 field (elementary).
    """
    told = skin & np.isfinite(raster.surface.z)
    own2 = raster.surface.sigma**2 - noise.correlated_variance
    rows = int(raster.surface.count[told].sum())
    if not rows:
        return noise, np.sqrt(np.maximum(own2, 0.0))
    between2 = float(np.median((own2 - raster.noise**2)[told]))
    shared = row_noise(noise, float(told.sum() * raster.surface.grid.cell_area_m2), rows, max(between2, 0.0))
    left = np.sqrt(np.maximum(own2 - shared.parts[-1][0] ** 2, OWN_M**2))
    return shared, np.where(np.isfinite(own2), left, np.nan)


def row_noise(noise: Noise, area_m2: float, rows: int, between_m2: float) -> Noise:
    """A walk's error model with what a raster of so many rows over so much ground adds, as its last part.

    between_m2 : variance of the ground between rows about straight lines, m2
    """
    range_m = float(np.sqrt(area_m2 / rows / (2 * np.pi)))
    return replace(noise, parts=(*noise.parts, (float(np.sqrt(noise.white_m**2 + between_m2)), range_m)))


def interpolate(corners: np.ndarray, x, y, z, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Linear heights at points, for those inside the hull.

    corners : (t, 3) rows at the corners of each triangle
    at      : (m, 2) m
    returns : height (k,) m, sum of squared weights (k,), q (k,) m2, and which of the points lie inside, (m,) bool
    """
    order = np.lexsort((at[:, 0], at[:, 1]))
    px, py = at[order, 0] - x[0], at[order, 1] - y[0]
    triangle, weight = locate(corners, x - x[0], y - y[0], px, py)
    back = np.argsort(order)
    triangle, weight = triangle[back], weight[back]
    inside = triangle >= 0
    corner, weight = corners[triangle[inside]], weight[inside]
    off_x, off_y = x[corner] - at[inside, 0, None], y[corner] - at[inside, 1, None]
    q = (weight * (off_x**2 + off_y**2)).sum(axis=1)
    base = z[corner[:, 0]]
    height = base + (weight * (z[corner] - base[:, None])).sum(axis=1)
    return height, (weight**2).sum(axis=1), np.maximum(q, 0.0), inside


@njit(nogil=True, cache=True)
def locate(corners, x, y, px, py):
    """Triangle that holds each point, -1 where none does, and the weights of its corners, (m,) and (m, 3).

    corners : (t, 3) rows at the corners of each triangle
    px, py  : points in order of py, m; on a shared side the first triangle counts
    """
    triangle = np.full(len(px), -1)
    weight = np.zeros((len(px), 3))
    for t in range(len(corners)):
        a, b, c = corners[t, 0], corners[t, 1], corners[t, 2]
        area = (x[b] - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (y[b] - y[a])
        if area == 0.0:
            continue
        top, left, right = max(y[a], y[b], y[c]), min(x[a], x[b], x[c]), max(x[a], x[b], x[c])
        k = np.searchsorted(py, min(y[a], y[b], y[c]))
        while k < len(px) and py[k] <= top:
            if triangle[k] < 0 and left <= px[k] <= right:
                v = ((px[k] - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (py[k] - y[a])) / area
                w = ((x[b] - x[a]) * (py[k] - y[a]) - (px[k] - x[a]) * (y[b] - y[a])) / area
                u = 1.0 - v - w
                if u >= -ON_SIDE and v >= -ON_SIDE and w >= -ON_SIDE:
                    triangle[k] = t
                    weight[k, 0], weight[k, 1], weight[k, 2] = u, v, w
            k += 1
    return triangle, weight


def spacing_error(x: np.ndarray, y: np.ndarray, z: np.ndarray, white_m: float) -> Spacing:
    """How interpolation errors grow with q, from rows left out together with all rows about them.

    x, y, z : (n,) rows in an order of their own, m
    white_m : s.d. of one row, m

    Of each trial's squared error the noise of row and corners is taken off; the rest is fitted, not below 0, by
    rough q + curved q^2, each trial weighted by the inverse of its expected square.
    """
    place = np.column_stack([x, y])
    error, gain, spread = [], [], []
    for hole in HOLES_M:
        for shift in (0.0, 0.5):
            tried = _scattered(x, y, max(LATTICE_M, 4 * hole), shift)
            away, _ = cKDTree(place[tried]).query(place)
            left = away > hole
            corners = _triangles(x[left], y[left])
            if corners is None:
                continue
            value, g, q, inside = interpolate(corners, x[left], y[left], z[left], place[tried])
            error.append(z[tried][inside] - value)
            gain.append(1.0 + g)
            spread.append(q)
    if sum(len(e) for e in error) < LEAST_TRIALS:
        return Spacing(ASSUMED_ROUGH, 0.0, sum(len(e) for e in error))
    return _fitted(np.concatenate(error), np.concatenate(gain) * white_m**2, np.concatenate(spread))


def _scattered(x: np.ndarray, y: np.ndarray, side_m: float, shift: float) -> np.ndarray:
    """The row nearest the middle of each cell of a lattice, (k,) int."""
    u, v = (x - x.min()) / side_m + shift, (y - y.min()) / side_m + shift
    off = np.hypot(u - np.floor(u) - 0.5, v - np.floor(v) - 0.5)
    cell = np.floor(v).astype(np.int64) * (int(np.floor(u.max())) + 1) + np.floor(u).astype(np.int64)
    order = np.lexsort((off, cell))
    return np.sort(order[np.diff(cell[order], prepend=-1) != 0])


def _fitted(error: np.ndarray, noise: np.ndarray, q: np.ndarray) -> Spacing:
    rough = curved = 0.0
    for _ in range(6):
        expected = noise + rough * q + curved * q**2 + TICK_M**2
        unit = np.abs(error) / np.sqrt(expected)
        limit = CLIP * max(MAD_TO_SD * float(np.median(unit)), 1.0)
        beyond = np.minimum(unit, limit) ** 2 * expected - noise
        weight = 1.0 / expected
        (rough, curved), _ = nnls(np.column_stack([q, q**2]) * weight[:, None], beyond * weight)
    return Spacing(float(rough), float(curved), len(error))


def _sorted_once(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows in order of x, y; rows at one place become one at their median."""
    order = np.lexsort((z, y, x))
    x, y, z = x[order], y[order], z[order]
    start = np.flatnonzero((np.diff(x, prepend=np.nan) != 0) | (np.diff(y, prepend=np.nan) != 0))
    size = np.diff(np.append(start, len(x)))
    return x[start], y[start], (z[start + (size - 1) // 2] + z[start + size // 2]) / 2


def _triangles(x: np.ndarray, y: np.ndarray) -> np.ndarray | None:
    """Corners of the Delaunay triangles, (t, 3), or None where the rows lie on one line."""
    if len(x) < 3:
        return None
    try:
        return Delaunay(np.column_stack([x - x[0], y - y[0]])).simplices.astype(np.int64)
    except QhullError:
        return None


def _count(ground: Ground, grid: Grid) -> np.ndarray:
    """Rows in each cell, (ny, nx)."""
    x, y, _ = ground.metres()
    row, col = grid.rows_cols(x, y)
    held = grid.holds(row, col)
    return np.bincount(row[held] * grid.nx + col[held], minlength=grid.ny * grid.nx).reshape(grid.shape)
