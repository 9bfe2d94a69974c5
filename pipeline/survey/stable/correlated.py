"""Errors that neighbours share: the variance of any weighted sum of cells, and random fields that have it.

A cell's height averages its points, so what two cells share is the noise covariance averaged over both cells.
That matters where a correlated part is not much longer than the cell: a part of range 0.15 m keeps 87 % of its
variance in a 0.1 m cell and 29 % in a 0.5 m one. Shift, tilt and dome are the tie's affair and are not in here.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import fft

from pipeline.survey.noise import Noise, matern32

SUBCELLS = 4  # a cell is averaged over 4 x 4 places
AVERAGED_BELOW_CELLS = 8.0  # parts longer than so many cells lose under 1 % by averaging: left as they are
REACH_RANGES = 6.0  # beyond so many ranges Matern 3/2 is under 0.04 %


def error_fields(
    noise: Noise,
    shape: tuple[int, int],
    cell_m: float,
    count: int,
    rng: np.random.Generator,
    white_cell: np.ndarray | float | None = None,
) -> np.ndarray:
    """Random error fields of one survey on a grid: correlated parts plus each cell's own error, without the tie.

    shape      : (ny, nx) of the grid
    count      : fields wanted, K; the first fields are the same whatever K is
    white_cell : one s.d. of a cell's independent error, m, a number or (ny, nx); None takes `noise.white_m`;
                 NaN (nothing measured there) counts as 0, so that the fields can be smoothed
    returns    : (K, ny, nx), m
    source     : circulant embedding (Dietrich & Newsam 1997, from memory); both halves of each complex draw are used
    """
    ny, nx = shape
    white = np.nan_to_num(np.broadcast_to(noise.white_m if white_cell is None else white_cell, shape))
    root = _spectral_root(noise, shape, cell_m)
    out = np.empty((count, ny, nx))
    for k in range(0, count, 2):
        draw = rng.standard_normal((2, *root.shape))
        own = rng.standard_normal((2, ny, nx))
        field = fft.fft2(root * (draw[0] + 1j * draw[1]), overwrite_x=True)[:ny, :nx]
        out[k] = field.real + white * own[0]
        if k + 1 < count:
            out[k + 1] = field.imag + white * own[1]
    return out


def linear_variance(
    weights: np.ndarray, noise: Noise, cell_m: float, white_cell: np.ndarray | float | None = None
) -> float:
    """Variance of the weighted sum of a survey's cells, w'z, without the tie, m2.

    weights    : (ny, nx), no unit; 0 where a cell takes no part
    white_cell : one s.d. of a cell's independent error, m, a number or (ny, nx); None takes `noise.white_m`
    raises     : ValueError for a weight that is not finite, or that stands on a cell whose white_cell is not
    source     : var = sum over lags of A_w(h) C(h), A_w the autocorrelation of the weights, by Parseval
    """
    return float(linear_covariance([weights], noise, cell_m, white_cell)[0, 0])


def linear_covariance(
    weights: Sequence[np.ndarray] | np.ndarray,
    noise: Noise,
    cell_m: float,
    white_cell: np.ndarray | float | None = None,
) -> np.ndarray:
    """Covariance between several weighted sums of one survey's cells, without the tie, (K, K), m2.

    weights    : K arrays (ny, nx), as in `linear_variance`
    white_cell : as in `linear_variance`
    """
    stack = np.asarray(weights, float)
    if not np.isfinite(stack).all():
        raise ValueError("a weight is not a finite number; cells that take no part have weight 0")
    count = len(stack)
    used = (stack != 0).any(axis=0)
    if not used.any():
        return np.zeros((count, count))
    rows, cols = np.flatnonzero(used.any(axis=1)), np.flatnonzero(used.any(axis=0))
    box = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    white = np.broadcast_to(noise.white_m if white_cell is None else white_cell, used.shape)[box]
    if not np.isfinite(white[used[box]]).all():
        raise ValueError("a weight stands on a cell whose white error is unknown; nothing was measured there")
    stack = stack[:, *box]
    own = np.einsum("ayx,byx->ab", stack * np.nan_to_num(white), stack * np.nan_to_num(white))
    if not noise.parts:
        return own
    return own + _shared(stack, noise, cell_m)


def spread(weights: Sequence[np.ndarray] | np.ndarray, noise: Noise, cell_m: float) -> np.ndarray:
    """Covariance of every cell's correlated error with weighted sums of cells, (K, ny, nx), m2.

    weights : K arrays (ny, nx), no unit
    """
    stack = np.asarray(weights, float)
    ny, nx = stack.shape[1:]
    size = tuple(fft.next_fast_len(2 * n - 1, real=True) for n in (ny, nx))
    spectrum = fft.rfft2(_torus(noise, cell_m, size))
    return np.stack([fft.irfft2(fft.rfft2(w, s=size) * spectrum, s=size)[:ny, :nx] for w in stack])


def cell_covariance(noise: Noise, cell_m: float, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Covariance of the correlated parts between two cells so many rows and columns apart, m2.

    rows : (a,) lags in cells, >= 0
    cols : (b,) lags in cells, >= 0
    returns : (a, b)
    """
    dy, dx = np.asarray(rows, float) * cell_m, np.asarray(cols, float) * cell_m
    distance = np.hypot(dy[:, None], dx)
    out = np.zeros_like(distance)
    for sd, range_m in noise.parts:
        if range_m >= AVERAGED_BELOW_CELLS * cell_m:
            out += sd**2 * matern32(distance / range_m)
        else:
            reach = 2 * REACH_RANGES * range_m + cell_m
            near = np.ix_(dy <= reach, dx <= reach)
            out[near] += sd**2 * _cell_mean(range_m, cell_m, dy[dy <= reach], dx[dx <= reach])
    return out


def _cell_mean(range_m: float, cell_m: float, dy: np.ndarray, dx: np.ndarray) -> np.ndarray:
    """Matern 3/2 averaged over all pairs of places of two cells, (a, b): offsets carry triangular weights."""
    step = np.arange(-SUBCELLS + 1, SUBCELLS)
    share = (SUBCELLS - np.abs(step)) / SUBCELLS**2
    offset = step * cell_m / SUBCELLS
    out = np.zeros((len(dy), len(dx)))
    for a, wa in zip(offset, share):
        for b, wb in zip(offset, share):
            out += wa * wb * matern32(np.hypot((dy + a)[:, None], dx + b) / range_m)
    return out


def _torus(noise: Noise, cell_m: float, size: tuple[int, int]) -> np.ndarray:
    """The cell covariance on a torus of `size` cells, lag 0 first, m2: distances go the shorter way round."""
    rows, cols = (np.minimum(np.arange(n), n - np.arange(n)) for n in size)
    quarter = cell_covariance(noise, cell_m, np.arange(rows.max() + 1), np.arange(cols.max() + 1))
    return quarter[np.ix_(rows, cols)]


def _shared(stack: np.ndarray, noise: Noise, cell_m: float) -> np.ndarray:
    """The correlated parts' share of the covariance between weighted sums, (K, K), m2."""
    size = tuple(fft.next_fast_len(2 * n - 1, real=True) for n in stack.shape[1:])
    spectrum = fft.rfft2(_torus(noise, cell_m, size)).real
    spectrum[:, 1 : (size[1] + 1) // 2] *= 2.0  # the half of the plane a real transform leaves out
    spectra = [fft.rfft2(w, s=size) for w in stack]
    out = np.empty((len(stack), len(stack)))
    for i, one in enumerate(spectra):
        lifted = one * spectrum
        for j, other in enumerate(spectra[: i + 1]):
            total = (other.real * lifted.real + other.imag * lifted.imag).sum()
            out[i, j] = out[j, i] = total / (size[0] * size[1])
    return out


def _spectral_root(noise: Noise, shape: tuple[int, int], cell_m: float) -> np.ndarray:
    """Root of the torus's eigenvalues, scaled for a complex draw of unit normals.

    The torus is REACH_RANGES longer than the grid, so that the two ends of the grid do not meet. What little is
    negative in its spectrum is set to 0 and the rest scaled back to the variance asked for.
    """
    reach = max((range_m for _, range_m in noise.parts), default=0.0) * REACH_RANGES / cell_m
    size = tuple(fft.next_fast_len(int(np.ceil(n + reach))) for n in shape)
    torus = _torus(noise, cell_m, size)
    power = np.clip(fft.fft2(torus).real, 0.0, None)
    if torus[0, 0] > 0:
        power *= torus[0, 0] / power.mean()
    return np.sqrt(power / power.size)
