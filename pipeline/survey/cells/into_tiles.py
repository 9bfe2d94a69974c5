"""The inner loop of bringing points to a field: from a file's raw numbers to keys by tile."""

from __future__ import annotations

import numpy as np
from numba import njit

from pipeline.survey.cells.tiles import HEIGHT_MAX, HEIGHT_SHIFT, PLACE_BITS, RECIPROCAL_SHIFT

# Left out by class (LAS 1.4 R15, table 17: 7 low noise, 18 high noise; 65 is a producer's artefact class seen in
# national lidar). No other class is trusted, and none is needed: photogrammetry often comes without any.
NOISE_CLASSES = (7, 18, 65)
_LEFT_OUT = np.isin(np.arange(256), NOISE_CLASSES)
_GROUP = 256


@njit(nogil=True, cache=True)
def project_and_group(
    x, y, z, klass, rgb, intensity, box, local, terms, tiling, threshold,
    keys, tiles, picked, hashes, starts, grouped, more,
):  # fmt: skip
    """Points to keys tile by tile in the order they came, and what they carry, in `grouped` and `more`.

    x, y, z   : (n,) int32 or float64, raw
    klass, rgb, intensity : (n,), (n, 3), (n,), or empty
    box       : least and greatest raw x, then y, that can fall on the field
    local     : factor and constant from raw x, y to u, v and from raw z to TICK_M; what makes whole numbers of raw ones
    terms     : coefficients of two bicubics (`Projection`), TICK_M east of the west edge and south of the north edge
    tiling    : `Tiling.numbers`
    threshold : points whose hash lies below it are sampled
    keys, tiles, picked, hashes, grouped, more : (n,) room to work in
    starts    : (tiles + 1,) of zeros, filled: where each tile's points begin
    returns   : points held, left out as outside and as noise, and points sampled (places in `picked`, in `hashes`)
    """
    outside, noise, chosen = _project(
        x, y, z, klass, box, local, terms, tiling, threshold, keys, tiles, starts[1:], picked, hashes
    )
    for tile in range(1, len(starts)):
        starts[tile] += starts[tile - 1]
    nexts = starts[:-1].copy()
    for i in range(len(tiles)):
        tile = tiles[i]
        if tile < 0:
            continue
        at = nexts[tile]
        nexts[tile] = at + 1
        grouped[at] = keys[i]
        if len(rgb) or len(intensity):
            carried = np.int64(intensity[i]) if len(intensity) else 0
            if len(rgb):
                carried |= np.int64(rgb[i, 0]) << 32 | np.int64(rgb[i, 1]) << 24 | np.int64(rgb[i, 2]) << 16
            more[at] = carried
    return starts[-1], outside, noise, chosen


@njit(nogil=True, cache=True)
def _project(x, y, z, klass, box, local, terms, tiling, threshold, keys, tiles, counts, picked, hashes):
    """Key and tile of every point on the grid (tile -1: not on it); returns points left out and points sampled."""
    south_end, east_end, tile_ticks, tile_cols, by_tile = tiling
    ue, uc, ve, vc, ze, zc, unit = local
    x_least, x_most, y_least, y_most = box
    to_east, to_south = terms
    outside = noise = chosen = 0
    east, south = np.empty(_GROUP), np.empty(_GROUP)
    for first in range(0, len(x), _GROUP):
        n = min(_GROUP, len(x) - first)  # a group at a time: without branches the compiler does eight points at once
        near = 0
        for k in range(n):
            xi, yi = x[first + k], y[first + k]
            near += (xi >= x_least) & (xi <= x_most) & (yi >= y_least) & (yi <= y_most)
            east[k], south[k] = xi, yi
        if near == 0:  # another field's part of the cloud
            for i in range(first, first + n):
                tiles[i] = -1
                outside += np.isfinite(x[i]) and np.isfinite(y[i]) and np.isfinite(z[i])
            continue
        for k in range(n):
            u, v = east[k] * ue + uc, south[k] * ve + vc
            east[k], south[k] = _bicubic(to_east, u, v) + 0.5, _bicubic(to_south, u, v) + 0.5
        for k in range(n):
            i = first + k
            xi, yi, zi = x[i], y[i], z[i]
            tiles[i] = -1
            if not (np.isfinite(xi) and np.isfinite(yi) and np.isfinite(zi)):
                continue
            if (
                xi < x_least or xi > x_most or yi < y_least or yi > y_most
                or east[k] < 0 or east[k] >= east_end or south[k] < 0 or south[k] >= south_end
            ):  # fmt: skip
                outside += 1
                continue
            if len(klass) and _LEFT_OUT[klass[i]]:
                noise += 1
                continue
            across, down = np.int64(east[k]), np.int64(south[k])
            height = np.int64(np.floor(min(max(zi * ze + zc, -HEIGHT_MAX), HEIGHT_MAX) + 0.5))
            row, col = (down * by_tile) >> RECIPROCAL_SHIFT, (across * by_tile) >> RECIPROCAL_SHIFT
            tile = row * tile_cols + col
            keys[i] = height << HEIGHT_SHIFT | (down - row * tile_ticks) << PLACE_BITS | (across - col * tile_ticks)
            tiles[i] = tile
            counts[tile] += 1
            mixed = _hash(np.int64(xi * unit), np.int64(yi * unit), np.int64(zi * unit))
            if mixed < threshold:
                picked[chosen], hashes[chosen] = i, mixed
                chosen += 1
    return outside, noise, chosen


@njit(nogil=True, cache=True, inline="always")
def _bicubic(c, u, v):
    along_u = u * (c[1] + u * (c[3] + u * c[6] + v * c[7]) + v * (c[4] + v * c[8]))
    return c[0] + along_u + v * (c[2] + v * (c[5] + v * c[9]))


@njit(nogil=True, cache=True, inline="always")
def _hash(x, y, z):
    """One 64-bit number of three, well mixed (the multiplier is 2**64 over the golden ratio)."""
    golden = np.uint64(0x9E3779B97F4A7C15)
    mixed = ((np.uint64(x) * golden ^ np.uint64(y)) * golden ^ np.uint64(z)) * golden
    return (mixed ^ (mixed >> np.uint64(29))) * golden

