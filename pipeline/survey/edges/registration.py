"""Laying a survey onto the reference's grass edges: found to decimetres first, then fitted, then moved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.errors import Refused
from pipeline.survey.edges.edge_lag import SIGMA_M as LAG_SIGMA_M
from pipeline.survey.edges.edge_lag import lags_of
from pipeline.survey.edges.edge_table import EdgeTable, edge_table
from pipeline.survey.edges.horizontal import (
    LEAST_PIECES,
    LEAST_SPAN_DEG,
    LIMIT_M,
    Piece,
    Shift,
    agree,
    normal_at,
    pieces_of,
    refusal_of,
    shift_of,
    span_of,
)
from pipeline.survey.points import Ground

FOUND_SHARE = 0.5  # of the pieces must agree on one shift: else the later survey's edges are not where they were
ALIKE_M = 0.15
PASSES, SETTLED_M = 3, 0.001


def coarse_shift(earlier: list[EdgeTable], later: list[EdgeTable], edges: list[Edge]) -> tuple[float, float]:
    """What must be added to the later survey, to some 20 mm, east and north, m; (0, 0) where the edges cannot tell.

    raises : Refused("horizontal_shift") beyond LIMIT_M, or where colour or intensity shows the edges of both
             surveys and no one shift within 0.8 m lays half of them onto each other
    """
    pieces, shown, seen = [], [], {"cover": 0, "height": 0}
    for number, (a, b, edge) in enumerate(zip(earlier, later, edges)):
        told_by, lags = lags_of(a, b)
        kind = "height" if told_by == "height" else "cover"
        seen[kind] += len(lags)
        found = [lag for lag in lags if np.isfinite(lag.lag_m)]
        pieces += [Piece(lag.lag_m, LAG_SIGMA_M**2, normal_at(edge, lag.station_m), number) for lag in found]
        shown += [kind == "cover"] * len(found)
    moved = agree(pieces)[0] if len(pieces) >= 3 else np.zeros(2)
    where = np.array([p.normal for p in pieces]).reshape(-1, 2)
    alike = np.abs(where @ moved - [p.tau_m for p in pieces]) < ALIKE_M
    by_cover = int((alike & np.array(shown, bool)).sum())
    if seen["cover"] >= LEAST_PIECES and by_cover < FOUND_SHARE * seen["cover"]:
        raise Refused(
            "horizontal_shift",
            f"of {seen['cover']} pieces of grass edge only {by_cover} can be laid onto the reference survey's by one "
            "shift of less than 0.8 m. Look for a wrong coordinate system or a survey of another field.",
        )
    if alike.sum() < max(LEAST_PIECES, FOUND_SHARE * sum(seen.values())) or span_of(where) < LEAST_SPAN_DEG:
        return 0.0, 0.0
    if np.hypot(*moved) > LIMIT_M:
        raise Refused("horizontal_shift", refusal_of(-moved))
    return -float(moved[0]), -float(moved[1])


def register(
    ground: Ground,
    edges: list[Edge],
    foreign: list[np.ndarray],
    reference: list[EdgeTable],
    declared_sigma_m: float,
    passes: int = PASSES,
) -> tuple[Shift, Ground, list[EdgeTable]]:
    """Move a survey sideways onto the reference's edges.

    foreign   : per edge, from `foreign_cells`
    reference : per edge, the reference survey's tables
    returns   : the whole shift, the moved points, their tables. Where the shift is not known nothing is moved.
    raises    : Refused("horizontal_shift")
    """

    def tables_at(e_m: float, n_m: float) -> list[EdgeTable]:
        return [edge_table(ground.moved(e_m, n_m), e, f) for e, f in zip(edges, foreign)]

    unmoved = tables = tables_at(0.0, 0.0)
    east, north = coarse_shift(reference, tables, edges)
    if np.hypot(east, north) < LAG_SIGMA_M:
        east = north = 0.0
    else:
        tables = tables_at(east, north)
    for _ in range(passes):
        found = [pieces_of(a, b, e, i) for i, (a, b, e) in enumerate(zip(reference, tables, edges))]
        step = shift_of([p for edge in found for p in edge], declared_sigma_m)
        if not step.known:
            return step, ground, unmoved
        east, north = east + step.e_m, north + step.n_m
        if np.hypot(east, north) > LIMIT_M:
            raise Refused("horizontal_shift", refusal_of(np.array([east, north])))
        tables = tables_at(east, north)
        if np.hypot(step.e_m, step.n_m) < SETTLED_M:
            break
    return replace(step, e_m=east, n_m=north), ground.moved(east, north), tables
