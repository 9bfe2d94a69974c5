"""Heights along a short line over the ground, on every date that the page carries."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Callable, Sequence

import numpy as np

from pipeline.frame import Grid
from pipeline.report.two_dates import Surface

WIDE_M = 0.5  # mean over so much across the line
LEAST_SHARE = 0.5  # of that width that must have been measured


@dataclass(frozen=True)
class Section:
    """One date along one line. d: distance along it, m; over_mm, sigma_mm: height over the plane and one s.d., (k,); NaN where not measured."""

    survey_id: str
    d: np.ndarray
    over_mm: np.ndarray
    sigma_mm: np.ndarray


def section(date: Surface, grid: Grid, plane: Callable, e0: float, n0: float, east: float, north: float, low_m: float, high_m: float) -> Section:
    """A date's mean heights over WIDE_M along a line, cell by cell.

    e0, n0 : where distance is 0, m; east, north : unit direction
    plane  : height of the plane at eastings and northings, m
    The s.d. is the mean of the cells', not divided by their number: most of it is common to them.
    """
    d = np.arange(low_m, high_m + 1e-9, grid.cell_m)
    across = np.arange(-WIDE_M / 2 + grid.cell_m / 2, WIDE_M / 2, grid.cell_m)
    e = e0 + d[:, None] * east - across * north
    n = n0 + d[:, None] * north + across * east
    row, col = grid.rows_cols(e, n)
    inside = (row >= 0) & (row < grid.ny) & (col >= 0) & (col < grid.nx)
    at = np.clip(row, 0, grid.ny - 1), np.clip(col, 0, grid.nx - 1)
    z, s = np.where(inside, date.z[at] - plane(e, n), np.nan), np.where(inside, date.sigma[at], np.nan)
    held = np.isfinite(z) & np.isfinite(s)
    count = held.sum(axis=1)
    enough = count >= LEAST_SHARE * len(across)
    mean = lambda v: np.where(enough, 1000 * np.where(held, v, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan)
    return Section(date.survey_id, d, mean(z), mean(s))


def worth_drawing(found: Sequence[Section], least: float = 0.6) -> list[Section]:
    """Those of which enough was measured."""
    return [s for s in found if np.isfinite(s.over_mm).mean() >= least]
