"""Ground that several walks show to be stable, chosen by evidence and not by name."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from pipeline.survey.walks.crossing_places import Places

STABLE_WALKS = 3  # walks that must have crossed a cell before its stability can be judged
STABLE_SPREAD_M = 0.020  # median absolute departure of their heights on stable ground
STABLE_ABOUT_M, STABLE_SHARE = 3.0, 0.5  # at least this share of the judged cells about it must be as quiet


def stable_by_evidence(met: Places, offset: np.ndarray) -> np.ndarray:
    """Cells whose ground the walks themselves show to be stable, (cells,) bool.

    met    : as `places`
    offset : (pieces,) m, what is already known of each piece

    A cell is judged where STABLE_WALKS walks cross it, quiet where their median absolute departure from their median
    is under STABLE_SPREAD_M, and stable where most of the judged cells about it are quiet too: moving ground agrees
    by luck in a cell, not in a place.
    """
    level = met.z - offset[met.piece]
    walk = met.walk_of[met.piece]
    order = np.lexsort((level, walk, met.cell))
    cell, walk, level = met.cell[order], walk[order], level[order]
    start = np.flatnonzero((np.diff(cell, prepend=-1) != 0) | (np.diff(walk, prepend=-1) != 0))
    size = np.diff(np.append(start, len(cell)))
    one = (level[start + (size - 1) // 2] + level[start + size // 2]) / 2
    middle, walks = _medians(cell[start], one, len(met.e))
    spread, _ = _medians(cell[start], np.abs(one - middle[cell[start]]), len(met.e))
    judged = np.flatnonzero(walks >= STABLE_WALKS)
    out = np.zeros(len(met.e), bool)
    if not len(judged):
        return out
    quiet = spread[judged] < STABLE_SPREAD_M
    xy = np.column_stack([met.e, met.n])[judged]
    about = cKDTree(xy).query_ball_point(xy, STABLE_ABOUT_M)
    share = np.array([quiet[k].mean() for k in about])
    out[judged[quiet & (share >= STABLE_SHARE)]] = True
    return out


def _medians(group: np.ndarray, value: np.ndarray, groups: int) -> tuple[np.ndarray, np.ndarray]:
    """Median and number of the values in each group, (groups,); NaN in an empty one."""
    order = np.lexsort((value, group))
    value = value[order]
    size = np.bincount(group, minlength=groups)
    start = np.cumsum(size) - size
    out = np.full(groups, np.nan)
    held = size > 0
    out[held] = (value[start[held] + (size[held] - 1) // 2] + value[start[held] + size[held] // 2]) / 2
    return out, size
