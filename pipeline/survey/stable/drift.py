"""What a survey's height error may look like over a field: shift, tilt and dome, and a residual neighbours share."""

from __future__ import annotations

import numpy as np
from numba import njit

from pipeline.survey.noise import DOME_RADIUS_M, Noise

LONG_RANGE_M = 1.0  # parts of at least this range are tied to the patches; shorter ones end within a patch
PRIOR_SHIFT_M = 0.300  # s.d.; wide: a survey may sit anywhere short of a refusal
PRIOR_TILT_M = 0.015  # s.d. at DOME_RADIUS_M, each axis; more where a pair is declared to tilt more
DOME_FLOOR_M = 0.005  # one survey; a lens's bowl is not believed to be better known, however small it is declared
TABLE_STEP_M = 0.01


def drift_basis(e: np.ndarray, n: np.ndarray, centre: tuple[float, float]) -> np.ndarray:
    """Shift, tilt east, tilt north, dome at places, each 1 at DOME_RADIUS_M: shape of e plus (4,)."""
    x, y = (np.asarray(e, float) - centre[0]) / DOME_RADIUS_M, (np.asarray(n, float) - centre[1]) / DOME_RADIUS_M
    return np.stack([np.ones_like(x), x, y, x * x + y * y], axis=-1)


def drift_prior(pair: Noise) -> np.ndarray:
    """Prior variances of shift, tilts and dome between two surveys, (4,), m2; `pair`: model of their difference."""
    dome = max(pair.dome_m, DOME_FLOOR_M * 2**0.5) if pair.dome_m > 0 else 0.0
    tilt = max(PRIOR_TILT_M, pair.tilt * DOME_RADIUS_M)
    return np.array([PRIOR_SHIFT_M, tilt, tilt, dome]) ** 2


def mean_covariance(noise: Noise, one: np.ndarray, other: np.ndarray) -> float:
    """Mean covariance of the correlated parts over all pairs of two sets of places, (q, 2) and (r, 2), m2."""
    distance = np.hypot(one[:, None, 0] - other[None, :, 0], one[:, None, 1] - other[None, :, 1])
    return float(noise.covariance(distance).mean())


def covariance_table(noise: Noise, reach_m: float) -> np.ndarray:
    """Covariance of the correlated parts every TABLE_STEP_M up to `reach_m`, m2."""
    return noise.covariance(np.arange(int(reach_m / TABLE_STEP_M) + 3) * TABLE_STEP_M)


@njit(cache=True, nogil=True)
def covariance_with_places(
    e: np.ndarray, n: np.ndarray, places: np.ndarray, table: np.ndarray, step_m: float
) -> np.ndarray:
    """Mean tabled covariance of each of (k,) points with a set of places (q, 2), (k,), m2."""
    out = np.empty(len(e))
    last = len(table) - 2
    for i in range(len(e)):
        total = 0.0
        for q in range(len(places)):
            at = np.sqrt((e[i] - places[q, 0]) ** 2 + (n[i] - places[q, 1]) ** 2) / step_m
            k = min(int(at), last)
            total += table[k] + (at - k) * (table[k + 1] - table[k])
        out[i] = total / len(places)
    return out
