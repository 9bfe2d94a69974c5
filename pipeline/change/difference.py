"""Height gained between two dates, with all that is not known of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frame import Grid
from pipeline.survey.noise import Noise
from pipeline.survey.plane import Plane, fit_plane
from pipeline.survey.stable.tie import Tie
from pipeline.survey.stable.uncertainty import TieOnGrid, Uncertainty

LEVEL_95 = 1.959963984540054  # two-sided 95 % of a normal distribution


@dataclass(frozen=True)
class Change:
    """Later minus earlier, positive = gained.

    dz          : (ny, nx), m; NaN where either date is
    uncertainty : its error model: a cell's s.d., any weighted sum's covariance
    plane       : the plane taken off where the pair could not be tied; None: absolute change. A page that shows
                  relative change must say that a plane, and with it any real rise and tilt of the skin, is gone
    """

    grid: Grid
    dz: np.ndarray
    uncertainty: Uncertainty
    plane: Plane | None = None

    @property
    def relative(self) -> bool:
        return self.plane is not None

    @property
    def measured(self) -> np.ndarray:
        """True where both dates saw the ground, (ny, nx)."""
        return np.isfinite(self.dz)

    @property
    def sigma(self) -> np.ndarray:
        """One s.d. of each cell, (ny, nx), m; NaN where dz is."""
        return np.where(self.measured, self.uncertainty.sigma, np.nan)


def quadrature(earlier_m: np.ndarray, later_m: np.ndarray) -> np.ndarray:
    """One s.d. of a difference of independent errors; source: Brasington et al. 2003 (from memory)."""
    return np.hypot(earlier_m, later_m)


def tied_change(
    grid: Grid,
    earlier_z: np.ndarray,
    later_z: np.ndarray,
    earlier_white: np.ndarray,
    later_white: np.ndarray,
    pair: Noise,
    tie: Tie,
) -> Change:
    """Change of a pair tied to each other directly.

    earlier_z, later_z : heights as surveyed, neither tied to anything, (ny, nx), m
    ..._white          : one s.d. of each cell's own error, (ny, nx), m
    pair               : error model of the difference
    tie                : of the later survey to the earlier
    """
    on_grid = TieOnGrid(tie, grid)
    dz = later_z - earlier_z - on_grid.value
    white = np.where(np.isfinite(dz), quadrature(earlier_white, later_white), np.nan)
    return Change(grid, dz, Uncertainty(grid, pair, white, tie=on_grid))


def relative_change(
    grid: Grid,
    earlier_z: np.ndarray,
    later_z: np.ndarray,
    earlier_white: np.ndarray,
    later_white: np.ndarray,
    pair: Noise,
    skin: np.ndarray,
) -> Change:
    """Change less its own robust plane over the skin, for a pair that stable ground cannot tie.

    skin   : (ny, nx) bool; its cells seen at both dates set the plane
    raises : ValueError when fewer than three such cells are there, or all on one line
    The plane is Tukey's; its uncertainty is taken as least squares', which neighbours' shared errors decide.
    """
    dz = later_z - earlier_z
    seen = skin & np.isfinite(dz)
    e, n = grid.mesh()
    plane = fit_plane(e[seen], n[seen], dz[seen], robust="tukey")
    dz = dz - plane.at(e, n)
    white = np.where(np.isfinite(dz), quadrature(earlier_white, later_white), np.nan)
    return Change(grid, dz, Uncertainty(grid, pair, white, plane_over=seen), plane)


def direct_tie_step(earlier: TieOnGrid, later: TieOnGrid, pair: TieOnGrid) -> np.ndarray:
    """What a pair's change has that the difference of the two elevations tied to the baseline has not, (ny, nx), m.

    change = (later elevation - earlier elevation) + this smooth surface, whose mean over the skin is `pair_tie_mm`.
    """
    return later.value - earlier.value - pair.value
