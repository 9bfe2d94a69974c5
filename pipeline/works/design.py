"""A designed surface, as the steps that stake it out, drive it, export it and check it take it up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frame import Grid

TOUCH_UP, NO_MIX_BOUGHT, LASER_PLANE = "touch_up", "no_mix_bought", "laser_plane"
VARIANTS = (TOUCH_UP, NO_MIX_BOUGHT, LASER_PLANE)


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
