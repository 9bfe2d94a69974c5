"""One survey's error as the figures of its surface need it: what neighbours share, each cell's own, and the drift."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from pipeline.frame import Grid
from pipeline.survey.noise import DOME_RADIUS_M, Noise
from pipeline.survey.stable.correlated import error_fields, linear_covariance
from pipeline.survey.stable.drift import drift_basis


@dataclass(frozen=True)
class SurveyError:
    """Error model of one survey (or of later minus earlier) on its field.

    noise  : correlated parts; its shift, tilt and dome are used through `drift`
    centre : easting, northing of the field's centre, m
    drift  : (4, 4) covariance of shift, tilt east, tilt north and dome, m2 at DOME_RADIUS_M (`drift_basis`)
    """

    noise: Noise
    centre: tuple[float, float]
    drift: np.ndarray

    @classmethod
    def of(cls, noise: Noise, centre: tuple[float, float], tie_covariance: np.ndarray | None = None) -> SurveyError:
        """The model with the noise's own drift prior, or with a tie's covariance.

        tie_covariance : (4, 4) of the drift left after the tie, or (3, 3) without a dome. A survey that is tied to a
                         baseline still carries the baseline's own tilt: hand in the sum of both
        """
        if tie_covariance is None:
            tilt = noise.tilt * DOME_RADIUS_M
            return cls(noise, centre, np.diag(np.square([noise.shift_m, tilt, tilt, noise.dome_m])))
        given = np.asarray(tie_covariance, float)
        if given.shape not in ((3, 3), (4, 4)):
            raise ValueError(f"tie_covariance is (3, 3) or (4, 4), found {given.shape}")
        drift = np.zeros((4, 4))
        drift[: len(given), : len(given)] = given
        return cls(noise, centre, drift)

    def covariance(self, weights: Sequence[np.ndarray] | np.ndarray, grid: Grid, white: np.ndarray) -> np.ndarray:
        """Covariance between K weighted sums of cells, (K, K), m2 for weights without unit.

        weights : (K, ny, nx), 0 where a cell takes no part
        grid    : of the weights, cells or blocks
        white   : (ny, nx) one s.d. of a cell's independent error, m
        """
        stack = np.asarray(weights, float)
        out = linear_covariance(stack, self.noise, grid.cell_m, white)
        basis = drift_basis(*grid.mesh(), self.centre)
        on_drift = np.array([[(w * basis[..., j]).sum() for j in range(4)] for w in stack])
        return out + on_drift @ self.drift @ on_drift.T

    def variances(self, weights: Sequence[np.ndarray], grid: Grid, white: np.ndarray) -> np.ndarray:
        """The diagonal of `covariance`, (K,), without the work for the rest."""
        return np.array([self.covariance([w], grid, white)[0, 0] for w in weights])

    def sigma(self, weights: np.ndarray, grid: Grid, white: np.ndarray) -> float:
        """One s.d. of one weighted sum, m for weights without unit."""
        return float(np.sqrt(max(self.covariance([weights], grid, white)[0, 0], 0.0)))

    def fields(self, grid: Grid, white: np.ndarray, count: int, rng: np.random.Generator) -> np.ndarray:
        """Random errors of the whole survey, drift included, (count, ny, nx), m."""
        out = error_fields(self.noise, grid.shape, grid.cell_m, count, rng, white)
        basis = drift_basis(*grid.mesh(), self.centre)
        value, vector = np.linalg.eigh(self.drift)
        root = vector * np.sqrt(np.maximum(value, 0.0))
        for field, draw in zip(out, rng.standard_normal((count, 4))):
            field += (basis * (root @ draw)).sum(axis=-1)
        return out


def cropped(grid: Grid, rows: slice, cols: slice) -> Grid:
    """The grid of a part of a raster: `z[rows, cols]`."""
    r0, c0 = rows.start, cols.start
    return Grid(grid.crs, grid.col0 + c0, grid.row0 - r0, grid.cell_m, rows.stop - r0, cols.stop - c0)
