"""Levels a design has to meet: along the grass edge, on plates, where the owner fixed one."""

from __future__ import annotations

from typing import Sequence

import numpy as np
from scipy.spatial import cKDTree

from pipeline.diamond.edges import Edge
from pipeline.works.grading.wishes import EDGE_M, Levels

EVERY_M = 2.0  # along an edge
REACH_M = 0.7  # skin within this of a station speaks for the level there
LEAST_CELLS = 6
BESIDE_M = 1.5  # a lip read within this of a station is that station's


def edge_levels(edges: Sequence[Edge], x: np.ndarray, y: np.ndarray, z: np.ndarray, lip: Sequence[dict], tolerance_mm: float | None, skip: Sequence[str] = ("mound",)) -> Levels:
    """Levels of the skin along its edges: where the skin stands now; where it stands low against the grass, that much higher; none
    where a lip is over the owner's tolerance, for there the edge itself is to be worked.

    x, y, z : cells of the skin clear of the edge, (n,), m
    lip     : rows of lip.csv of the survey; tolerance_mm: of a lip, None leaves every lip's level as it is
    """
    tree = cKDTree(np.column_stack([x, y]))
    out: list[tuple[float, float, float, str]] = []
    for edge in (e for e in edges if e.edge_id not in skip):
        stations = np.arange(EVERY_M / 2, edge.length_m, EVERY_M)
        e, n = edge.at(stations)
        known = [r for r in lip if r["edge_id"] == edge.edge_id and r["station_m"] is not None]
        at = np.array([r["station_m"] for r in known], float)
        for s, px, py in zip(stations, np.atleast_1d(e), np.atleast_1d(n)):
            near = tree.query_ball_point([px, py], REACH_M)
            if len(near) < LEAST_CELLS:
                continue
            row = known[int(np.abs(at - s).argmin())] if len(at) and np.abs(at - s).min() <= BESIDE_M else None
            height = None if row is None else row["height_mm"]
            if row is not None and row["kind"] == "lip" and tolerance_mm is not None and (height or 0.0) > tolerance_mm:
                continue
            step = height / 1000 if row is not None and row["kind"] == "low_skin" and height is not None else 0.0
            out.append((x[near].mean(), y[near].mean(), z[near].mean() + step, f"{edge.edge_id} {s:.0f} m"))
    if not out:
        return Levels.none()
    ex, ey, ez, names = zip(*out)
    return Levels(np.array(ex), np.array(ey), np.array(ez), np.full(len(ex), EDGE_M), names)


def joined(*parts: Levels) -> Levels:
    """Levels of several kinds as one."""
    return Levels(*(np.concatenate([getattr(p, k) for p in parts]) for k in ("x", "y", "height", "tolerance_m")), sum((p.name for p in parts), ()))


def moved(levels: Levels, dx: float, dy: float) -> Levels:
    """The same in axes whose origin lies at (dx, dy)."""
    return Levels(levels.x - dx, levels.y - dy, levels.height, levels.tolerance_m, levels.name)
