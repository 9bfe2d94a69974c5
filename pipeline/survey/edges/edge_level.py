"""Heights along an edge above the local ground: what lies under the lip and the blades is taken off row by row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.survey.edges.edge_table import STATION_M, EdgeTable

SKIN_WINDOW, TURF_WINDOW = (-0.8, -0.3), (0.9, 1.4)
SKIN_LINE, TURF_LINE = (-2.2, -0.3), (0.9, 2.5)  # where the two sides' slopes are read
SLOPE_REACH_M = 2.5  # slopes are pooled over so much of the edge to either hand
WINDOW_CELLS = 5  # cells of a window that must be seen: half of skin's and turf's ten
SHORT_LINE = 0.02  # m2, least spread of d over which a slope is read


@dataclass(frozen=True)
class Levelled:
    """An edge table's heights above the ground that would be there without step, lip and canopy.

    z          : (ns, nd) m; NaN as in the table
    skin_slope : (ns,) slope across the edge on the skin's side, m per m, + rising toward the grass
    turf_slope : (ns,) the same on the grass side

    The ground runs on from the skin as far as the edge with the skin's slope and beyond it with the turf's: at a
    mound or a crown the two differ, and a straight line through the skin would make a lip of the bend.
    """

    z: np.ndarray
    skin_slope: np.ndarray
    turf_slope: np.ndarray


def within(d: np.ndarray, window: tuple[float, float], offset_m: float = 0.0) -> np.ndarray:
    """Columns whose middle lies in a window moved by offset_m, bool (nd,)."""
    return (d > window[0] + offset_m) & (d < window[1] + offset_m)


def window_mean(values: np.ndarray, columns: np.ndarray, need: int = WINDOW_CELLS) -> np.ndarray:
    """Mean of each row over some columns, each with equal weight, (ns,); NaN where fewer than `need` are seen."""
    v = values[:, columns]
    seen = np.isfinite(v)
    count = seen.sum(axis=1)
    total = np.where(seen, v, 0.0).sum(axis=1)
    return np.where(count >= max(need, 1), total / np.maximum(count, 1), np.nan)


def column_mean(values: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Mean of each column over some rows, (nd,); NaN where none is seen."""
    v = values[rows]
    seen = np.isfinite(v)
    count = seen.sum(axis=0)
    return np.where(count > 0, np.where(seen, v, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)


def levelled(table: EdgeTable, offset_m: float = 0.0) -> Levelled:
    """Heights above the local ground (see `Levelled`).

    offset_m : where the grass begins in the table's d, m
    Rows whose skin window is not seen are NaN. Slopes come from all usable rows within SLOPE_REACH_M.
    """
    skin_slope = _slope(table, within(table.d, SKIN_LINE, offset_m))
    turf_slope = _slope(table, within(table.d, TURF_LINE, offset_m))
    skin = within(table.d, SKIN_WINDOW, offset_m)
    across = table.d - offset_m
    level = window_mean(table.z, skin)
    middle = window_mean(np.where(np.isfinite(table.z), across, np.nan), skin)
    slope = np.where(across < 0, skin_slope[:, None], turf_slope[:, None])
    ground = (level - skin_slope * middle)[:, None] + slope * across
    return Levelled(table.z - ground, skin_slope, turf_slope)


def _slope(table: EdgeTable, columns: np.ndarray) -> np.ndarray:
    """Slope across the edge around each row, (ns,): within-row regressions pooled, so that rows may differ in level."""
    z, d = table.z[:, columns], table.d[columns]
    seen = np.isfinite(z) & table.usable[:, None]
    count = np.maximum(seen.sum(axis=1, keepdims=True), 1)
    x = np.where(seen, d - np.where(seen, d, 0.0).sum(axis=1, keepdims=True) / count, 0.0)
    y = np.where(seen, z - np.where(seen, z, 0.0).sum(axis=1, keepdims=True) / count, 0.0)
    half = round(SLOPE_REACH_M / STATION_M)
    xx, xy = _around((x * x).sum(axis=1), half), _around((x * y).sum(axis=1), half)
    return np.where(xx > SHORT_LINE, xy / np.maximum(xx, SHORT_LINE), np.nan)


def _around(values: np.ndarray, half: int) -> np.ndarray:
    """Sums over each row and `half` rows to either hand."""
    padded = np.concatenate([np.zeros(half), values, np.zeros(half)])
    return np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1).sum(axis=1)
