"""One height offset for each piece of track from all the cells in which pieces meet.

z = ground(cell) + offset(piece) + error: the ground of each cell is eliminated, the offsets are solved by reweighting
(Huber), so that a cell on moved ground or a ball underfoot does not count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from pipeline.survey.plane import HUBER_K, MAD_TO_SD

PRIOR_SD_M = 1.0  # of an offset: wide, only so that a network without a datum can be solved
REWEIGHTINGS = 30
SETTLED_M = 1e-7  # a step that moves no offset by more is the last
MOST_ALIKE = 0.8  # correlation of a track's neighbouring residuals that is still believed


@dataclass(frozen=True)
class Network:
    """Offsets of unknowns 0..k-1.

    offset     : (k,) m, positive = stands high; in each component the weighted median is 0
    covariance : (k, k) m2, of the offsets less their component's weighted mean
    component  : (k,) which network of tracks that meet one another; offsets of two components cannot be compared
    crossings  : (k,) cells shared with another unknown
    residual   : (m,) height less ground less offset, m
    scale      : residual s.d. over the one expected
    alike      : correlation of neighbouring residuals along a track
    """

    offset: np.ndarray
    covariance: np.ndarray
    component: np.ndarray
    crossings: np.ndarray
    residual: np.ndarray
    scale: float
    alike: float


def solve(node: np.ndarray, unknown: np.ndarray, z: np.ndarray, variance: np.ndarray, track: np.ndarray) -> Network:
    """Offsets of k unknowns from heights at shared nodes.

    node, unknown, z, variance : (m,) node number, unknown number, height (m), variance (m2) of each row, in an order
                                 in which an unknown's neighbouring rows follow each other; every node is shared
    track : (k,) how much track each unknown stands for: most of it is taken to stand right
    """
    count = len(track)
    nodes = int(node.max(initial=-1)) + 1
    low = np.full(nodes, np.inf)
    np.minimum.at(low, node, z)
    z = z - low[node]
    seen = sparse.csr_array((np.ones(len(z)), (node, unknown)), shape=(nodes, count))
    crossings = np.asarray((seen > 0).sum(axis=0)).ravel()
    _, component = connected_components(sparse.csr_array(seen.T @ seen), directed=False)
    weight = 1.0 / variance
    offset, scale = np.zeros(count), 1.0
    for _ in range(REWEIGHTINGS):
        normal, right = _reduced(node, unknown, z, weight, nodes, count)
        moved = _solve(normal, right)
        step, offset = np.abs(moved - offset).max(initial=0.0), moved
        residual, free = _residuals(node, unknown, z, weight, offset, nodes)
        unit = residual / np.sqrt(variance * free)
        scale = max(MAD_TO_SD * float(np.median(np.abs(unit))), 1e-6) if len(unit) else 1.0
        weight = np.minimum(1.0, HUBER_K * scale / np.maximum(np.abs(unit), 1e-12)) / variance
        if step < SETTLED_M:
            break
    alike = _alike(node, unknown, unit)
    widen = max(scale, 1.0) ** 2 * (1 + alike) / (1 - alike)
    normal, _ = _reduced(node, unknown, z, weight, nodes, count)
    offset, covariance = _from_datum(offset, np.linalg.inv(normal.toarray() / widen + np.eye(count) / PRIOR_SD_M**2),
                                     component, track)  # fmt: skip
    return Network(offset, covariance, component, crossings, residual, scale, alike)


def _reduced(node, unknown, z, weight, nodes: int, count: int):
    """Normal matrix (count, count) and right side of the offsets, the nodes' heights eliminated."""
    total = np.bincount(node, weight, minlength=nodes)
    ground = np.bincount(node, weight * z, minlength=nodes) / total
    tie = sparse.csr_array((weight, (node, unknown)), shape=(nodes, count))
    own = np.bincount(unknown, weight, minlength=count)
    normal = sparse.diags_array(own.astype(float)) - tie.T @ sparse.diags_array(1.0 / total) @ tie
    return sparse.csr_array(normal), np.bincount(unknown, weight * (z - ground[node]), minlength=count)


def _solve(normal, right: np.ndarray) -> np.ndarray:
    held = normal + sparse.diags_array(np.full(len(right), 1.0 / PRIOR_SD_M**2))
    return sparse.linalg.splu(sparse.csc_array(held)).solve(right)


def _residuals(node, unknown, z, weight, offset, nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Residual of each row, and the share of its variance that the node's own mean leaves in it."""
    total = np.bincount(node, weight, minlength=nodes)
    ground = np.bincount(node, weight * (z - offset[unknown]), minlength=nodes) / total
    return z - offset[unknown] - ground[node], np.maximum(1.0 - weight / total[node], 0.05)


def _alike(node: np.ndarray, unknown: np.ndarray, unit: np.ndarray) -> float:
    """Correlation of residuals of neighbouring rows of one unknown, 0 to MOST_ALIKE, robustly.

    From medians: with s the s.d. of a residual and d that of a neighbour's difference, 1 - d2 / (2 s2).
    """
    order = np.argsort(unknown, kind="stable")
    next_to = np.diff(unknown[order]) == 0
    if next_to.sum() < 30:
        return 0.0
    spread = np.median(np.abs(unit))
    difference = np.median(np.abs(np.diff(unit[order])[next_to]))
    return float(np.clip(1.0 - 0.5 * (difference / max(spread, 1e-12)) ** 2, 0.0, MOST_ALIKE))


def _from_datum(offset, covariance, component, track) -> tuple[np.ndarray, np.ndarray]:
    """Offsets from each component's weighted median, covariance of what the offsets are less its weighted mean."""
    offset, covariance = offset.copy(), covariance.copy()
    for k in range(component.max(initial=-1) + 1):
        mine = np.flatnonzero(component == k)
        w = np.maximum(track[mine], 1e-9)
        offset[mine] -= weighted_median(offset[mine], w)
        less_mean = np.eye(len(mine)) - np.broadcast_to(w / w.sum(), (len(mine), len(mine)))
        block = np.ix_(mine, mine)
        covariance[block] = less_mean @ covariance[block] @ less_mean.T
    return offset, covariance


def weighted_median(value: np.ndarray, weight: np.ndarray) -> float:
    """The value with half the weight on each side; the middle of two where the halves part between them."""
    order = np.argsort(value, kind="stable")
    total = np.cumsum(weight[order])
    half = total[-1] / 2
    low = int(np.searchsorted(total, half * (1 - 1e-12)))
    high = int(np.searchsorted(total, half * (1 + 1e-12)))
    return float((value[order[low]] + value[order[min(high, len(value) - 1)]]) / 2)
