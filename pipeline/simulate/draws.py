"""Random draws that depend on a name and on nothing else, and random fields with a stated correlation.

Every draw takes its own generator, keyed by the scenario's seed and a few words (survey, field, what for): adding
one draw never moves another, and neither the order of the jobs nor the number of cores can.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
from numba import njit

Box = tuple[float, float, float, float]  # west, south, east, north, m


def rng(seed: int, *words: str) -> np.random.Generator:
    """A generator keyed by the seed and some words; the same on every machine (SHA-256, not Python's hash)."""
    digest = hashlib.sha256("|".join(words).encode()).digest()
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *np.frombuffer(digest, "<u4").tolist()])))


def matern32(distance: np.ndarray, range_m: float) -> np.ndarray:
    """Correlation (1 + a) exp(-a), a = sqrt(3) h / l (Rasmussen & Williams 2006, eq. 4.17, from memory)."""
    a = np.sqrt(3.0) * np.asarray(distance, float) / range_m
    return (1.0 + a) * np.exp(-a)


@dataclass(frozen=True)
class Lattice:
    """A random field on a square lattice, read between its nodes by bilinear interpolation.

    west, south : the first node, m
    step_m      : distance of nodes, m
    values      : (ny, nx), row 0 in the south
    """

    west: float
    south: float
    step_m: float
    values: np.ndarray

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Values at points (n,); a point beyond the lattice takes the border's."""
        return _bilinear(self.values, (np.asarray(x, float) - self.west) / self.step_m,
                         (np.asarray(y, float) - self.south) / self.step_m)  # fmt: skip


def lattice(generator: np.random.Generator, box: Box, sd: float, range_m: float) -> Lattice:
    """A Gaussian field with Matern 3/2 correlation over a box (west, south, east, north, m).

    Drawn by FFT on a torus six ranges larger than the box (circulant embedding, Dietrich & Newsam 1997, from memory).
    Interpolation between nodes lowers the variance; the values are raised so that its mean over a lattice cell is sd^2.
    """
    west, south, east, north = box
    step = range_m / (8 if range_m >= 0.4 else 4)
    nx, ny = (int(np.ceil((b - a) / step)) + 2 for a, b in ((west, east), (south, north)))
    tx, ty = (_easy_length(n + int(np.ceil(6 * range_m / step))) for n in (nx, ny))
    dx, dy = (np.minimum(np.arange(t), t - np.arange(t)) * step for t in (tx, ty))
    power = np.fft.rfft2(matern32(np.hypot(dy[:, None], dx), range_m)).real
    white = np.fft.rfft2(generator.standard_normal((ty, tx)))
    drawn = np.fft.irfft2(white * np.sqrt(np.maximum(power, 0.0)), s=(ty, tx))[:ny, :nx]
    near, across = matern32(np.array([step, step * 2**0.5]), range_m)
    kept = 4 / 9 + 4 / 9 * near + 1 / 9 * across  # mean variance of a bilinear mixture of four nodes
    return Lattice(west, south, step, drawn * (sd / np.sqrt(kept)))


def line(
    generator: np.random.Generator, length_m: float, closed: bool, sd: float, range_m: float, step_m: float
) -> np.ndarray:
    """The same along a line: values every step_m from 0 to at least length_m; a closed line ends as it begins."""
    n = int(np.ceil(length_m / step_m)) + 1
    if closed:
        torus, step = n - 1, length_m / (n - 1)
    else:
        torus, step = _easy_length(n + int(np.ceil(6 * range_m / step_m))), step_m
    h = np.minimum(np.arange(torus), torus - np.arange(torus)) * step
    power = np.maximum(np.fft.rfft(matern32(h, range_m)).real, 0.0)
    drawn = np.fft.irfft(np.fft.rfft(generator.standard_normal(torus)) * np.sqrt(power), n=torus) * sd
    return np.append(drawn, drawn[0]) if closed else drawn[:n]


def _easy_length(least: int) -> int:
    """The smallest length of factors 2, 3 and 5 that is not less: quick to transform."""
    threes_fives = (3**b * 5**c for b in range(12) for c in range(8))
    return min(k * 2 ** max(0, (-(-least // k) - 1).bit_length()) for k in threes_fives)


@njit(cache=True)
def _bilinear(values, fx, fy):
    ny, nx = values.shape
    out = np.empty(fx.size)
    for k in range(fx.size):
        x = min(max(fx[k], 0.0), nx - 1.000001)
        y = min(max(fy[k], 0.0), ny - 1.000001)
        i, j = int(x), int(y)
        u, v = x - i, y - j
        low = values[j, i] * (1.0 - u) + values[j, i + 1] * u
        high = values[j + 1, i] * (1.0 - u) + values[j + 1, i + 1] * u
        out[k] = low * (1.0 - v) + high * v
    return out
