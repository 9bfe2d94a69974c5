"""Where under a straightedge the gaps are widest: where a string goes down first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frame import Grid
from pipeline.surface.block_heights import Smoother
from pipeline.surface.evenness import DIRECTIONS, FWHM_TO_SD, SMOOTH_FWHM_M, gaps_each, half_samples, lattice

MOST = 3


@dataclass(frozen=True)
class WideGap:
    """e, n: middle of the straightedge, m; bearing_deg: along it, 0 to 180 from grid north; gap_m: as measured, noise in it."""

    e: float
    n: float
    bearing_deg: float
    gap_m: float


def widest_gaps(z: np.ndarray, grid: Grid, zone: np.ndarray, usable: np.ndarray, length_m: float, most: int = MOST) -> list[WideGap]:
    """The widest gaps of a zone, no two nearer than a straightedge's length, widest first. Arguments as in `straightedge`."""
    smooth = Smoother(usable & np.isfinite(z), grid.cell_m, SMOOTH_FWHM_M * FWHM_TO_SD).heights(z)
    row, col, found = gaps_each(smooth, zone & lattice(grid), half_samples(length_m, grid.cell_m), DIRECTIONS)
    if not len(row):
        return []
    way = found.argmax(axis=1)
    gap = found[np.arange(len(row)), way]
    e, n = grid.west + (col + 0.5) * grid.cell_m, grid.north - (row + 0.5) * grid.cell_m
    out: list[WideGap] = []
    for k in np.argsort(-gap, kind="stable"):
        if len(out) == most or gap[k] <= 0:
            break
        if all(np.hypot(e[k] - g.e, n[k] - g.n) >= length_m for g in out):
            out.append(WideGap(float(e[k]), float(n[k]), (90.0 - 180.0 * float(way[k]) / DIRECTIONS) % 180.0, float(gap[k])))
    return out
