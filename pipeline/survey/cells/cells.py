"""Ground points to one height a cell, and how far that height is off by chance.

A cell's height is the median of its points, each carried to the cell's centre along its plane block's slope; without
that, unevenly placed points on a slope shift it. Fewer than 3 points, or too few around to tell the slope: empty.
Nothing is ever filled in.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from pipeline.survey.cells.block_planes import ENOUGH_POINTS, place, plane_of_points
from pipeline.survey.cells.blocks import kth_smallest
from pipeline.survey.cells.tiles import HEIGHT_SHIFT

FEWEST = 3
ENOUGH_CELLS, GOLDEN = 100_000, 0.6180339887498949
MEDIAN_UP_TO = 64  # points; beyond, the mean of the screened points is as safe and surer
PRIOR_FREEDOM = 50.0  # degrees of freedom the field's scatter counts for against a block's own


@njit(nogil=True, cache=True)
def cells_of_tile(keys, starts, block, cell_ticks, height, points, variance):
    """Height, points and scatter of each cell of one tile.

    keys, starts : the tile's ground points in order (`order.in_order`)
    block        : cells along a reference block's side
    height   : (tile, tile) filled, m; NaN with fewer than 3 points, or where the block's points do not carry a slope
    points   : (tile, tile) filled, the ground points in the cell, also where height is NaN
    variance : (tile, tile) filled, unbiased variance of one point about the cell's mean, m2; NaN as height
    """
    side = 3 * block
    planes = len(height) // side
    everywhere = np.full(9, np.inf)
    room = 0
    for c in range(len(starts) - 1):
        room = max(room, starts[c + 1] - starts[c])
    off = np.empty(room)
    for p in range(planes * planes):
        row0, col0, cell0 = p // planes * side, p % planes * side, p * side * side
        first, n = starts[cell0], starts[cell0 + side * side] - starts[cell0]
        middle_row, middle_col = (row0 + 0.5 * side) * cell_ticks, (col0 + 0.5 * side) * cell_ticks
        level = keys[first] >> HEIGHT_SHIFT if n else 0
        plane = plane_of_points(
            keys, starts, cell0, block * block, 1 + n // ENOUGH_POINTS, -everywhere, everywhere,
            middle_row, middle_col, level, side * cell_ticks * 1e-4, (0.0, 0.0, 0.0), (np.nan, np.nan, np.nan),
        )  # fmt: skip
        c = cell0
        for b in range(9):
            for inner in range(block * block):
                row = row0 + b // 3 * block + inner // block
                col = col0 + b % 3 * block + inner % block
                points[row, col] = starts[c + 1] - starts[c]
                height[row, col], variance[row, col] = _cell(
                    keys, starts[c], starts[c + 1], plane, middle_row, middle_col, level,
                    (row + 0.5) * cell_ticks, (col + 0.5) * cell_ticks, off,
                )  # fmt: skip
                c += 1


@njit(nogil=True, cache=True)
def _cell(keys, first, end, plane, middle_row, middle_col, level, centre_row, centre_col, off):
    """Height at a cell's centre and variance of its points about their mean; NaN, NaN with too few."""
    n = end - first
    if n < FEWEST:
        return np.nan, np.nan
    a, by, bx = plane
    total = 0.0
    for i in range(n):
        y, x, z = place(keys[first + i], middle_row, middle_col, level)
        off[i] = z - (a + by * y + bx * x)
        total += off[i]
    mean = total / n
    squares = 0.0
    for i in range(n):
        squares += (off[i] - mean) * (off[i] - mean)
    middle = _median(off, n) if n <= MEDIAN_UP_TO else mean
    there = a + by * (centre_row - middle_row) * 1e-4 + bx * (centre_col - middle_col) * 1e-4
    return level * 1e-4 + there + middle, squares / (n - 1)


@njit(nogil=True, cache=True, inline="always")
def _median(values, n):
    """Median of values[:n], which come nearly in rising order and are sorted in place."""
    for i in range(1, n):
        value, j = values[i], i
        while j > 0 and values[j - 1] > value:
            values[j] = values[j - 1]
            j -= 1
        values[j] = value
    return 0.5 * (values[(n - 1) // 2] + values[n // 2])


@njit(nogil=True, cache=True)
def median_loss(n):
    """Variance of a cell's height over that of a mean of its n points: a median of normal values, or 1 beyond 64.

    The ratio of exact order-statistic moments is (pi / 2) n / (n + c), c = 0.43 + 0.21 / n for odd n and
    1.43 - 0.68 / n for even n, to 0.2 % for n >= 3 (fitted to the integrals that the tests work out).
    """
    if n > MEDIAN_UP_TO:
        return 1.0
    plus = 0.43 + 0.21 / n if n % 2 else 1.43 - 0.68 / n
    return 0.5 * np.pi * n / (n + plus)


@njit(nogil=True, cache=True)
def field_scatter(variance, points, chosen):
    """Variance of one point over the chosen cells, m2: the median of their unbiased ones; NaN without any.

    Of many cells about 100,000 are taken, spread evenly but by no step that a block's width could fall in with.

    variance, points : by cell, (ny, nx), as `cells_of_tile` gives them
    chosen           : (ny, nx) bool
    """
    found = np.empty(np.count_nonzero(chosen))
    share = ENOUGH_CELLS / max(len(found), 1)
    n = seen = 0
    for r in range(variance.shape[0]):
        for c in range(variance.shape[1]):
            if chosen[r, c] and not np.isnan(variance[r, c]):
                if seen * GOLDEN % 1.0 < share:  # multiples of the golden ratio fill the unit interval evenly
                    found[n] = variance[r, c] / _median_of_variance(points[r, c])
                    n += 1
                seen += 1
    return kth_smallest(found, n, n // 2) if n else np.nan


@njit(nogil=True, cache=True)
def block_scatter(variance, points, plane_cells, field_variance):
    """Variance of one point on the ground around each cell, (ny, nx), m2; NaN where height is NaN.

    variance, points : by cell, (ny, nx), as `cells_of_tile` gives them
    plane_cells      : cells along a plane block
    field_variance   : variance of one point over the field, m2: what a block with few cells is drawn towards

    A block's scatter is the median over its cells, each brought to an unbiased one, so that a cell an edge runs
    through does not count; it is weighed with the field's by degrees of freedom.
    """
    ny, nx = variance.shape
    out = np.full((ny, nx), np.nan)
    found = np.empty(plane_cells * plane_cells)
    middle = np.array([1.0] * FEWEST + [_median_of_variance(k) for k in range(FEWEST, MEDIAN_UP_TO + 1)])
    for r0 in range(0, ny, plane_cells):
        for c0 in range(0, nx, plane_cells):
            r1, c1 = min(r0 + plane_cells, ny), min(c0 + plane_cells, nx)
            n, freedom = 0, 0.0
            for r in range(r0, r1):
                for c in range(c0, c1):
                    if not np.isnan(variance[r, c]):
                        k = np.int64(points[r, c])
                        found[n] = variance[r, c] / (middle[k] if k <= MEDIAN_UP_TO else _median_of_variance(k))
                        freedom += k - 1.0
                        n += 1
            if n == 0:
                continue
            own = kth_smallest(found, n, n // 2)
            scatter = (PRIOR_FREEDOM * field_variance + freedom * own) / (PRIOR_FREEDOM + freedom)
            for r in range(r0, r1):
                for c in range(c0, c1):
                    if not np.isnan(variance[r, c]):
                        out[r, c] = scatter
    return out


@njit(nogil=True, cache=True)
def cell_error(scatter, points, step_m):
    """One s.d. of each cell's own error, m: what is independent from cell to cell; NaN where `scatter` is.

    scatter : variance of one point of each cell, (ny, nx), m2
    points  : in each cell, (ny, nx)
    step_m  : the step in which the points' heights move, m; 0 where unknown. A median of heights that move in steps
              cannot be told better than a step, whose variance of step2 / 12 is added
    """
    ny, nx = scatter.shape
    out = np.full((ny, nx), np.nan)
    share = np.array([0.0] + [median_loss(k) / k for k in range(1, MEDIAN_UP_TO + 1)])
    step = step_m * step_m / 12.0
    for r in range(ny):
        for c in range(nx):
            if not np.isnan(scatter[r, c]):
                k = np.int64(points[r, c])
                out[r, c] = np.sqrt(scatter[r, c] * share[k] + step if k <= MEDIAN_UP_TO else scatter[r, c] / k)
    return out


@njit(nogil=True, cache=True, inline="always")
def _median_of_variance(n):
    """Median of the sample variance of n normal values over the true one: chi-square's, Wilson & Hilferty 1931."""
    k = n - 1.0
    return (1.0 - 2.0 / (9.0 * k)) ** 3
