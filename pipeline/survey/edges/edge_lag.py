"""Where a survey's edges are to be found at all: profiles laid over the reference's, decimetres to either hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.survey.edges.edge_cover import signal
from pipeline.survey.edges.edge_level import SKIN_WINDOW, TURF_WINDOW, column_mean, levelled, within
from pipeline.survey.edges.edge_table import ACROSS_M, STATION_M, EdgeTable

PIECE_M = 3.0
PATTERN = (-0.7, 0.7)  # of the earlier profile, looked for in the later one
REACH_M = 0.8
LEAST_CORRELATION = 0.85
LEAST_CELLS = 18
SHOWS_SHARE = 0.5  # of the earlier survey's contrast that the later one must show somewhere
SIGMA_M = 0.03  # one s.d. of a piece's lag: the steps of d and the grass's raggedness


@dataclass(frozen=True)
class Lag:
    """One piece: the later profile fits best this far further in the grass, m; NaN where it fits nowhere."""

    station_m: float
    lag_m: float


def lags_of(earlier: EdgeTable, later: EdgeTable) -> tuple[str, list[Lag]]:
    """What was compared (`colour`, `intensity` or `height`), and the lag of every piece both surveys saw."""
    told_by, cells = _compared(earlier, later)
    pattern = np.flatnonzero(within(earlier.d, PATTERN))
    steps = round(REACH_M / ACROSS_M)
    out = []
    for k in range(int(len(earlier.s) * STATION_M / PIECE_M)):
        middle = (k + 0.5) * PIECE_M
        rows = earlier.usable & later.usable & (np.abs(earlier.s - middle) < PIECE_M / 2)
        if rows.sum() < 4:
            continue
        a, b = (column_mean(c, rows) for c in cells)
        if min(np.isfinite(a[pattern]).sum(), np.isfinite(b[pattern]).sum()) < LEAST_CELLS:
            continue
        fits = [_correlation(a[pattern], b[pattern + step]) for step in range(-steps, steps + 1)]
        best = int(np.argmax(fits))
        lag = (best - steps) * ACROSS_M if fits[best] >= LEAST_CORRELATION else np.nan
        out.append(Lag(middle, float(lag)))
    return told_by, out


def _compared(earlier: EdgeTable, later: EdgeTable) -> tuple[str, list[np.ndarray]]:
    """The cells to lay over each other: cover where the earlier survey shows the edge by it and the later one shows
    both grass and bare ground somewhere (dormant turf shows none); else heights."""
    told_by, cells = signal([earlier])
    theirs = {"colour": later.green, "intensity": later.intensity}.get(told_by)
    if theirs is not None and np.isfinite(theirs).any():
        low, high = np.nanpercentile(theirs, (5, 95))
        gap = np.diff([np.nanmean(cells[0][:, within(earlier.d, w)]) for w in (SKIN_WINDOW, TURF_WINDOW)])[0]
        if high - low >= SHOWS_SHARE * abs(gap):
            return told_by, [cells[0], theirs]
    return "height", [levelled(earlier).z, levelled(later).z]


def _correlation(a: np.ndarray, b: np.ndarray) -> float:
    """Correlation over the cells both show; -1 where they are too few or one is flat."""
    seen = np.isfinite(a) & np.isfinite(b)
    if seen.sum() < LEAST_CELLS:
        return -1.0
    x, y = a[seen] - a[seen].mean(), b[seen] - b[seen].mean()
    size = np.sqrt((x @ x) * (y @ y))
    return float(x @ y / size) if size > 0 else -1.0
