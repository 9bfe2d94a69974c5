"""Forms that a designed surface may take: heights and gradients as linear functions of a few parameters, or of node heights.

x east and y north from an origin near the field, m; heights above a level near it, m.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Callable

import numpy as np
import scipy.sparse as sp

NODE_M = 1.0  # between nodes of a free surface
RIDGE_M = 1.5  # so near a ridge no fall is asked: it is rounded there


@dataclass(frozen=True)
class Form:
    """A family of surfaces, linear in its p parameters.

    heights : (cells, p), parameters to heights of the cells
    gx, gy  : (k, p), to the gradient at k places
    at      : (k, 2), where those places lie, m
    fall    : (k, 2) unit vectors downhill as wanted, zeros where none is, or None where none is anywhere
    bends   : (j, p), second differences of neighbouring nodes, or None where the form has none
    spacing_m : between nodes, m
    points  : function of x, y -> (n, p), heights at any places of the form's ground
    holds   : function of x, y -> (n,) bool, whether a place lies on the ground of the form's cells
    unit    : (p,), parameters of the surface that stands 1 m high everywhere
    """

    heights: sp.csr_matrix
    gx: sp.csr_matrix
    gy: sp.csr_matrix
    at: np.ndarray
    fall: np.ndarray | None
    bends: sp.csr_matrix | None
    spacing_m: float
    points: Callable
    holds: Callable
    unit: np.ndarray

    @property
    def parameters(self) -> int:
        return self.heights.shape[1]


def downhill(bearing_deg: float) -> np.ndarray:
    """Unit vector (east, north) of a bearing, clockwise from grid north."""
    return np.array([np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))])


def plane(x: np.ndarray, y: np.ndarray, bearing_deg: float | None) -> Form:
    """One plane: h = p0 + p1 x + p2 y."""
    points = lambda x, y: np.column_stack([np.ones(len(x)), x, y])
    gx, gy = np.array([[0.0, 1.0, 0.0]]), np.array([[0.0, 0.0, 1.0]])
    at = np.array([[x.mean(), y.mean()]])
    fall = None if bearing_deg is None else downhill(bearing_deg)[None]
    return _form(points, x, y, gx, gy, at, fall)


def two_planes(x: np.ndarray, y: np.ndarray, on: tuple[float, float], along_deg: float) -> Form:
    """Two planes that meet on a line and fall away from it: h = p0 + p1 u + p2 v+ + p3 v-.

    on, along_deg : a point of the line and its bearing; u runs along it, v across, positive to its right
    """
    u, v = downhill(along_deg), downhill(along_deg + 90)

    def points(x, y):
        along, across = (x - on[0]) * u[0] + (y - on[1]) * u[1], (x - on[0]) * v[0] + (y - on[1]) * v[1]
        return np.column_stack([np.ones(len(along)), along, np.maximum(across, 0), np.minimum(across, 0)])

    gx = np.array([[0, u[0], v[0], 0], [0, u[0], 0, v[0]]])
    gy = np.array([[0, u[1], v[1], 0], [0, u[1], 0, v[1]]])
    at = np.array([[on[0] + 5 * v[0], on[1] + 5 * v[1]], [on[0] - 5 * v[0], on[1] - 5 * v[1]]])
    return _form(points, x, y, gx, gy, at, np.array([v, -v]))


def _form(points, x, y, gx, gy, at, fall) -> Form:
    m, p = sp.csr_matrix, gx.shape[1]
    return Form(m(points(x, y)), m(gx), m(gy), at, fall, None, np.nan, points, lambda x, y: np.ones(len(x), bool), np.eye(p)[0])


def free(
    x: np.ndarray, y: np.ndarray, bearing_deg: float | None = None, ridge: tuple[tuple[float, float], float] | None = None,
    spacing_m: float = NODE_M, also: tuple[np.ndarray, np.ndarray] = (np.empty(0), np.empty(0)),
) -> Form:  # fmt: skip
    """Heights of nodes on a square lattice, bilinear between them.

    bearing_deg : wanted fall one way; or `ridge`, a point and a bearing: away from that line on both sides; or neither
    also : further places that have nodes: where a level is given
    On a patch the gradient takes its extremes at the corners (gx depends on the northing only, gy on the easting only):
    what holds at its four corners holds on all of it.
    """
    patch = lambda x, y: np.floor(np.column_stack([x, y]) / spacing_m).astype(int)
    own = np.unique(patch(x, y), axis=0)
    patches = np.unique(np.concatenate([own, patch(*also)]), axis=0)
    corners = np.unique(np.concatenate([patches + s for s in ((0, 0), (1, 0), (0, 1), (1, 1))]), axis=0)
    number, owned, p = _numbers(corners), _numbers(own), len(corners)

    def points(x, y):
        at = patch(x, y)
        u, v = (np.column_stack([x, y]) / spacing_m - at).T
        rows, cols, values = [], [], []
        for di, dj, w in ((0, 0, (1 - u) * (1 - v)), (1, 0, u * (1 - v)), (0, 1, (1 - u) * v), (1, 1, u * v)):
            found = number(at + (di, dj))
            if (found[w > 1e-9] < 0).any():
                raise ValueError("a place off the nodes of the surface")
            keep = found >= 0
            rows.append(np.nonzero(keep)[0]), cols.append(found[keep]), values.append(w[keep])
        return sp.csr_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(cols))), shape=(len(x), p))

    n00, n10, n01, n11 = (number(patches + s) for s in ((0, 0), (1, 0), (0, 1), (1, 1)))
    south, north, west, east = (n00, n10), (n01, n11), (n00, n01), (n10, n11)
    gx = sp.vstack([_difference(*a, p, spacing_m) for a in (south, south, north, north)]).tocsr()
    gy = sp.vstack([_difference(*b, p, spacing_m) for b in (west, east, west, east)]).tocsr()
    middles = (patches + 0.5) * spacing_m
    at = np.tile(middles, (4, 1))
    fall = None
    if bearing_deg is not None:
        fall = np.broadcast_to(downhill(bearing_deg), at.shape)
    elif ridge is not None:
        v = downhill(ridge[1] + 90)
        across = (at - np.asarray(ridge[0])) @ v
        fall = np.where(np.abs(across) < RIDGE_M, 0.0, np.sign(across))[:, None] * v
    return Form(points(x, y), gx, gy, at, fall, _bends(corners, number), spacing_m, points, lambda x, y: owned(patch(x, y)) >= 0, np.ones(p))


def _numbers(places: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """Function of (n, 2) whole numbers -> (n,) the row of `places` that each is, -1 where it is none."""
    low, size = places.min(axis=0), np.ptp(places, axis=0) + 1
    table = np.full(size, -1)
    table[tuple((places - low).T)] = np.arange(len(places))

    def number(asked: np.ndarray) -> np.ndarray:
        at = asked - low
        inside = ((at >= 0) & (at < size)).all(axis=1)
        return np.where(inside, table[tuple(np.where(inside[:, None], at, 0).T)], -1)

    return number


def _difference(a: np.ndarray, b: np.ndarray, p: int, length_m: float) -> sp.csr_matrix:
    k = np.arange(len(a))
    return sp.csr_matrix((np.repeat([-1 / length_m, 1 / length_m], len(a)), (np.tile(k, 2), np.concatenate([a, b]))), shape=(len(a), p))


def _bends(corners: np.ndarray, number: Callable) -> sp.csr_matrix:
    """Second differences of every node that has one on either side, east and north, (j, p)."""
    around = [np.column_stack([number(corners - s), np.arange(len(corners)), number(corners + s)]) for s in ((1, 0), (0, 1))]
    runs = np.concatenate(around)
    runs = runs[(runs >= 0).all(axis=1)]
    rows = np.repeat(np.arange(len(runs)), 3)
    return sp.csr_matrix((np.tile([1.0, -2.0, 1.0], len(runs)), (rows, runs.ravel())), shape=(len(runs), len(corners)))
