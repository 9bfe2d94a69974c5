"""What two walks along a planned pattern would see: walks are drawn on level ground and read as real ones are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.change.foresight import POWER_80, EdgeSeen, Foresight, foresee
from pipeline.change.rover_growth import rover_growth
from pipeline.diamond.layout import Layout
from pipeline.survey.edges.edge_frame import edge_frame
from pipeline.survey.edges.edge_table import CLEAR_M, STATION_M, rows
from pipeline.survey.noise import ROVER, matern32
from pipeline.survey.walks.tin import row_noise
from pipeline.survey.walks.walk_plan import ON_POINT_S, PACE_M_S, Planned

DRAWS = 5
DRIFT_S = 180.0  # range of the drift over time, as the methods declare a rover


def foresee_walk(layout: Layout, plan: list[Planned], rng: np.random.Generator) -> Foresight:
    """As `foresee`, with the edges from the very zig-zag of the plan, the raster from its rows over the skin."""
    rows = sum(p.why in ("skin", "place") for p in plan)
    skin_m2 = float(layout.skin.area)
    seen = foresee(layout, row_noise(ROVER, skin_m2, max(rows, 1), 0.0), rows / skin_m2, row_noise=ROVER)
    return replace(seen, edges=tuple(_edge(e, plan, rng) for e in layout.edges))


def _edge(edge, plan: list[Planned], rng: np.random.Generator) -> EdgeSeen:
    """Median claimed s.d. of growth over some drawn pairs of walks; NaN where a walk like this tells none."""
    mine = np.array([(p.e, p.n) for p in plan if p.line == f"edge-{edge.edge_id}"]).reshape(-1, 2)
    s, d = edge_frame(edge).project(*mine.T)
    held = np.isfinite(s)
    held[held] = edge.usable(s[held], CLEAR_M)
    time_s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(mine, axis=0).T))]) / PACE_M_S + ON_POINT_S * np.arange(len(mine))
    s, d, time_s = s[held], d[held], time_s[held]
    sigmas = []
    for _ in range(DRAWS):
        walks = [(s, d, _drift(time_s, rng) + rng.normal(0.0, ROVER.white_m, len(s))) for _ in range(2)]
        sigmas.append(rover_growth(*walks, edge.length_m).growth_sigma_m)
    known = np.array(sigmas)[np.isfinite(sigmas)]
    sigma = float(np.median(known)) if len(known) > DRAWS / 2 else float("nan")
    clear = float(edge.usable(rows(edge), CLEAR_M).sum() * STATION_M)
    return EdgeSeen(edge.edge_id, clear, POWER_80 * sigma, float("nan"))


def _drift(time_s: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A rover's height error over time, Matern 3/2, m."""
    covariance = ROVER.parts[0][0] ** 2 * matern32(np.abs(time_s[:, None] - time_s) / DRIFT_S)
    return np.linalg.cholesky(covariance + 1e-12 * np.eye(len(time_s))) @ rng.standard_normal(len(time_s))
