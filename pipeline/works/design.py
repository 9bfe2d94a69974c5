"""A designed surface, as the steps that stake it out, drive it, export it and check it take it up."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.frame import Grid
from pipeline.works.mesh import Mesh, mesh, without_pinholes

TOUCH_UP, NO_MIX_BOUGHT, LASER_PLANE = "touch_up", "no_mix_bought", "laser_plane"
VARIANTS = (TOUCH_UP, NO_MIX_BOUGHT, LASER_PLANE)
WHOLE_SKIN = (NO_MIX_BOUGHT, LASER_PLANE)  # the others fill low spots alone
MOVED_M, LEAST_CELLS = 1e-4, 9


@dataclass(frozen=True)
class Design:
    """One designed surface of one field.

    variant  : one of VARIANTS
    grid     : the field's grid
    existing : smoothed heights of the survey it starts from, (ny, nx), m; NaN where nothing was measured
    design   : designed heights, same shape, m; NaN off the ground that is graded
    """

    variant: str
    grid: Grid
    existing: np.ndarray
    design: np.ndarray

    @property
    def cut_fill(self) -> np.ndarray:
        """Design minus existing, (ny, nx), m: fill positive, cut negative."""
        return self.design - self.existing

    @property
    def moved_ground(self) -> np.ndarray:
        """Designed heights, m; of a design that only fills, NaN where nothing is filled."""
        return self.design if self.variant != TOUCH_UP else np.where(self.cut_fill > MOVED_M, self.design, np.nan)

    @cached_property
    def triangles(self) -> Mesh | None:
        """The moved ground as triangles, made once for all that leaves; None where nothing is moved."""
        moved = self.moved_ground
        if np.isfinite(moved).sum() < LEAST_CELLS:
            return None
        made = mesh(without_pinholes(moved, self.grid.cell_m), self.grid)
        return made if len(made.faces) else None
