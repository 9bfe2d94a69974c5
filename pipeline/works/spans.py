"""Spans between two surveys that follow each other: the crew's visits, hours and mix in between, and what changed."""

from __future__ import annotations

from typing import Iterator, Mapping, Sequence

import numpy as np

from pipeline.works.around import Seen, between
from pipeline.works.progress import per_hour
from pipeline.works.record import BETTER, GAP, LIP, PLANARITY, RING, SKIN, Rows

LEVELLING = ("drag", "level", "open_up", "roll", "mix_add")
EDGE_WORK = ("edge_clean", "edge_recut", "lip_cut", "sod")
BY_MACHINE = ("laser_grade", "rebuild")
EDGES = "edges"  # all edges together: a work on an edge does not say which
NAN = float("nan")


def spans(works: Sequence[Mapping], surveys: Sequence[Seen], rows: Rows, edges_m: Mapping[str, float], tonnes_of) -> list[dict]:
    """Rows of progress.csv, one for each zone, span and measure that the crew worked on.

    surveys : not refused, oldest first
    rows    : the field's result tables
    edges_m : edge id -> its length, m
    tonnes_of : function of works -> tonnes of mix they brought, NaN where a loose volume has no density
    Skin visits count for the skin as a whole; a visit counts for a place only where it names that place, since of a visit to the
    whole skin nobody knows how long it stayed there. Work by a contractor in the span leaves mm an hour empty.
    """
    out = []
    for a, b in zip(surveys, surveys[1:]):
        inside = between(works, a, b)
        level = [w for w in inside if w["work"] in (*LEVELLING, *BY_MACHINE)]
        edge = [w for w in inside if w["work"] in EDGE_WORK]
        others = [w for w in level if w["work"] in BY_MACHINE or w.get("by") == "contractor"]
        zones = sorted({_zone(w) for w in level if w not in others})
        for zone in zones:
            mine = [w for w in level if w not in others and _zone(w) == zone]
            for measure, change, sigma in _changed(zone, a.survey_id, b.survey_id, rows):
                out.append(_row(zone, a, b, mine, measure, change, sigma, tonnes_of, "graded or rebuilt by machine or by a contractor meanwhile" if others else ""))
        hands = [w for w in edge if w.get("by") != "contractor"]
        if hands:
            change, sigma = _edges(a.survey_id, b.survey_id, rows, edges_m)
            out.append(_row(EDGES, a, b, hands, LIP, change, sigma, tonnes_of, "edge work by a contractor meanwhile" if len(hands) < len(edge) else ""))
    return out


def _zone(work: Mapping) -> str:
    return work.get("zone") or SKIN


def _row(zone: str, a: Seen, b: Seen, works: list[Mapping], measure: str, change: float, sigma: float, tonnes_of, reason: str) -> dict:
    hours = [w.get("hours") for w in works]
    known = sum(hours) if None not in hours else NAN
    if not reason:
        reason = "a visit without hours" if not np.isfinite(known) else "" if np.isfinite(change) else "the two surveys do not both tell it"
    rate = per_hour(NAN if reason else change, sigma, known, BETTER[measure])
    return {
        "zone": zone, "from_survey": a.survey_id, "to_survey": b.survey_id, "measure": measure, "visits": len(works), "hours": known, "mix_t": tonnes_of(works),
        "change_mm": change, "change_sigma_mm": sigma, "mm_per_hour": rate.value, "mm_per_hour_low95": rate.low95, "mm_per_hour_high95": rate.high95, "reason": reason,
    }  # fmt: skip


def _changed(zone: str, a: str, b: str, rows: Rows) -> Iterator[tuple[str, float, float]]:
    """Measures of a zone and their change: evenness of the skin, ring depth of a place."""
    if zone == SKIN:
        at = [next((r for r in rows["zones"] if r["survey_id"] == s and r["zone"] == SKIN), {}) for s in (a, b)]
        for measure in (PLANARITY, GAP):
            (v0, s0), (v1, s1) = ((_number(r.get(f"{measure}_mm")), _number(r.get(f"{measure}_sigma_mm"))) for r in at)
            yield measure, v1 - v0, float(np.hypot(s0, s1))
        return
    pair = next((r for r in rows["low_spot_change"] if (r["from_survey"], r["to_survey"], r["low_spot_id"]) == (a, b, zone)), None)
    if pair is not None:
        yield RING, _number(pair["depth_change_mm"]), _number(pair["depth_change_sigma_mm"])


def _edges(a: str, b: str, rows: Rows, edges_m: Mapping[str, float]) -> tuple[float, float]:
    """Mean growth of the lips by length of edge, mm, and one s.d. as if all edges erred alike; NaN where none was read."""
    mine = [r for r in rows["lip_change"] if (r["from_survey"], r["to_survey"]) == (a, b) and r["station_m"] is None and r["edge_id"] in edges_m]
    told = [(edges_m[r["edge_id"]], _number(r["growth_mm"]), _number(r["growth_sigma_mm"])) for r in mine]
    told = [t for t in told if np.isfinite(t).all()]
    if not told:
        return NAN, NAN
    length, growth, sigma = np.array(told).T
    return float((length * growth).sum() / length.sum()), float((length * sigma).sum() / length.sum())


def _number(value) -> float:
    return NAN if value is None else float(value)
