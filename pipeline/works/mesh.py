"""A designed surface as triangles: few where it is even, as many as it takes where it is not, none off the graded ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frame import Grid

LATTICE_M = 0.5  # spacing of the corners where the surface is even
TOLERANCE_M = 0.0005  # half of the 1 mm an export may be off; rounding of the numbers takes its share of the other half
ROUNDS = 60  # each adds the worst cell of every square that is off
PINHOLE_M = 0.2  # across; what is kept free about a thing in the ground is 0.6 m or more
SAMPLES = 10  # along a side of a triangle, to see whether it leaves the graded ground


@dataclass(frozen=True)
class Mesh:
    """Triangles over the graded ground.

    e, n, z : corners, (k,) each, m; every corner is the centre of a graded cell
    faces   : (f, 3) indices of corners, counter-clockwise seen from above
    off_m   : greatest difference to the surface at the centre of any graded cell that lies under a triangle, m
    bare    : graded cells under no triangle (lone cells and rows one cell wide)
    """

    e: np.ndarray
    n: np.ndarray
    z: np.ndarray
    faces: np.ndarray
    off_m: float
    bare: int


def mesh(heights: np.ndarray, grid: Grid, lattice_m: float = LATTICE_M, tolerance_m: float = TOLERANCE_M) -> Mesh:
    """Triangles that give the surface back to a tolerance.

    heights : (ny, nx), m; NaN off the graded ground, where no triangle lies
    returns : corners on a lattice and along the rim of the graded ground, and wherever the triangles between these were off
    raises  : ValueError where nothing is graded, or the tolerance was not reached
    source  : Delaunay's triangulation by a general library; greedy insertion of the worst point, as in Garland and Heckbert 1995
              (from memory)
    """
    inside = np.isfinite(heights)
    if inside.sum() < 3:
        raise ValueError("found no graded ground to lay triangles over; expected designed heights in three cells or more")
    step = max(int(round(lattice_m / grid.cell_m)), 1)
    rows, cols = np.nonzero(inside)
    z = heights[inside]
    chosen = _rim(inside)[inside] | ((rows + grid.row0) % step == 0) & ((cols + grid.col0) % step == 0)
    square = (rows // step) * (grid.nx // step + 1) + cols // step
    for _ in range(ROUNDS):
        xy = np.column_stack([cols[chosen], -rows[chosen]]).astype(float)
        faces = _faces(xy, inside)
        off, covered = _off(xy, z[chosen], faces, rows, cols, z)
        worst = _worst(np.where(covered, off, 0.0), square, chosen, tolerance_m)
        if not worst.size:
            break
        chosen[worst] = True
    else:
        raise ValueError(f"triangles are {np.nanmax(off[covered]) * 1000:.2f} mm off the surface; expected {tolerance_m * 1000:g} mm: the surface is not even enough")
    used = np.unique(faces)
    e, n = grid.centres()
    at = np.flatnonzero(chosen)[used]
    return Mesh(e[cols[at]], n[rows[at]], z[at], np.searchsorted(used, faces), float(off[covered].max(initial=0.0)), int((~covered).sum()))


def without_pinholes(heights: np.ndarray, cell_m: float) -> np.ndarray:
    """The surface with holes of PINHOLE_M across or less closed, linear between the cells about them, (ny, nx), m.

    A cell that a survey did not see is no end of the graded ground; what is kept free about a thing in the ground is wider and stays open.
    """
    from scipy.interpolate import LinearNDInterpolator
    from scipy.ndimage import binary_closing, binary_dilation

    inside, gap = np.isfinite(heights), max(int(PINHOLE_M / 2 / cell_m), 1)
    solid = binary_closing(np.pad(inside, gap), np.ones((3, 3)), iterations=gap)[gap:-gap, gap:-gap]
    holes = solid & ~inside
    if not holes.any():
        return heights
    about = inside & binary_dilation(holes, np.ones((3, 3)), iterations=2)
    if about.sum() < 3:
        return heights
    low = float(heights[about].mean())
    out = heights.copy()
    out[holes] = LinearNDInterpolator(np.argwhere(about), heights[about] - low)(np.argwhere(holes)) + low
    return out


def _rim(inside: np.ndarray) -> np.ndarray:
    """Graded cells with a neighbour, across a side or a corner, that is not."""
    from scipy.ndimage import binary_erosion

    return inside & ~binary_erosion(inside, np.ones((3, 3), bool), border_value=0)


def _faces(xy: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """Delaunay's triangles that lie on graded cells; xy counts cells eastward and northward."""
    from scipy.spatial import Delaunay, QhullError

    try:
        faces = Delaunay(xy, qhull_options="Qbb Qc Qz Qt").simplices
    except QhullError:  # all corners in one line
        return np.empty((0, 3), int)
    a, b, c = (xy[faces[:, k]] for k in range(3))
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    faces = np.where((turn < 0)[:, None], faces[:, [0, 2, 1]], faces)[np.abs(turn) > 1e-9]
    order = np.lexsort(np.sort(faces, axis=1).T[::-1])
    faces = faces[order]
    keep = np.ones(len(faces), bool)
    corners = xy[faces]
    span = np.abs(corners - np.roll(corners, 1, axis=1)).max(axis=(1, 2))
    large = span > 1.0  # a triangle between neighbouring cells cannot leave them
    per_side = np.where(span <= SAMPLES, SAMPLES, np.ceil(span)).astype(int)
    for count in np.unique(per_side[large]):
        mine = np.flatnonzero(large & (per_side == count))
        for part in np.array_split(mine, max(len(mine) * count * count // 4_000_000, 1)):
            keep[part] = _on_graded(corners[part], inside, int(count))
    return faces[keep]


def _on_graded(corners: np.ndarray, inside: np.ndarray, count: int) -> np.ndarray:
    """Whether every one of the points spread over a triangle falls on a graded cell."""
    u, v = (x.ravel() for x in np.meshgrid(np.arange(count + 1) / count, np.arange(count + 1) / count))
    weights = np.column_stack([u, v, 1 - u - v])[u + v <= 1 + 1e-9]
    at = np.einsum("sk,fkd->fsd", weights, corners)
    col, row = np.rint(at[..., 0] + 1e-7).astype(int), np.rint(-at[..., 1] + 1e-7).astype(int)
    return inside[np.clip(row, 0, inside.shape[0] - 1), np.clip(col, 0, inside.shape[1] - 1)].all(axis=1)


def _off(xy: np.ndarray, z: np.ndarray, faces: np.ndarray, rows: np.ndarray, cols: np.ndarray, wanted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Difference of the triangles to the surface at every graded cell, m, and whether a triangle covers it."""
    off, covered = np.zeros(len(wanted)), np.zeros(len(wanted), bool)
    index = np.full((int(rows.max()) + 1, int(cols.max()) + 1), -1)
    index[rows, cols] = np.arange(len(wanted))
    for face in faces:
        (x0, y0), (x1, y1), (x2, y2) = xy[face]
        c = np.arange(int(min(x0, x1, x2)), int(max(x0, x1, x2)) + 1)
        r = np.arange(int(-max(y0, y1, y2)), int(-min(y0, y1, y2)) + 1)
        x, y = c[None, :], -r[:, None]
        turn = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        w1 = ((x - x0) * (y2 - y0) - (x2 - x0) * (y - y0)) / turn
        w2 = ((x1 - x0) * (y - y0) - (x - x0) * (y1 - y0)) / turn
        under = (w1 >= -1e-9) & (w2 >= -1e-9) & (w1 + w2 <= 1 + 1e-9)
        at = index[r[:, None], c[None, :]][under]
        keep = at >= 0
        height = ((1 - w1 - w2) * z[face[0]] + w1 * z[face[1]] + w2 * z[face[2]])[under]
        covered[at[keep]] = True
        off[at[keep]] = np.abs(height[keep] - wanted[at[keep]])
    return off, covered


def _worst(off: np.ndarray, square: np.ndarray, chosen: np.ndarray, tolerance_m: float) -> np.ndarray:
    """Of each lattice square the cell that is furthest off, where that is over the tolerance."""
    over = np.flatnonzero((off > tolerance_m) & ~chosen)
    order = over[np.lexsort((over, -off[over], square[over]))]
    return order[np.unique(square[order], return_index=True)[1]]
