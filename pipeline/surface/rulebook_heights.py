"""Heights of a field as the rulebook items read them: weighted sums of cells and of plates, with one covariance.

Every item is a weighted sum, so what two places share (drift, correlated error) cancels as far as it really does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frame import Grid
from pipeline.surface.survey_error import SurveyError, cropped
from pipeline.survey.noise import Noise
from pipeline.survey.stable.correlated import cell_covariance, linear_covariance
from pipeline.survey.stable.patches import Footprint, PatchHeight


@dataclass(frozen=True)
class Linear:
    """A weighted sum of heights.

    value   : m for weights without unit
    weights : (ny, nx) on the field's grid, what it shares with its neighbours is read off
    own     : variance of what no other place shares, m2
    """

    value: float
    weights: np.ndarray
    own: float

    def __sub__(self, other: Linear) -> Linear:
        return Linear(self.value - other.value, self.weights - other.weights, self.own + other.own)

    def times(self, factor: float) -> Linear:
        return Linear(self.value * factor, self.weights * factor, self.own * factor**2)


@dataclass(frozen=True)
class Heights:
    """A survey's heights with their error: grid, z and white (ny, nx), m, NaN where nothing was measured."""

    grid: Grid
    z: np.ndarray
    white: np.ndarray
    error: SurveyError

    @property
    def held(self) -> np.ndarray:
        return np.isfinite(self.z) & np.isfinite(self.white)

    def sum(self, cells: tuple[np.ndarray, np.ndarray], weights: np.ndarray) -> Linear:
        """Weighted sum of cells given by row and column, (k,) each; sums of independent items add `own` only where
        their cells differ, so do not subtract two that share cells: add their weights first."""
        full = np.zeros(self.grid.shape)
        full[cells] = weights
        return Linear(float((weights * self.z[cells]).sum()), full, float(((weights * self.white[cells]) ** 2).sum()))

    def mean(self, mask: np.ndarray) -> Linear:
        cells = np.nonzero(mask & self.held)
        count = len(cells[0])
        return self.sum(cells, np.full(count, 1.0 / count))

    def patch(self, footprint: Footprint, height: PatchHeight) -> Linear:
        """A plate's or slab's height, from its points: what it shares is laid on the cells that it covers. A walk visits
        plates and skin at different times; by how much they then stand apart counts as the plate's own."""
        full = np.zeros(self.grid.shape)
        row, col = self.grid.rows_cols(*footprint.places.T)
        on = self.grid.holds(row, col)
        np.add.at(full, (row[on], col[on]), 1.0 / max(on.sum(), 1))
        return Linear(height.height_m, full, height.sigma_m**2 + self.error.noise.session_m**2)

    def sigma(self, what: Linear, misfit: Noise | None = None) -> float:
        """One s.d. of a weighted sum, m. misfit : error of the shape it was read with, besides the survey's."""
        none = np.zeros(self.grid.shape)
        variance = self.error.covariance([what.weights], self.grid, none)[0, 0] + what.own
        if misfit is not None:
            variance += linear_covariance([what.weights], misfit, self.grid.cell_m, none)[0, 0]
        return float(np.sqrt(max(variance, 0.0)))

    def fit(self, mask: np.ndarray, *terms: np.ndarray) -> Fit | None:
        """Least squares of the measured cells of a mask on 1 and terms (ny, nx); None where they do not settle it."""
        cells = np.nonzero(mask & self.held)
        design = np.column_stack([np.ones(len(cells[0])), *(t[cells] for t in terms)])
        if len(design) < 2 * design.shape[1] or np.linalg.matrix_rank(design) < design.shape[1]:
            return None
        return Fit(self, cells, design, np.linalg.pinv(design))


@dataclass(frozen=True)
class Fit:
    """A linear fit to cells: `weights` (p, k) give the coefficients as sums of the cells' heights."""

    of: Heights
    cells: tuple[np.ndarray, np.ndarray]
    design: np.ndarray
    weights: np.ndarray

    def coefficient(self, j: int) -> Linear:
        return self.of.sum(self.cells, self.weights[j])

    @property
    def residual(self) -> np.ndarray:
        z = self.of.z[self.cells]
        z = z - z.mean()
        return z - self.design @ (self.weights @ z)

    def mean_square(self) -> tuple[float, float, float]:
        """Of the residual, what noise alone would leave of it, and the s.d. of the first about the ground's own, m2.

        source : mean and variance of a quadratic form of normals, tr(RC) and 2 tr(RCRC) + 4 r'Cr (from memory), over k
        and k2; dense, so for some hundred cells only
        """
        k = len(self.design)
        rows, cols = self.cells
        error, grid = self.of.error, self.of.grid
        lag_r, lag_c = np.abs(rows[:, None] - rows), np.abs(cols[:, None] - cols)
        table = cell_covariance(error.noise, grid.cell_m, np.arange(lag_r.max() + 1), np.arange(lag_c.max() + 1))
        shared = table[lag_r, lag_c] + np.diag(self.of.white[self.cells] ** 2)
        away = np.eye(k) - self.design @ self.weights
        left = away @ shared @ away
        r = self.residual
        variance = 2 * (left**2).sum() + 4 * max(float(r @ left @ r) - (left**2).sum(), 0.0)
        return float((r**2).mean()), float(np.trace(left) / k), float(np.sqrt(variance) / k)


def window(heights: Heights, bounds: tuple[float, float, float, float], rim_m: float) -> tuple[Heights, tuple[slice, slice]]:
    """The part of a field round a box (west, south, east, north, m), grown by a rim, and where it lies in the grid."""
    grid = heights.grid
    r0, c0 = grid.rows_cols(bounds[0] - rim_m, bounds[3] + rim_m)
    r1, c1 = grid.rows_cols(bounds[2] + rim_m, bounds[1] - rim_m)
    rows = slice(max(int(r0), 0), max(min(int(r1) + 1, grid.ny), 0))
    cols = slice(max(int(c0), 0), max(min(int(c1) + 1, grid.nx), 0))
    part = Heights(cropped(grid, rows, cols), heights.z[rows, cols], heights.white[rows, cols], heights.error)
    return part, (rows, cols)
