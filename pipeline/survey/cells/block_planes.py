"""One plane per plane block of 3 x 3 reference blocks: through block heights, or through points.

A plane is (a, by, bx): height a + by * y + bx * x above a level, with y south and x east of the block's centre, m.
Points come as keys in order (`order.in_order`), so a reference block's points lie side by side.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from pipeline.survey.cells.tiles import HEIGHT_SHIFT, PLACE_BITS, PLACE_MASK

LEAST_POINTS = 6
ENOUGH_POINTS = 1000  # every so-manyth point of a block is looked at for its plane, so that about so many are
LEAST_SPREAD = 0.05  # of the block's side, s.d. of the points both ways, or no slope is read from them


@njit(nogil=True, cache=True, inline="always")
def place(key, middle_row, middle_col, level):
    """y south and x east of a block's centre and height above a level, m; the three origins in TICK_M of the tile."""
    y = ((key >> PLACE_BITS & PLACE_MASK) - middle_row) * 1e-4
    x = ((key & PLACE_MASK) - middle_col) * 1e-4
    z = ((key >> HEIGHT_SHIFT) - level) * 1e-4
    return y, x, z


@njit(nogil=True, cache=True)
def plane_of_sums(n, sy, sx, sz, syy, syx, sxx, syz, sxz, side_m, otherwise):
    """Least-squares plane of the sums over n points; `otherwise` where they do not carry a slope."""
    if n < LEAST_POINTS:
        return otherwise
    my, mx, mz = sy / n, sx / n, sz / n
    vyy, vyx, vxx = syy / n - my * my, syx / n - my * mx, sxx / n - mx * mx
    vyz, vxz = syz / n - my * mz, sxz / n - mx * mz
    det = vyy * vxx - vyx * vyx
    if not det > (LEAST_SPREAD * side_m) ** 4:
        return otherwise
    by, bx = (vyz * vxx - vxz * vyx) / det, (vxz * vyy - vyz * vyx) / det
    return mz - by * my - bx * mx, by, bx


@njit(nogil=True, cache=True)
def plane_of_points(
    keys, starts, first_cell, per, every, low, high, middle_row, middle_col, level, side_m, about, otherwise
):
    """Least-squares plane of one block's points that lie within `low`..`high` of the plane `about`.

    every      : every so-manyth point in order is taken
    first_cell : rank of the plane block's first cell; per: cells of a reference block
    low, high  : (9,) by reference block, m
    returns    : the plane; `otherwise` where the points do not carry a slope
    """
    a, by, bx = about
    n = 0
    sy = sx = sz = syy = syx = sxx = syz = sxz = 0.0
    for b in range(9):
        least, most = low[b], high[b]
        for i in range(starts[first_cell + b * per], starts[first_cell + (b + 1) * per], every):
            y, x, z = place(keys[i], middle_row, middle_col, level)
            if least <= z - (a + by * y + bx * x) <= most:
                n += 1
                sy += y
                sx += x
                sz += z
                syy += y * y
                syx += y * x
                sxx += x * x
                syz += y * z
                sxz += x * z
    return plane_of_sums(n, sy, sx, sz, syy, syx, sxx, syz, sxz, side_m, otherwise)


@njit(nogil=True, cache=True)
def plane_of_blocks(height, block_m, level_m):
    """Least-squares plane through (5, 5) block heights less a level, m, about the middle one; NaN left out.

    Level at their mean where fewer than 6 are known or they lie in one line; all NaN gives NaN.
    """
    n = 0
    sy = sx = sz = syy = syx = sxx = syz = sxz = 0.0
    for r in range(5):
        for c in range(5):
            z = height[r, c] - level_m
            if not np.isnan(z):
                y, x = (r - 2) * block_m, (c - 2) * block_m
                n += 1
                sy += y
                sx += x
                sz += z
                syy += y * y
                syx += y * x
                sxx += x * x
                syz += y * z
                sxz += x * z
    flat = (sz / n if n else np.nan, 0.0, 0.0)
    return plane_of_sums(n, sy, sx, sz, syy, syx, sxx, syz, sxz, 5 * block_m, flat)
