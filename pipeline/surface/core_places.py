"""Where to take cores of the mix, so that every part of the skin has one within reach."""

from __future__ import annotations

from typing import Sequence

import numpy as np

from pipeline.frame import Grid
from pipeline.surface.mix_depth import REACH_M, TOLD_FROM

ROUNDS = 25
NEAR_SHARE = 0.9  # of a core's reach: at the very end of it a core says next to nothing


def core_places(grid: Grid, asked: np.ndarray, taken: Sequence[tuple[float, float]] = (), least: int = TOLD_FROM) -> list[tuple[float, float]]:
    """Eastings and northings of the cores still to be taken, from the north-west on.

    grid  : coarse is fine
    asked : (ny, nx) bool, ground where a core may be taken
    taken : places of cores that still speak
    least : so many in all, or more until no ground is further than NEAR_SHARE of the reach from one
    Each moves to the middle of the ground that is nearest to it (Lloyd 1982, from memory), those taken stay; begun at the
    ground furthest from all others, so nothing is drawn by lot.
    """
    e, n = grid.mesh()
    ground = np.column_stack([e[asked], n[asked]])
    if not len(ground):
        return []
    held = np.array(taken, float).reshape(-1, 2)
    for count in range(max(least - len(held), 0), len(ground) + 1):
        new = _spread(ground, held, count)
        if not count and not len(held):
            continue
        if _away(ground, np.vstack([held, new])).max() <= NEAR_SHARE * REACH_M:
            return [(float(a), float(b)) for a, b in new[np.lexsort((new[:, 0], -new[:, 1]))]]
    return []


def _spread(ground: np.ndarray, held: np.ndarray, count: int) -> np.ndarray:
    """`count` places among the ground, spread evenly about those held."""
    if not count:
        return np.empty((0, 2))
    new = np.empty((0, 2))
    for _ in range(count):
        known = np.vstack([held, new])
        far = ground[np.argmax(_away(ground, known))] if len(known) else ground[np.argmin(((ground - ground.mean(axis=0)) ** 2).sum(axis=1))]
        new = np.vstack([new, far])
    for _ in range(ROUNDS):
        known = np.vstack([held, new])
        mine = np.argmin(((ground[:, None] - known[None]) ** 2).sum(axis=-1), axis=1)
        moved = [ground[mine == len(held) + k] for k in range(count)]
        new = np.array([_on_ground(ground, m.mean(axis=0)) if len(m) else new[k] for k, m in enumerate(moved)])
    return new


def _on_ground(ground: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The ground nearest to a place: the middle of a crescent may lie off it."""
    return ground[np.argmin(((ground - at) ** 2).sum(axis=1))]


def _away(ground: np.ndarray, places: np.ndarray) -> np.ndarray:
    return np.sqrt(((ground[:, None] - places[None]) ** 2).sum(axis=-1)).min(axis=1)
