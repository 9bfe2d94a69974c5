"""A worked surface as 3 m places: the mean of each and how their errors go together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frame import Grid
from pipeline.surface.block_heights import blocks
from pipeline.surface.survey_error import SurveyError

PLACE_M, PART_M = 3.0, 0.5  # a place, and the blocks its mean is put together from
LEAST_SHARE = 0.5  # of a place's blocks that must hold a height


@dataclass(frozen=True)
class PlaceMeans:
    """Means over places on whole multiples of PLACE_M in the working CRS, so that a place is the same at every survey.

    e, n       : (k,), middle of what was seen of each, m
    value      : (k,), m; covariance: (k, k), m2
    parts      : (k, ny, nx), weights of the blocks in each mean
    grid       : of the blocks
    """

    e: np.ndarray
    n: np.ndarray
    value: np.ndarray
    covariance: np.ndarray
    parts: np.ndarray
    grid: Grid

    def mean_of(self, values: np.ndarray) -> np.ndarray:
        """Means of other values on the blocks, (ny, nx) -> (k,)."""
        return np.einsum("kyx,yx->k", self.parts, values)

    @property
    def names(self) -> list[str]:
        """'e627318-n84022': the place's south-west corner in whole metres."""
        corner = [np.floor(v / PLACE_M + 1e-6) * PLACE_M for v in (self.e, self.n)]
        return [f"e{e:.0f}-n{n:.0f}" for e, n in zip(*corner)]


def place_means(z: np.ndarray, white: np.ndarray, grid: Grid, cells: np.ndarray, error: SurveyError, loose_m: float = 0.0) -> PlaceMeans:
    """Means of the worked cells over each place that has enough of them; k may be 0.

    z, white : (ny, nx), m: heights (or heights less a design), NaN where nothing was measured, and one s.d. of a cell's own error
    cells    : worked ground, bool; error: of the survey, its drift included
    loose_m  : one s.d. by which loose mix may lie unevenly on a place on the day, m
    """
    factor = max(round(PART_M / grid.cell_m), 1)
    part = blocks(z, grid, factor, white, cells)
    group = max(round(PLACE_M / part.grid.cell_m), 1)
    rows, cols = np.nonzero(part.held)
    down, across = (-part.grid.row0 + rows) // group, (part.grid.col0 + cols) // group  # counted from the CRS's own origin
    keys, place = np.unique(np.column_stack([down, across]), axis=0, return_inverse=True)
    count = np.bincount(place.ravel(), minlength=len(keys))
    enough = np.flatnonzero(count >= LEAST_SHARE * group**2)
    parts = np.zeros((len(enough), *part.grid.shape))
    for i, k in enumerate(enough):
        mine = place.ravel() == k
        parts[i, rows[mine], cols[mine]] = 1.0 / count[k]
    held = np.where(part.held, part.value, 0.0)
    e, n = part.grid.mesh()
    total = lambda values: np.einsum("kyx,yx->k", parts, values)
    covariance = error.covariance(parts, part.grid, np.nan_to_num(part.white)) if len(enough) else np.zeros((0, 0))
    return PlaceMeans(total(e), total(n), total(held), covariance + loose_m**2 * np.eye(len(enough)), parts, part.grid)
