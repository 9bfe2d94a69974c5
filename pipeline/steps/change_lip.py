"""Lip growth between two dates, along every edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.change.balance import EdgeGrown, section_beyond_line, walked_section
from pipeline.change.lip_growth import CANOPY_M, Growth, lip_growth
from pipeline.change.rover_growth import rover_growth
from pipeline.jobs import Job
from pipeline.steps.measure_lip import unseen, walked_rows
from pipeline.steps.spot_given import turf_height_m
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.lip_shape import LipShape, freeze
from pipeline.survey.edges.edge_shape import DEFAULT_BUMP

NAN = float("nan")


@dataclass(frozen=True)
class PairGrowth:
    """rows: of lip_change.csv; edges: what each edge's lip gained, as the balance counts it."""

    rows: list[dict]
    edges: list[EdgeGrown]


def growths(job: Job, kept: dict[str, Surveyed], compared) -> dict[tuple[str, str], PairGrowth]:
    """Growth of every pair. A walk and a flight see an edge too differently to be compared."""
    seen = {name: s for name, s in kept.items() if s.rows is None}
    shapes = frozen(list(seen.values()))
    out = {}
    for a, b in compared:
        earlier, later = kept[a], kept[b]
        if earlier.rows is not None and later.rows is not None:
            out[a, b] = _walks(a, b, earlier, later)
        elif a in seen and b in seen:
            out[a, b] = _flights(job, a, b, earlier, later, shapes)
        else:
            usual = walked_section(DEFAULT_BUMP)
            out[a, b] = PairGrowth([], [EdgeGrown(e.edge_id, NAN, NAN, usual, e.length_m) for e in earlier.edges])
    return out


def frozen(surveys: list[Surveyed]) -> list[LipShape]:
    """The lip's shape on each edge, from the series' first two dates, kept for all of it: so growths add up."""
    if not surveys:
        return []
    second = surveys[1].tables if len(surveys) > 1 else [None] * len(surveys[0].tables)
    return [freeze(a, b) for a, b in zip(surveys[0].tables, second)]


def _flights(job: Job, a: str, b: str, earlier: Surveyed, later: Surveyed, shapes: list[LipShape]) -> PairGrowth:
    sideways = float(np.hypot(earlier.sideways_m, later.sideways_m))
    turf = [t for t in (turf_height_m(job, s) for s in (a, b)) if t is not None]
    canopy = max(turf) if turf else CANOPY_M
    found = lip_growth(list(earlier.tables), list(later.tables), shapes, earlier.noise, later.noise, sideways, canopy)
    edges = []
    for grown, shape, edge in zip(found, shapes, earlier.edges):
        w = grown.whole
        value, sigma = (NAN, NAN) if unseen(edge) else (w.growth_m, w.sigma_m)
        edges.append(EdgeGrown(w.edge_id, value, sigma, section_beyond_line(shape), edge.length_m, w.hidden))
    return PairGrowth([_row(a, b, g, edge.turf_m) for edge in found for g in (*edge.segments, edge.whole)], edges)


def _row(a: str, b: str, g: Growth, turf_m: float) -> dict:
    return {
        "from_survey": a, "to_survey": b, "edge_id": g.edge_id, "station_m": g.station_m, "growth_mm": g.growth_m * 1000,
        "growth_sigma_mm": g.sigma_m * 1000, "detected": g.detected, "canopy_change_mm": turf_m * 1000,
        "growth_low95_mm": g.low95_m * 1000, "growth_high95_mm": g.high95_m * 1000,
    }  # fmt: skip


def _walks(a: str, b: str, earlier: Surveyed, later: Surveyed) -> PairGrowth:
    """Whole edges only: 5 m of a walk would be known to some 8 mm."""
    rows, edges = [], []
    for edge in earlier.edges:
        found = rover_growth(walked_rows(earlier.rows, edge), walked_rows(later.rows, edge), edge.length_m)
        rows.append({
            "from_survey": a, "to_survey": b, "edge_id": edge.edge_id, "station_m": None, "growth_mm": found.growth_m * 1000,
            "growth_sigma_mm": found.growth_sigma_m * 1000, "detected": found.detected, "canopy_change_mm": found.step_gained_m * 1000,
            "growth_low95_mm": found.low95_m * 1000, "growth_high95_mm": found.high95_m * 1000,
        })  # fmt: skip
        edges.append(EdgeGrown(edge.edge_id, found.growth_m, found.growth_sigma_m, walked_section(found.shape), edge.length_m))
    return PairGrowth(rows, edges)
