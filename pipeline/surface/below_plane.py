"""Depth below the plane a zone should have: its L1 plane, or the design's heights; and the fill that would take."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import nan

import numpy as np

from pipeline.frame import Grid
from pipeline.surface.survey_error import SurveyError
from pipeline.surface.evenness import BlockNoise
from pipeline.surface.slope import ZonePlane
from pipeline.survey.plane import Plane, fit_plane

L1_STEPS, L1_SETTLED_M, L1_FLOOR_M = 200, 1e-6, 1e-5


@dataclass(frozen=True)
class Below:
    """Ground missing under a plane.

    depth         : (ny, nx) on the block grid, max(plane - block, 0), m; NaN outside the zone
    volume_m3     : of it all, as measured
    noise_m3      : the part that noise adds (on plane ground 0.399 s A: all of it)
    net_m3        : volume less noise, >= 0
    net_sigma_m3  : one s.d. of it
    fill_tonnes   : net at the placed density; NaN where no density is given
    """

    depth: np.ndarray
    volume_m3: float
    noise_m3: float
    net_m3: float
    net_sigma_m3: float
    fill_tonnes: float


def l1_plane(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> Plane:
    """The plane with the least sum of absolute departures, so that worn places do not pull it down.

    x, y, z : same shape, m
    source  : reweighted least squares (Schlossmacher 1973, from memory), to 0.001 mm; agrees with linear programming
              (checked in the tests). The covariance is that of the last weighted fit: bring the error model's instead
    """
    plane = fit_plane(x, y, z)
    for _ in range(L1_STEPS):
        weight = 1.0 / np.maximum(np.abs(z - plane.at(x, y)), L1_FLOOR_M)
        new = fit_plane(x, y, z, weight)
        moved = np.abs(new.at(x, y) - plane.at(x, y)).max()
        plane = new
        if moved < L1_SETTLED_M:
            break
    return plane


def zone_l1(zone: ZonePlane) -> ZonePlane:
    """The same zone with its L1 plane, slopes' weights kept."""
    held = zone.blocks.held
    x, y = (v[held] for v in zone.blocks.grid.mesh())
    plane = l1_plane(x, y, zone.blocks.value[held])
    shift = np.array([plane.x0 - zone.plane.x0, plane.y0 - zone.plane.y0])
    weights = zone.weights.copy()
    weights[0] += shift[0] * weights[1] + shift[1] * weights[2]
    return replace(zone, plane=plane, weights=weights)


def below(
    zone: ZonePlane, noise: BlockNoise, design: np.ndarray | None = None, placed_t_per_m3: float | None = None
) -> Below:
    """Depth and volume below a zone's plane, noise taken off.

    zone    : block means with the plane to judge by: `zone_l1(zone_plane(..., median=False))`
    design  : heights on the block grid in its place, m; then the tie's error counts in full
    What noise adds depends on the ground: on plane ground every dip is noise, in a deep pit none is. So it is read from
    the surface with one more error (simulation extrapolation, Cook & Stefanski 1994, from memory). From two errors over
    one to none, V grows with the s.d. of the noise where pits lie in plane ground, and V^2 with its variance where all
    of it is rough; on plane ground both take all of it off. Net is their middle, their distance is in its s.d.
    """
    held = zone.blocks.held
    area = zone.blocks.count[held] * (zone.blocks.grid.cell_area_m2 / zone.blocks.cells)
    if design is None:
        low = -zone.residual[held]
        errors = zone.residual_of(noise.of(zone))
        errors += np.median(low - errors, axis=1, keepdims=True) - np.median(low)  # an L1 plane halves its blocks
    else:
        low = (design - zone.blocks.value)[held]
        errors = noise.of(zone)[:, held]
    volume = float((area * np.maximum(low, 0.0)).sum())
    noisy = np.array([(area * np.maximum(low - e, 0.0)).sum() for e in errors])
    pitted = max(volume - (noisy.mean() - volume) / (np.sqrt(2.0) - 1.0), 0.0)
    rough = np.sqrt(max(2.0 * volume**2 - noisy.mean() ** 2, 0.0))
    net = float(min((pitted + rough) / 2, volume))
    sigma = float(np.sqrt(noisy.var(ddof=1) + (rough - pitted) ** 2 / 12))
    depth = np.full(held.shape, np.nan)
    depth[held] = np.maximum(low, 0.0)
    tonnes = nan if placed_t_per_m3 is None else net * placed_t_per_m3
    return Below(depth, volume, volume - net, net, sigma, tonnes)


def depth_below(
    zone: ZonePlane,
    shares: list[np.ndarray],
    values_m: np.ndarray,
    at: list[tuple[float, float]],
    extra_variance: np.ndarray,
    error: SurveyError,
) -> tuple[np.ndarray, np.ndarray]:
    """Plane less the mean height of several spots, signed, and its one s.d., (n,) each, m.

    shares         : of each spot, its weights on the block grid, summing to 1
    values_m       : mean height of each spot, from its own cells
    at             : centroid of each spot, m
    extra_variance : variance of the spot's own error beyond that of the blocks it lies in, m2
    The plane's weights are those of least squares, as in `slope_of`.
    """
    if not len(shares):
        return np.zeros(0), np.zeros(0)
    e, n = np.array(at).T
    u, v = e - zone.plane.x0, n - zone.plane.y0
    stack = [zone.weights[0] + a * zone.weights[1] + b * zone.weights[2] - s for a, b, s in zip(u, v, shares)]
    white = np.nan_to_num(zone.blocks.white, nan=_typical(zone.blocks.white))
    variance = error.variances(stack, zone.blocks.grid, white) + extra_variance
    return zone.plane.at(e, n) - values_m, np.sqrt(np.maximum(variance, 0.0))


def spot_shares(cells: np.ndarray, grid: Grid, blocks_of: Grid) -> np.ndarray:
    """Weights on the block grid of the mean over some cells (flat indices): each block by the cells it holds."""
    factor = round(blocks_of.cell_m / grid.cell_m)
    north = blocks_of.row0 * factor - grid.row0
    west = grid.col0 - blocks_of.col0 * factor
    row, col = (cells // grid.nx + north) // factor, (cells % grid.nx + west) // factor
    out = np.bincount(row * blocks_of.nx + col, minlength=blocks_of.ny * blocks_of.nx)
    return out.reshape(blocks_of.shape) / len(cells)


def _typical(white: np.ndarray) -> float:
    held = white[np.isfinite(white)]
    return float(np.sqrt((held**2).mean())) if len(held) else 0.0
