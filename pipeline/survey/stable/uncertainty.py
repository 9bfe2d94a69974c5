"""What is not known of heights on a grid, in one object: ask it for a cell's s.d. or any weighted sum's.

Sums over cells go through einsum, whose bits do not depend on the number of threads as a threaded product's do.
Three sources, each counted once: every cell's own error, the parts that neighbours share, and the tie. A tie already
holds the parts of at least 1 m range (it predicts them from the patches), so they are not added again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.frame import Grid
from pipeline.survey.noise import Noise
from pipeline.survey.stable.correlated import cell_covariance, linear_covariance, spread
from pipeline.survey.stable.drift import drift_basis
from pipeline.survey.stable.tie import Tie


@dataclass(frozen=True)
class TieOnGrid:
    """A tie worked out on a grid once, for everything that is asked of it."""

    tie: Tie
    grid: Grid

    @cached_property
    def basis(self) -> np.ndarray:
        """Shift, tilts and dome of each cell, (ny, nx, 4)."""
        return drift_basis(*self.grid.mesh(), self.tie.centre)

    @cached_property
    def response(self) -> np.ndarray:
        """Prior covariance of each cell's u with each used patch's, (K, ny, nx), m2."""
        e, n = self.grid.mesh()
        return self.tie.response(e.ravel(), n.ravel()).reshape(len(self.tie.patches), *self.grid.shape)

    @cached_property
    def value(self) -> np.ndarray:
        """u, to be subtracted from the survey (or from later minus earlier), (ny, nx), m."""
        return np.einsum("k,kyx->yx", self.tie.weights, self.response)

    @cached_property
    def sigma(self) -> np.ndarray:
        """One s.d. of u, (ny, nx), m."""
        before = np.einsum("yxj,j->yx", self.basis**2, self.tie.prior) + self.tie.shared.correlated_variance
        known = np.einsum("kyx,kyx->yx", np.einsum("kl,lyx->kyx", self.tie.inverse, self.response), self.response)
        return np.sqrt(np.maximum(before - known, 0.0))

    def mean_over(self, cells: np.ndarray) -> float:
        """Mean of u over the cells of a mask, m."""
        return float(self.value[cells].mean())

    def covariance(self, weights: np.ndarray) -> np.ndarray:
        """Covariance of weighted sums of u, weights (Z, ny, nx), (Z, Z), m2."""
        f0 = np.einsum("zyx,yxj->zj", weights, self.basis)
        k0 = np.einsum("zyx,kyx->zk", weights, self.response)
        shared = linear_covariance(weights, self.tie.shared, self.grid.cell_m, 0.0)
        return (f0 * self.tie.prior) @ f0.T + shared - k0 @ self.tie.inverse @ k0.T


@dataclass(frozen=True)
class Uncertainty:
    """The error model of heights, or of height changes, on a grid.

    noise : of the one survey, or of the difference of two (`noise.of_difference`)
    white : one s.d. of each cell's own error, (ny, nx), m; NaN where nothing was measured
    tie   : how shift, tilt, dome and long parts were taken off; None: not at all, see `plane_over`
    plane_over : cells whose best plane was taken off instead, bool (ny, nx): shift and tilt are gone from every
            figure, and so is any real one; None with a tie
    """

    grid: Grid
    noise: Noise
    white: np.ndarray
    tie: TieOnGrid | None = None
    plane_over: np.ndarray | None = None

    def __post_init__(self) -> None:
        if (self.tie is None) == (self.plane_over is None):
            raise ValueError("heights are either tied or taken relative to their plane: give one of the two")

    @property
    def own_noise(self) -> Noise:
        """The noise that the tie does not hold."""
        return self.noise if self.tie is None else self.tie.tie.left_of(self.noise)

    @cached_property
    def sigma(self) -> np.ndarray:
        """One s.d. of each cell, all sources together, (ny, nx), m; NaN where `white` is."""
        alone = cell_covariance(self.own_noise, self.grid.cell_m, np.zeros(1), np.zeros(1)).item()
        if self.tie is not None:
            return np.sqrt(self.white**2 + alone + self.tie.sigma**2)
        return np.sqrt(np.maximum(self.white**2 + alone + self._plane_gain(), 0.0) + self._dome**2)

    def covariance(self, weights: Sequence[np.ndarray] | np.ndarray) -> np.ndarray:
        """Covariance between weighted sums of cells, weights Z x (ny, nx), (Z, Z), m2.

        Zone means, volumes and balances taken from one call share the tie as they should.
        raises : ValueError where a weight stands on a cell that was not measured
        """
        stack = np.asarray(weights, float)
        if self.tie is not None:
            own = linear_covariance(stack, self.own_noise, self.grid.cell_m, self.white)
            return own + self.tie.covariance(stack)
        own = linear_covariance(stack, self.noise, self.grid.cell_m, self.white)
        load = np.einsum("zyx,yxj->zj", stack, self._plane_basis)
        with_cells = self._with_plane + self._plane_weights * self._white2
        with_plane = load @ np.einsum("jyx,zyx->jz", with_cells, stack)
        dome = np.einsum("zyx,yx->z", stack, self._dome)
        return own - with_plane - with_plane.T + load @ self._of_plane @ load.T + np.outer(dome, dome)

    def sigma_of(self, weights: np.ndarray) -> float:
        """One s.d. of a weighted sum of cells, weights (ny, nx), m."""
        return float(np.sqrt(max(self.covariance([weights])[0, 0], 0.0)))

    # The plane taken off is P z at (1, e, n): w'(z - X P z) has variance w'Cw - 2 w'X P C w + w'X (P C P') X'w.

    @cached_property
    def _plane_basis(self) -> np.ndarray:
        """X: 1, east and north of the middle of the plane's cells, (ny, nx, 3)."""
        e, n = self.grid.mesh()
        middle = e[self.plane_over].mean(), n[self.plane_over].mean()
        return np.stack([np.ones(self.grid.shape), e - middle[0], n - middle[1]], axis=-1)

    @cached_property
    def _plane_weights(self) -> np.ndarray:
        """P: the weights of each cell in the plane's three coefficients, (3, ny, nx)."""
        at = self._plane_basis[self.plane_over]
        out = np.zeros((3, *self.grid.shape))
        out[:, self.plane_over] = np.einsum("ij,nj->in", np.linalg.inv(np.einsum("ni,nj->ij", at, at)), at)
        return out

    @cached_property
    def _white2(self) -> np.ndarray:
        return np.nan_to_num(self.white) ** 2

    @cached_property
    def _of_plane(self) -> np.ndarray:
        """P C P': covariance of the three coefficients, (3, 3)."""
        return linear_covariance(self._plane_weights, self.noise, self.grid.cell_m, self.white)

    @cached_property
    def _with_plane(self) -> np.ndarray:
        """P C: covariance of the three coefficients with each cell's shared error, (3, ny, nx)."""
        return spread(self._plane_weights, self.noise, self.grid.cell_m)

    @cached_property
    def _dome(self) -> np.ndarray:
        """One s.d. of the dome that a plane does not take off, signed, (ny, nx), m."""
        middle = tuple(float(v[self.plane_over].mean()) for v in self.grid.mesh())
        bowl = drift_basis(*self.grid.mesh(), middle)[..., 3]
        fit = np.einsum("jyx,yx->j", self._plane_weights, bowl)
        return self.noise.dome_m * (bowl - np.einsum("yxj,j->yx", self._plane_basis, fit))

    def _plane_gain(self) -> np.ndarray:
        """Variance that taking the plane off adds to each cell, below zero inside, (ny, nx), m2."""
        basis = self._plane_basis
        with_cells = self._with_plane + self._plane_weights * self._white2
        twice = 2 * np.einsum("yxi,iyx->yx", basis, with_cells)
        return np.einsum("yxi,ij,yxj->yx", basis, self._of_plane, basis) - twice
