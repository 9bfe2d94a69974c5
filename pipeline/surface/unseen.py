"""What the part of a zone that a survey did not see may hide from figures that speak of the whole zone.

Ground goes on as it was seen to go: the unseen blocks leave the plane by as much as the seen ones and hang together as they do.
Two surveys that saw different parts of the same ground would else contradict each other, each with a narrow interval.
"""

from __future__ import annotations

import numpy as np
from scipy import fft

MOST_LOST = 0.75  # of the variance that a fit is believed to have taken with it


def kernel(values: np.ndarray, fitted: int = 1, own: float = 0.0) -> np.ndarray:
    """Autocovariance of seen values by lag, (2 ny - 1, 2 nx - 1), lag 0 in the middle; the square of their unit.

    values : (ny, nx) of mean 0; NaN where unseen
    fitted : parameters that were fitted to the values and taken off: 1 for a mean, 3 for a plane
    own    : variance that a value does not share with its neighbours, taken off at lag 0
    The same in all directions, and 0 from the first distance on at which it is no longer positive: what lies further tells
    nothing of a place. What the fit took with it is given back: times n / (n - fitted), n the number of values once those that
    hang together count as one.
    """
    held = np.isfinite(values)
    ny, nx = values.shape
    filled = np.where(held, values, 0.0)
    pairs, sums = np.rint(_correlated(held.astype(float))), _correlated(filled)
    away = np.rint(np.hypot(np.arange(-ny + 1, ny)[:, None], np.arange(-nx + 1, nx))).astype(int)
    count = np.bincount(away.ravel(), pairs.ravel())
    mean = np.bincount(away.ravel(), sums.ravel()) / np.maximum(count, 1.0)
    mean[0] = max(mean[0] - own, 0.0)
    gone = np.flatnonzero((mean <= 0) | (count < 1))
    mean[gone[0] if len(gone) else len(mean) :] = 0.0
    together = float((count * mean[: len(count)]).sum())
    n = held.sum() ** 2 * mean[0] / together if together > 0 else np.inf
    return mean[away] / (1.0 - min(fitted / n, MOST_LOST))


def covariance(weights: np.ndarray, by_lag: np.ndarray) -> np.ndarray:
    """Covariance of weighted sums, (K, K), weights (K, ny, nx), from `kernel`; never below 0 on its diagonal."""
    ny, nx = weights.shape[1:]
    size = _size(3 * ny - 2, 3 * nx - 2)
    lifted = fft.rfft2(by_lag, s=size)
    spread = [fft.irfft2(fft.rfft2(w, s=size) * lifted, s=size)[ny - 1 : 2 * ny - 1, nx - 1 : 2 * nx - 1] for w in weights]
    out = np.einsum("ayx,byx->ab", weights, np.stack(spread))
    keep = np.diag(out) > 0
    return np.where(np.outer(keep, keep), (out + out.T) / 2, 0.0)


def _correlated(values: np.ndarray) -> np.ndarray:
    """Sum over all cells of value times value so many rows and columns on, (2 ny - 1, 2 nx - 1), lag 0 in the middle."""
    ny, nx = values.shape
    size = _size(2 * ny - 1, 2 * nx - 1)
    full = fft.irfft2(np.abs(fft.rfft2(values, s=size)) ** 2, s=size)
    return full[np.ix_(np.arange(-ny + 1, ny) % size[0], np.arange(-nx + 1, nx) % size[1])]


def _size(*shape: int) -> tuple[int, ...]:
    return tuple(fft.next_fast_len(n, real=True) for n in shape)
