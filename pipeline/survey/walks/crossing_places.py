"""Where walks cross: heights of different pieces of track in the same small cell, brought to one point.

A piece is track whose receiver held one solution: cut where the line or receiver changes, where the fix was lost, at
gaps and at jumps of height, and after PIECE_M at most, so that a drift that begins in mid-line can be seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from pipeline.survey.plane import MAD_TO_SD
from pipeline.survey.walks.walk import Walk, runs

PLACE_M = 1.0  # side of the cells in which tracks cross
PIECE_M = 20.0  # longest piece, m of path
GAP_M = 5.0  # rows further apart than this on one line are not one piece
JUMP_M, JUMP_RISE = 0.10, 0.5  # a step of height that cuts: as for spikes
SLOPE_SD = 0.03  # least prior s.d. of the ground's slope, each axis: all that is known between tracks side by side
NEIGHBOURS = ((0, 0), (0, 1), (0, -1), (1, 0), (1, 1), (1, -1), (-1, 0), (-1, 1), (-1, -1))
SHARED_ROWS = 4  # rows of one pass through a cell share their error: more than this count as this many
SURE_ROWS = 4.0  # the walk's white noise weighs as much as so many rows where the roughness about a cell is judged


@dataclass(frozen=True)
class Places:
    """One row for each piece in each cell; rows sorted by cell, then piece.

    cell        : (m,) int number of the cell
    piece       : (m,) int number of the piece
    z           : (m,) height at the cell's meeting point, m
    variance    : (m,) of z, m2, without the piece's own offset
    points      : (m,) rows behind z
    e, n        : (cells,) meeting point of each cell, m
    walk_of     : (pieces,) which walk a piece belongs to
    line_of     : (pieces,) number of the uninterrupted line over all walks
    """

    cell: np.ndarray
    piece: np.ndarray
    z: np.ndarray
    variance: np.ndarray
    points: np.ndarray
    e: np.ndarray
    n: np.ndarray
    walk_of: np.ndarray
    line_of: np.ndarray


def pieces(walk: Walk, lost_fix: np.ndarray | None = None) -> np.ndarray:
    """Number of the piece each row belongs to, (n,) int from 0, in the order walked.

    walk     : cleaned, m
    lost_fix : (n,) bool, True where the fix was lost before the row; None: never
    """
    if not len(walk):
        return np.zeros(0, np.int64)
    step = walk.steps()
    rise = np.abs(np.diff(walk.z, prepend=walk.z[0]))
    new = np.isinf(step) | (step > GAP_M) | (rise > JUMP_M + JUMP_RISE * step)
    if lost_fix is not None:
        new |= lost_fix
    new[0] = True
    whole = np.cumsum(new) - 1
    path = np.cumsum(np.where(new, 0.0, step))
    out = np.zeros(len(walk), np.int64)
    count = 0
    for start, stop in runs(whole):
        along = path[start:stop] - path[start]
        parts = max(int(np.ceil(along[-1] / PIECE_M)), 1)
        part = np.minimum((along / max(along[-1], 1e-9) * parts).astype(np.int64), parts - 1)
        _, part = np.unique(part, return_inverse=True)
        out[start:stop] = count + part
        count += int(part[-1]) + 1
    return out


def places(walks: Sequence[Walk], piece: Sequence[np.ndarray], white_m: Sequence[float]) -> Places:
    """Heights of all pieces in all cells.

    walks   : cleaned, all in one CRS, m
    piece   : `pieces` of each walk
    white_m : s.d. of one row of each walk, m
    """
    at = np.repeat(np.arange(len(walks)), [len(w) for w in walks])
    first = np.concatenate([[0], np.cumsum([p.max(initial=-1) + 1 for p in piece])]).astype(np.int64)
    code = np.concatenate([p + f for p, f in zip(piece, first)])
    lines = [w.lines_walked() for w in walks]
    line_first = np.concatenate([[0], np.cumsum([v.max(initial=-1) + 1 for v in lines])])
    line = np.concatenate([v + f for v, f in zip(lines, line_first)])
    x, y, z = (np.concatenate([getattr(w, axis) for w in walks]) for axis in "xyz")
    white = np.asarray(white_m, float)[at]
    col, row = np.floor(x / PLACE_M).astype(np.int64), np.floor(y / PLACE_M).astype(np.int64)
    keys, cell = np.unique(np.column_stack([row, col]), axis=0, return_inverse=True)
    cell = cell.ravel()
    code = _one_a_visit(cell, line, code)
    u, v = x - (keys[cell, 1] + 0.5) * PLACE_M, y - (keys[cell, 0] + 0.5) * PLACE_M
    sums = _Sums.of(cell, code, u, v, z, white)
    slope, spread, rough = _planes(keys, sums)
    mid_u, mid_v = (np.bincount(sums.cell, m) / np.bincount(sums.cell) for m in (sums.u, sums.v))
    away = np.column_stack([sums.u - mid_u[sums.cell], sums.v - mid_v[sums.cell]])
    height = sums.z - (away * slope[sums.cell]).sum(axis=1)
    variance = rough[sums.cell] + sums.white**2 / np.minimum(sums.n, SHARED_ROWS)
    variance += np.einsum("mi,mij,mj->m", away, spread[sums.cell], away)
    walk_of = np.zeros(first[-1], np.int64)
    line_of = np.zeros(first[-1], np.int64)
    walk_of[code], line_of[code] = at, line
    return Places(
        sums.cell, sums.piece, height, variance, sums.n, (keys[:, 1] + 0.5) * PLACE_M + mid_u,
        (keys[:, 0] + 0.5) * PLACE_M + mid_v, walk_of, line_of,
    )  # fmt: skip


def _one_a_visit(cell: np.ndarray, line: np.ndarray, code: np.ndarray) -> np.ndarray:
    """Pieces, where a track that is cut inside a cell keeps its first piece there: a cut is not a crossing."""
    visit = np.cumsum((np.diff(cell, prepend=-1) != 0) | (np.diff(line, prepend=-1) != 0)) - 1
    first = np.flatnonzero(np.diff(visit, prepend=-1))
    return code[first][visit]


@dataclass(frozen=True)
class _Sums:
    """Means and centred second moments of each piece in each cell; u, v from the cell's centre."""

    cell: np.ndarray
    piece: np.ndarray
    n: np.ndarray
    u: np.ndarray
    v: np.ndarray
    z: np.ndarray
    white: np.ndarray
    second: np.ndarray  # (m, 6): uu, uv, vv, uz, vz, zz, about the means

    @classmethod
    def of(cls, cell, code, u, v, z, white) -> _Sums:
        order = np.lexsort((code, cell))
        cell, code, u, v, z, white = (a[order] for a in (cell, code, u, v, z, white))
        start = np.flatnonzero((np.diff(cell, prepend=-1) != 0) | (np.diff(code, prepend=-1) != 0))
        n = np.diff(np.append(start, len(cell)))

        def mean(a: np.ndarray) -> np.ndarray:
            return np.add.reduceat(a, start) / n

        mu, mv, mz = mean(u), mean(v), mean(z)
        du, dv, dz = (a - np.repeat(m, n) for a, m in ((u, mu), (v, mv), (z, mz)))
        second = np.column_stack([np.add.reduceat(a, start) for a in _products(du, dv, dz)])
        return cls(cell[start], code[start], n, mu, mv, mz, white[start], second)


def _products(u, v, z) -> tuple[np.ndarray, ...]:
    return u * u, u * v, v * v, u * z, v * z, z * z


def _planes(keys: np.ndarray, sums: _Sums) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Slope (cells, 2), its covariance (cells, 2, 2) and the ground's roughness (cells,), m2, about each cell.

    All pieces in the 3 x 3 cells, each with a height of its own: what they rise along their tracks. Posterior under a
    prior of mean 0 and, on each axis, the slopes' own spread over all cells, at least SLOPE_SD. Roughness: residual
    variance beyond the white noise, drawn toward 0 as by SURE_ROWS rows without any.
    """
    owner, count, white, moments = _about(keys, sums)
    cells = len(keys)
    noise = 1.0 / np.maximum(white, 1e-4) ** 2
    weight = np.minimum(SHARED_ROWS / count, 1.0)
    m = np.column_stack([np.bincount(owner, moments[:, k] * weight * noise, minlength=cells) for k in range(6)])
    first, covariance = _slopes(m, SLOPE_SD)
    known = np.sqrt(np.trace(covariance, axis1=1, axis2=2) / 2) < SLOPE_SD / 2
    prior = max(float(MAD_TO_SD * np.median(np.abs(first[known]))), SLOPE_SD) if known.any() else SLOPE_SD
    slope, covariance = _slopes(m, prior)
    rest = m[:, 5] - 2 * (slope * m[:, 3:5]).sum(axis=1) + (slope**2 * m[:, [0, 2]]).sum(axis=1)
    rest += 2 * slope[:, 0] * slope[:, 1] * m[:, 1]
    free = np.maximum(np.bincount(owner, weight * count, minlength=cells) - np.bincount(owner, minlength=cells), 0.0)
    own = np.bincount(owner, 1.0 / noise, minlength=cells) / np.maximum(np.bincount(owner, minlength=cells), 1)
    return slope, covariance, own * np.maximum(rest - free, 0.0) / (free + SURE_ROWS)


def _slopes(m: np.ndarray, prior: float) -> tuple[np.ndarray, np.ndarray]:
    """Posterior slope and covariance from weighted second moments, one cell a row."""
    uu, uv, vv = m[:, 0] + prior**-2, m[:, 1], m[:, 2] + prior**-2
    covariance = np.stack([vv, -uv, -uv, uu], axis=1).reshape(-1, 2, 2) / (uu * vv - uv * uv)[:, None, None]
    return np.einsum("cij,cj->ci", covariance, m[:, 3:5]), covariance


def _about(keys: np.ndarray, sums: _Sums) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Each piece in the 3 x 3 cells about each cell: owner cell, rows, white noise, centred second moments (k, 6)."""
    at, from_row = _neighbouring(keys, sums.cell)
    shift = (keys[sums.cell[from_row]] - keys[at])[:, ::-1] * PLACE_M
    order = np.lexsort((sums.piece[from_row], at))
    at, from_row, shift = at[order], from_row[order], shift[order]
    n = sums.n[from_row].astype(float)
    piece = sums.piece[from_row]
    start = np.flatnonzero((np.diff(at, prepend=-1) != 0) | (np.diff(piece, prepend=-1) != 0))
    size = np.diff(np.append(start, len(at)))
    count = np.add.reduceat(n, start)
    u, v, z = sums.u[from_row] + shift[:, 0], sums.v[from_row] + shift[:, 1], sums.z[from_row]
    u, v, z = (a - np.repeat(np.add.reduceat(n * a, start) / count, size) for a in (u, v, z))
    parts = np.column_stack(_products(u, v, z)) * n[:, None] + sums.second[from_row]
    return at[start], count, sums.white[from_row][start], np.add.reduceat(parts, start, axis=0)


def _neighbouring(keys: np.ndarray, cell: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (cell, row of `cell`) for every row in the cell or in one of its eight neighbours."""
    low = keys.min(axis=0) - 1
    width = int(keys[:, 1].max() - low[1] + 2)
    flat = (keys[:, 0] - low[0]) * width + keys[:, 1] - low[1]
    begins = np.searchsorted(cell, np.arange(len(keys)))
    ends = np.append(begins[1:], len(cell))
    owners, rows = [], []
    for dr, dc in NEIGHBOURS:
        wanted = flat + dr * width + dc
        found = np.minimum(np.searchsorted(flat, wanted), len(flat) - 1)
        mine = np.flatnonzero(flat[found] == wanted)
        length = (ends - begins)[found[mine]]
        owners.append(np.repeat(mine, length))
        offset = np.arange(length.sum()) - np.repeat(np.cumsum(length) - length, length)
        rows.append(np.repeat(begins[found[mine]], length) + offset)
    return np.concatenate(owners), np.concatenate(rows)
