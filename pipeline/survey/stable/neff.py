"""How many independent measurements an area is worth, given how its errors hang together."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import integrate

from pipeline.survey.noise import Noise
from pipeline.survey.stable.correlated import linear_variance


def effective_samples(cells: np.ndarray, noise: Noise, cell_m: float) -> float:
    """Independent samples that the correlated parts leave in the mean over a mask's cells: variance of one over theirs.

    cells : (ny, nx) bool
    Exact for any shape: all pairs of cells, by FFT.
    """
    alone = np.zeros(cells.shape)
    alone[np.unravel_index(int(np.argmax(cells)), cells.shape)] = 1.0
    one = linear_variance(alone, noise, cell_m, 0.0)
    return one / linear_variance(cells / cells.sum(), noise, cell_m, 0.0)


def disk_effective_samples(correlation: Callable[[np.ndarray], np.ndarray], area_m2: float) -> float:
    """The same for a disk of so large an area, before any grid is known: what a survey would see.

    correlation : of two errors a distance apart, m, 1 at 0
    source      : Rolstad, Haug & Denby 2009: 1 / Neff = 2 / L^2 integral of rho(r) r dr from 0 to L = sqrt(A / pi).
                  It takes all distances from the disk's middle: it counts too few samples where the range nears L
    """
    radius = float(np.sqrt(area_m2 / np.pi))
    total, _ = integrate.quad(lambda r: float(correlation(np.asarray(r))) * r, 0.0, radius, limit=400, epsabs=1e-13)
    return radius**2 / (2.0 * total)
