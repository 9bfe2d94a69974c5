"""How far a walk's height wandered, from where it crossed itself: most walks wander as declared, some several times as far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.survey.noise import ROVER, matern32
from pipeline.survey.plane import MAD_TO_SD
from pipeline.survey.walks.crossing_places import Places, pieces, places
from pipeline.survey.walks.walk import Walk

PATH_M = 216.0  # of walking over which a height wanders: 180 s at 1.2 m/s
LEAST_APART_M = 0.25 * PATH_M  # visits nearer than this on the path share nearly all of their drift
LEAST_PAIRS = 30
WINSOR = 3.0  # robust s.d. beyond which a difference is drawn in: a ball underfoot, a stone kicked away
PRIOR_FREEDOM = 3.0  # the declared drift counts as so many: walks differ, so a walk's own crossings soon outweigh it
PIECE_PATHS = 1.44  # path over which a drift renews itself, in PATH_M: the integral of its squared correlation


@dataclass(frozen=True)
class WalkDrift:
    """Drift of one walk.

    sd_m    : one s.d., never below the declared one, m
    found_m : what the crossings alone show, m; NaN where they are too few
    pairs   : visits compared
    """

    sd_m: float
    found_m: float
    pairs: int


def walk_drift(walk: Walk, white_m: float) -> WalkDrift:
    """Drift of one walk from the differences of its height where it crosses itself, at least LEAST_APART_M of path apart.

    walk    : cleaned, m
    white_m : s.d. of one row, m; NaN takes the declared one
    source  : method of moments: E d2 = v1 + v2 + 2 drift2 (1 - rho), rho of the path between (Matern 3/2); joined with the
              declared variance by degrees of freedom
    """
    declared = ROVER.parts[0][0]
    piece = pieces(walk)
    met = places([walk], [piece], [white_m if np.isfinite(white_m) else ROVER.white_m])
    path = _path(walk)
    difference, known, apart = _visits(met, np.bincount(piece, path) / np.maximum(np.bincount(piece), 1))
    pairs = len(difference)
    if pairs < LEAST_PAIRS:
        return WalkDrift(declared, float("nan"), pairs)
    spread = MAD_TO_SD * float(np.median(np.abs(difference)))
    square = np.clip(np.abs(difference), 0.0, WINSOR * spread) ** 2
    share = 2.0 * (1.0 - matern32(apart / PATH_M))
    weight = share / (known + share * declared**2) ** 2
    found = max(float(weight @ (square - known) / (weight @ share)), 0.0)
    freedom = float(path[-1] - path[0]) / (PIECE_PATHS * PATH_M)
    joined = (PRIOR_FREEDOM * declared**2 + freedom * found) / (PRIOR_FREEDOM + freedom)
    return WalkDrift(float(np.sqrt(max(joined, declared**2))), float(np.sqrt(found)), pairs)


def _path(walk: Walk) -> np.ndarray:
    """Metres walked up to each row; between lines as the crow flies, the least it can have been."""
    return np.cumsum(np.hypot(np.diff(walk.x, prepend=walk.x[:1]), np.diff(walk.y, prepend=walk.y[:1])))


def _visits(met: Places, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Difference of height, its known variance and the path between, for all pairs of visits to one cell, each (k,)."""
    found = []
    for lag in range(1, int(np.bincount(met.cell).max(initial=1))):
        here = np.flatnonzero(met.cell[lag:] == met.cell[:-lag])
        there = here + lag
        apart = np.abs(at[met.piece[there]] - at[met.piece[here]])
        far = apart >= LEAST_APART_M
        here, there = here[far], there[far]
        found.append((met.z[there] - met.z[here], met.variance[there] + met.variance[here], apart[far]))
    return tuple(np.concatenate(v) for v in zip(*found)) if found else (np.zeros(0),) * 3
