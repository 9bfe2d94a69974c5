"""How unlike one another the cells of a survey are in the scatter of their points.

Under an oblique beam, on gravel, tufts or beside a kerb some cells scatter far more than the ground around them, and their
medians are off by as much more. A few points in a cell cannot tell its own scatter; all cells together tell how much a cell's
own is to be believed.
"""

from __future__ import annotations

import numpy as np
from scipy.special import betaincinv, chdtri, fdtrc

TAIL = 0.05  # share of normal, equally scattering cells beyond the value looked at
ALIKE = 1e6  # degrees of freedom: no cell is believed to differ from the ground around it
LEAST, ROUNDS = 4.0, 40


def scatter_freedom(variance: np.ndarray, points: np.ndarray, scatter: np.ndarray, chosen: np.ndarray) -> float:
    """Degrees of freedom for which the scatter of the ground around counts against a cell's own.

    variance : (ny, nx) unbiased variance of one point about its cell's mean, m2; NaN without a height
    points   : (ny, nx) points in the cell
    scatter  : (ny, nx) variance of one point on the ground around (`cells.block_scatter`), m2
    chosen   : (ny, nx) bool, the ground it is read on
    returns  : LEAST to ALIKE
    source   : cells' variances drawn from a scaled inverse chi-square: the ratio to the common one follows F (Smyth 2004,
               Stat. Appl. Genet. Mol. Biol. 3, 3, from memory). There by moments of logarithms, which heights stored in
               steps upset; here by the share beyond a normal cell's 95 %, less its own sampling error
    """
    held = chosen & np.isfinite(variance) & (scatter > 0)
    count = int(held.sum())
    if not count:
        return ALIKE
    own = points[held].astype(np.int64) - 1
    cells = np.bincount(own)
    freedom = np.flatnonzero(cells)
    cells = cells[freedom]
    limit = np.zeros(freedom[-1] + 1)
    limit[freedom] = chdtri(freedom, TAIL) / freedom
    share = float(np.mean(variance[held] > scatter[held] * limit[own])) - np.sqrt(TAIL * (1 - TAIL) / count)
    limit = limit[freedom]

    def expected(nu: float) -> float:
        return float(cells @ fdtrc(freedom, nu, limit * above_common(freedom, nu))) / count

    low, high = np.log(LEAST), np.log(ALIKE)
    if share <= expected(ALIKE):
        return ALIKE
    for _ in range(ROUNDS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if expected(np.exp(middle)) > share else (low, middle)
    return float(np.exp(0.5 * (low + high)))


def above_common(freedom: np.ndarray, nu: float) -> np.ndarray:
    """By how much a median over cells, corrected as if all scattered alike, stands above the common variance, (k,)."""
    half = betaincinv(freedom / 2.0, nu / 2.0, 0.5)
    return half / (1.0 - half) * nu / chdtri(freedom, 0.5)


def own_scatter(variance: np.ndarray, points: np.ndarray, scatter: np.ndarray, nu: float) -> np.ndarray:
    """Variance of one point of each cell, its own and the ground's around it weighed, (ny, nx), m2.

    The posterior mean (nu s0^2 + (n - 1) s^2) / (nu + n - 3) (Gelman et al. 2013, 2.6, from memory).
    """
    if nu >= ALIKE:
        return scatter
    own = np.maximum(points.astype(np.int64) - 1, 1)
    above = above_common(np.arange(1.0, own.max() + 1), nu)
    return np.where(np.isnan(variance), scatter, (nu * scatter / above[own - 1] + own * np.nan_to_num(variance)) / (nu + own - 2.0))
