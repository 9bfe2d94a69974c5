"""How much grass stands where, as colour or intensity shows it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.survey.edges.edge_level import SKIN_WINDOW, TURF_WINDOW, column_mean, window_mean, within
from pipeline.survey.edges.edge_shape import ramp
from pipeline.survey.edges.edge_table import ACROSS_M, EdgeTable

BARE_BELOW, FULL_ABOVE, MOST = -0.15, 0.5, 1.05  # m, m, share
SEEN_GREEN = 0.25  # share of green points by which turf must exceed skin before colour is believed
SEEN_ROWS = 3.0  # and turf less skin must be so many s.d. of itself from row to row
SEEN_SIGMA, PLAIN_SIGMA = 0.08, 0.15  # one s.d. of cover: told by colour or intensity, by distance alone
PLAIN_MOST = 0.95
HALFWAY_M = 0.04  # the ramp of cover is half up so far inside the grass
OFFSET_REACH_M = 0.45  # grass that begins further from the line is not looked for


@dataclass(frozen=True)
class Cover:
    """Share of the turf's cover across one edge, the same all along it.

    share    : (nd,) phi, 0 in the skin, 1 in the turf
    sigma    : one s.d. of it in the first 0.5 m of grass
    told_by  : `colour`, `intensity` or `distance`
    offset_m : where the grass begins in the table's d, m, a multiple of ACROSS_M; 0 when told by distance
    """

    share: np.ndarray
    sigma: float
    told_by: str
    offset_m: float


def signal(tables: list[EdgeTable]) -> tuple[str, list[np.ndarray]]:
    """What tells grass from skin at all the dates alike: `colour`, `intensity` or `distance`, and its cells."""
    for told_by in ("colour", "intensity"):
        cells = [told_cells(t, told_by) for t in tables]
        if all(c is not None for c in cells):
            return told_by, cells
    return "distance", []


def cover(tables: list[EdgeTable]) -> Cover:
    """Cover across an edge from one or more dates, each with equal weight.

    Green cells mark cover, not height: dormant, wet, painted or dusty turf breaks the link, which `sigma` covers
    only in part.
    """
    told_by, cells = signal(tables)
    d = tables[0].d
    if told_by == "distance":
        return Cover(PLAIN_MOST * ramp(d), PLAIN_SIGMA, told_by, 0.0)
    rising = np.mean([column_mean(c, t.usable) for t, c in zip(tables, cells)], axis=0)
    share = _between(rising, d, 0.0)
    offset = _beginning(share, d)
    if offset:
        share = _between(rising, d, offset)
    share = np.clip(np.nan_to_num(share), 0.0, MOST)
    share[d < BARE_BELOW + offset] = 0.0
    share[d > FULL_ABOVE + offset] = 1.0
    return Cover(share, SEEN_SIGMA, told_by, offset)


def own_cover(table: EdgeTable, told_by: str, offset_m: float) -> np.ndarray:
    """One date's cover by the same signal, (nd,), not clipped; NaN where that date shows nothing by it."""
    cells = told_cells(table, told_by)
    if cells is None:
        return np.full(table.d.shape, np.nan)
    return _between(column_mean(cells, table.usable), table.d, offset_m)


def told_cells(table: EdgeTable, told_by: str) -> np.ndarray | None:
    """The cells of a signal, or None where they do not tell grass from skin at this date."""
    cells = {"colour": table.green, "intensity": table.intensity}.get(told_by)
    least = SEEN_GREEN if told_by == "colour" else 0.0
    return cells if cells is not None and _tells(table, cells, least) else None


def _tells(table: EdgeTable, cells: np.ndarray, least: float) -> bool:
    gap = window_mean(cells, within(table.d, TURF_WINDOW)) - window_mean(cells, within(table.d, SKIN_WINDOW))
    gap = gap[table.usable & np.isfinite(gap)]
    if len(gap) < 4 or (least and gap.mean() < 0):
        return False
    return abs(gap.mean()) >= max(least, SEEN_ROWS * gap.std(), 1e-9)


def _between(values: np.ndarray, d: np.ndarray, offset_m: float) -> np.ndarray:
    """Values scaled from the skin window's mean to the turf window's."""
    skin, turf = (window_mean(values[None], within(d, w, offset_m))[0] for w in (SKIN_WINDOW, TURF_WINDOW))
    return (values - skin) / (turf - skin)


def _beginning(share: np.ndarray, d: np.ndarray) -> float:
    """Where cover first rises through one half, less HALFWAY_M, to the nearest column."""
    near = np.flatnonzero((np.abs(d) < OFFSET_REACH_M) & np.isfinite(share))
    up = near[:-1][(share[near[:-1]] < 0.5) & (share[near[1:]] >= 0.5)]
    if not len(up):
        return 0.0
    i = up[0]
    at = d[i] + ACROSS_M * (0.5 - share[i]) / (share[i + 1] - share[i]) - HALFWAY_M
    return float(np.round(at / ACROSS_M) * ACROSS_M)
