"""Random ground: fields and lines of unit s.d. with Matern 3/2 correlation, made by FFT on a periodic lattice."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numba import njit

BILINEAR_LOSS = 0.984  # s.d. left by bilinear reading of a lattice at a fifth of the range


@lru_cache(maxsize=8)
def _root_spectrum(n: int, dims: int) -> np.ndarray:
    """Square roots of the eigenvalues of Matern 3/2 on a periodic lattice at a fifth of the range."""
    k = np.minimum(np.arange(n), n - np.arange(n)) / 5.0
    h = k if dims == 1 else np.hypot(k[:, None], k)
    a = np.sqrt(3) * h
    return np.sqrt(np.maximum(np.fft.fftn((1 + a) * np.exp(-a)).real, 0))


def random_field(rng: np.random.Generator, range_m: float) -> tuple[np.ndarray, float]:
    """A random field of unit s.d. on a periodic lattice, and its spacing."""
    n = 1024 if range_m < 0.5 else 512 if range_m < 3 else 128
    root = _root_spectrum(n, 2)
    white = np.fft.rfft2(rng.standard_normal((n, n)))
    return np.fft.irfft2(white * root[:, : n // 2 + 1], s=(n, n)).astype(np.float32), range_m / 5


def random_line(rng: np.random.Generator, n: int, range_m: float) -> np.ndarray:
    """A random line of unit s.d. every 0.1 m."""
    m = 1
    while m * range_m / 5 < n * 0.1 + 10 * range_m:
        m *= 2
    values = np.fft.ifft(np.fft.fft(rng.standard_normal(m)) * _root_spectrum(m, 1)).real
    return np.interp(np.arange(n) * 0.1, np.arange(m) * range_m / 5, values)


def read_line(track: np.ndarray, s: np.ndarray) -> np.ndarray:
    return np.interp(s, np.arange(len(track)) * 0.1, track)


def read_field(lattice: tuple[np.ndarray, float], x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return _bilinear(lattice[0], x / lattice[1], y / lattice[1]) / BILINEAR_LOSS


@njit(cache=True)
def _bilinear(f, u, v):
    n = f.shape[0]
    out = np.empty(u.shape[0])
    for k in range(u.shape[0]):
        i, j = int(np.floor(u[k])), int(np.floor(v[k]))
        a, b = u[k] - i, v[k] - j
        i0, j0 = i % n, j % n
        i1, j1 = (i0 + 1) % n, (j0 + 1) % n
        out[k] = (f[i0, j0] * (1 - a) + f[i1, j0] * a) * (1 - b) + (f[i0, j1] * (1 - a) + f[i1, j1] * a) * b
    return out
