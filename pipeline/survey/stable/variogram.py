"""A variogram by FFT: all pairs of cells, exactly, in the time of a few transforms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

BINS = 24


@dataclass(frozen=True)
class Variogram:
    """Half mean squared differences by distance.

    distance_m : (b,) mean distance of each bin's pairs, m
    gamma_m2   : (b,) variogram, m2
    pairs      : (b,) number of pairs
    """

    distance_m: np.ndarray
    gamma_m2: np.ndarray
    pairs: np.ndarray


def lag_sums(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Number of pairs and sum of half squared differences at every lag, each (2 ny - 1, 2 nx - 1), lag 0 in the middle.

    z      : (ny, nx); NaN where there is nothing
    source : Marcotte 1996 (from memory): N = corr(m, m), sum = [corr(m f^2, m) + corr(m, m f^2) - 2 corr(m f, m f)] / 2
    """
    m = np.isfinite(z)
    f = np.where(m, z - z[m].mean(), 0.0)
    ny, nx = z.shape
    size = tuple(fft.next_fast_len(2 * n - 1, real=True) for n in (ny, nx))
    mask, one, two = (fft.rfft2(v, s=size) for v in (m.astype(float), f, f * f))

    def correlate(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        full = fft.irfft2(np.conj(a) * b, s=size)
        rows, cols = np.arange(-ny + 1, ny), np.arange(-nx + 1, nx)
        return full[np.ix_(rows % size[0], cols % size[1])]

    pairs = np.rint(correlate(mask, mask))
    half = (correlate(two, mask) + correlate(mask, two) - 2.0 * correlate(one, one)) / 2.0
    return pairs, np.where(pairs > 0, half, 0.0)


def binned(z: np.ndarray, cell_m: float, largest_m: float) -> tuple[Variogram, np.ndarray, np.ndarray]:
    """The variogram in BINS bins evenly spaced in the logarithm of distance, up to `largest_m`.

    returns : the variogram; (2 ny - 1, 2 nx - 1) the bin of each lag, -1 for none; the pairs at each lag
    """
    pairs, half = lag_sums(z)
    ny, nx = z.shape
    distance = np.hypot(np.arange(-ny + 1, ny)[:, None], np.arange(-nx + 1, nx)) * cell_m
    edges = np.geomspace(0.99 * cell_m, largest_m, BINS + 1)
    bin_of = np.where((pairs > 0) & (distance > 0), np.searchsorted(edges, distance, side="right") - 1, -1)
    bin_of[bin_of >= BINS] = -1
    held = np.unique(bin_of[bin_of >= 0])
    bin_of = np.where(bin_of >= 0, np.searchsorted(held, bin_of), -1)
    inside = bin_of >= 0
    count = np.bincount(bin_of[inside], pairs[inside])
    gamma = np.bincount(bin_of[inside], half[inside]) / count
    mean = np.bincount(bin_of[inside], (pairs * distance)[inside]) / count
    return Variogram(mean, gamma, count), bin_of, pairs
