"""Where the grass really begins: a layout's edge laid onto what colour, intensity or roughness shows.

A layout's arc may stand 0.45 m off (its centre is not the same everywhere) and a drawn line wanders by 25 mm. A
drawn line is the owner's word and is never replaced; how far it is off is told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_frame import edge_frame
from pipeline.survey.edges.edge_level import column_mean, within
from pipeline.survey.edges.edge_move import moved_edge, shifted_edge
from pipeline.survey.edges.edge_shape import ramp
from pipeline.survey.edges.edge_table import STATION_M, EdgeTable, edge_table, rows
from pipeline.survey.points import Ground

REACH_M = 0.70  # the beginning is looked for so far to either hand
READ = (-1.2, 1.2)
FAR = ((-1.2, -0.75), (0.75, 1.2))  # skin's and turf's own value, whatever the offset
NEAR = ((-0.8, -0.15), (0.25, 0.8))  # the same once the line stands within some 0.1 m
POOL_M = 1.0  # profiles are pooled so far to either hand of a row
STEP_M = 0.01
LEAST_CONTRAST = {"colour": 0.25, "intensity": 0.0, "roughness": 0.0}
LEAST_SIGNAL = 2.0  # turf less skin over the scatter of a pooled profile's cells
SMOOTH_M = 1.5  # s.d. of the weights that join the rows' offsets
RAGGED_M = 0.012  # how far the true line of the grass wanders from its smooth one over some decimetres
OUTLIER = 3.0
LEAST_ROWS = 0.5  # of the usable rows must show the beginning
PASSES = 2


@dataclass(frozen=True)
class EdgeFit:
    """One edge and where the grass was found to begin along it.

    edge     : the fitted edge (source `fitted`), or the one given where it was drawn or the evidence is thin
    measured : the line along which heights are best read, whoever drew the edge: `fitted` wherever the grass was seen
    station  : (ns,) rows of the edge given, m
    offset_m : (ns,) the grass begins this far further in the grass than the edge given, m; negative where it has come
               into the skin; NaN where it was not seen
    sigma_m  : (ns,) one s.d. of it, m
    told_by  : `colour`, `intensity`, `roughness`, or `` where nothing told
    reason   : why the edge given was kept, or ``
    """

    edge: Edge
    measured: Edge
    station: np.ndarray
    offset_m: np.ndarray
    sigma_m: np.ndarray
    told_by: str
    reason: str

    @property
    def mean_offset_m(self) -> float:
        """Mean over the rows that were seen, m; NaN where none was."""
        seen = np.isfinite(self.offset_m)
        return float(self.offset_m[seen].mean()) if seen.any() else float("nan")


def fit_edge(ground: Ground, edge: Edge, foreign: np.ndarray | None = None) -> EdgeFit:
    """Lay one edge onto where a survey shows the grass begin.

    foreign : as in `edge_table`; for a layout that may stand off by decimetres leave it None
    """
    table = edge_table(ground, edge, foreign)
    told_by, offset, sigma = beginning(table, FAR)
    station = table.s
    if not told_by:
        nothing = np.full(station.shape, np.nan)
        reason = "neither colour, intensity nor roughness tells grass from skin"
        return EdgeFit(edge, edge, station, nothing, nothing, "", reason)
    seen = np.isfinite(offset)
    if seen.sum() < max(LEAST_ROWS * table.usable.sum(), 4):
        reason = f"the beginning of the grass was seen along {seen.sum() * STATION_M:.1f} m only"
        return EdgeFit(edge, edge, station, offset, sigma, told_by, reason)
    best = shifted_edge(edge, station, offset)
    for _ in range(PASSES):
        again = edge_table(ground, best)
        offset, sigma = beginning(again, NEAR, told_by)[1:]
        best = moved_edge(best, again.s, offset)
    offset, sigma = _against(edge, station, best, np.interp(rows(best), again.s, sigma))
    if edge.source == "drawn":
        return EdgeFit(edge, best, station, offset, sigma, told_by, "the line was drawn")
    return EdgeFit(best, best, station, offset, sigma, told_by, "")


def beginning(table: EdgeTable, far, told_by: str | None = None) -> tuple[str, np.ndarray, np.ndarray]:
    """Where the grass begins along a table's edge: what told it, offset and s.d. per row, (ns,), m.

    far     : d windows of skin and turf that hold no beginning
    told_by : take this signal; None takes the first that tells
    Per row the pooled profile is laid over `ramp`, the offset is where the squares are least; offsets are then
    joined by a robust running line.
    """
    signals = {"colour": table.green, "intensity": table.intensity, "roughness": table.spread}
    for name, cells in signals.items():
        if cells is None or (told_by is not None and name != told_by):
            continue
        found = _offsets(table, cells, far, LEAST_CONTRAST[name])
        if found is not None:
            return name, *_joined(table, *found)
    nothing = np.full(table.s.shape, np.nan)
    return "", nothing, nothing


def _offsets(table: EdgeTable, cells: np.ndarray, far, least: float) -> tuple[np.ndarray, np.ndarray] | None:
    """Offset and formal s.d. per row, (ns,), m; None where the signal does not tell grass from skin."""
    skin, turf = (column_mean(cells, table.usable)[within(table.d, w)] for w in far)
    if not (np.isfinite(skin).any() and np.isfinite(turf).any()):
        return None
    low, gap = float(np.nanmean(skin)), float(np.nanmean(turf) - np.nanmean(skin))
    read = within(table.d, READ)
    pooled, weight = _pooled(cells[:, read], table.usable)
    steps = np.diff(pooled[:, within(table.d[read], far[0])], axis=1)[table.usable]
    steps = steps[np.isfinite(steps)]
    scatter = 1.4826 * float(np.median(np.abs(steps))) / 2**0.5 if len(steps) else np.inf
    if abs(gap) < max(least, LEAST_SIGNAL * scatter, 1e-9) or (least and gap < 0):
        return None
    scaled = np.where(weight > 0, (pooled - low) / gap, 0.0)
    tried = np.arange(-REACH_M, REACH_M + STEP_M / 2, STEP_M)
    shape = ramp(table.d[read][:, None] - tried)
    cost = (weight * scaled**2).sum(axis=1)[:, None] - 2 * (weight * scaled) @ shape + weight @ shape**2
    best = np.argmin(cost, axis=1)
    inner = np.clip(best, 1, len(tried) - 2)
    row = np.arange(len(cost))
    left, mid, right = cost[row, inner - 1], cost[row, inner], cost[row, inner + 1]
    bend = left - 2 * mid + right
    with np.errstate(invalid="ignore", divide="ignore"):
        offset = tried[inner] + STEP_M * np.clip(0.5 * (left - right) / bend, -1, 1)
        spread = np.sqrt(np.maximum(mid, 0) / np.maximum(weight.sum(axis=1) - 1, 1) / (bend / STEP_M**2 / 2))
    seen = (best > 0) & (best < len(tried) - 1) & (bend > 0) & ((weight > 0).mean(axis=1) > 0.6) & table.usable
    return np.where(seen, offset, np.nan), np.where(seen, spread, np.nan)


def _pooled(cells: np.ndarray, usable: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean over the rows within POOL_M, and in how many of them each cell was seen, both (ns, columns)."""
    half = round(POOL_M / STATION_M)
    seen = np.isfinite(cells) & usable[:, None]
    kernel = np.ones(2 * half + 1)
    count = np.apply_along_axis(np.convolve, 0, seen.astype(float), kernel, "full")[half:-half]
    total = np.apply_along_axis(np.convolve, 0, np.where(seen, cells, 0.0), kernel, "full")[half:-half]
    return np.where(count > 0, total / np.maximum(count, 1), np.nan), np.minimum(count, 1.0)


def _joined(table: EdgeTable, offset: np.ndarray, spread: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows' offsets joined by a running mean with Gaussian weights, rows far off it left out; and its s.d."""
    seen = np.isfinite(offset)
    gap = np.abs(table.s[:, None] - table.s)
    if not seen.any():
        return offset, spread
    side = np.cumsum(~table.usable)  # rows about a sharp turn are not usable: beyond it begins another side
    near = np.exp(-0.5 * (gap / SMOOTH_M) ** 2) * (side[:, None] == side)
    weight = near * seen
    filled = np.nan_to_num(offset)
    for _ in range(3):
        total = weight.sum(axis=1)
        smooth = weight @ filled / np.maximum(total, 1e-12)
        left = np.abs(filled - smooth)
        scale = max(1.4826 * float(np.median(left[seen])), 0.004)
        weight = near * (seen & (left < OUTLIER * scale))
    share = weight / np.maximum(weight.sum(axis=1, keepdims=True), 1e-12)
    pooled_rows = 2 * POOL_M / STATION_M + 1  # neighbouring rows share their points
    variance = (share**2 @ np.nan_to_num(spread) ** 2) * pooled_rows + RAGGED_M**2
    told = seen & (weight.sum(axis=1) > 0.5)
    return np.where(told, smooth, np.nan), np.where(told, np.sqrt(variance), np.nan)


def _against(edge: Edge, station: np.ndarray, best: Edge, sigma: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How far the moved edge stands in the grass of the given one, and its s.d., at the given edge's rows, (ns,), m."""
    at = rows(best)
    along, across = edge_frame(edge, 2 * READ[1]).project(*best.at(at))
    told = np.isfinite(along) & np.isfinite(sigma) & best.usable(at)
    if not told.any():
        nothing = np.full(station.shape, np.nan)
        return nothing, nothing
    order = np.flatnonzero(told)[np.argsort(along[told], kind="stable")]
    near = np.abs(station[:, None] - along[order]).min(axis=1) <= STATION_M
    offset, spread = (np.interp(station, along[order], v[order]) for v in (across, sigma))
    return np.where(near, offset, np.nan), np.where(near, spread, np.nan)
