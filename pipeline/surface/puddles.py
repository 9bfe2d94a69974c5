"""Puddles that somebody saw, held against where the survey before had water stand."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from pipeline.frame import Grid

NEAR_M = 1.0  # an eye and a finger on a small plan are no better (ours)
LEAST_M = 0.002  # less water than this is damp, not a puddle (ours)
SEEN_SHARE = 0.5  # of the ground within NEAR_M that must have been measured


@dataclass(frozen=True)
class Puddle:
    """One that was seen. on: ISO day; place: as written; e, n: m; survey_id: the newest survey flown by then; drawn: whether water stands
    there in its flood, None where it cannot tell."""

    on: str
    place: str
    e: float
    n: float
    survey_id: str
    drawn: bool | None


def drawn_at(depth: np.ndarray, grid: Grid, e: float, n: float) -> bool | None:
    """Whether water stands within NEAR_M of a spot; None where less than half of that ground was measured.

    depth : (ny, nx), m of water after 10 mm of rain, NaN where not measured
    """
    easts, norths = grid.mesh()
    near = np.hypot(easts - e, norths - n) <= NEAR_M
    seen = depth[near]
    if not len(seen) or np.isfinite(seen).mean() < SEEN_SHARE:
        return None
    return bool(np.nanmax(seen) >= LEAST_M)


def widening(hits: int, count: int) -> float:
    """By how much the ranges of a field's water are stretched: 1 while every puddle was drawn, more with each miss (ours)."""
    return sqrt((count + 1) / (hits + 1))
