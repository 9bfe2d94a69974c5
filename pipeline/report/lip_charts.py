"""The charts of a field's edges: one for each that was measured, worst first."""

from __future__ import annotations

from pipeline.diamond.edges import Edge
from pipeline.report.field_input import FieldInput
from pipeline.report.findings import LIP, LOW_SKIN
from pipeline.report.lip_chart import LimitLine, lip_chart
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing

BASES = ("home", "first", "second", "third")
BESIDE_M = 12.5  # a base further from the edge than this does not name a place on it
AROUND = 1.5  # an edge that stays within so many times its nearest distance runs around the base
APART_SHARE = 0.28  # of the chart's width: names nearer than this would run into one another
ENDS = (0.04, 0.96)


def lip_charts(given: FieldInput, now: Standing, sayer: Sayer) -> list[dict]:
    """Edge, drawing and caption for every edge with a figure at the newest survey."""
    if now.newest is None:
        return []
    words, out = sayer.words, []
    lines = {e.edge_id: e for e in given.edges}
    for seen in now.newest.edges:
        rows = [r for r in now.newest.rows["lip"] if r["edge_id"] == seen.edge_id and r["station_m"] is not None]
        if not rows or not seen.told or seen.edge_id not in lines:  # a walk gives an edge's mean only
            continue
        edge, name = lines[seen.edge_id], sayer.placing.edge(seen.edge_id)
        title = words("chart_title", edge=name, day=sayer.day(now.newest.flown_on, now.newest.survey_id))
        about = words("chart_about", edge=name, told=seen.told, stations=seen.stations)
        svg = lip_chart(f"lip-{seen.edge_id}", rows, edge.length_m, limit_lines(sayer), places(given.layout.anchors, edge, sayer), sayer.units,
                        title, about)  # fmt: skip
        top = max((r["height_mm"] for r in rows if r["kind"] == LIP and r["height_mm"] is not None), default=0.0)
        out.append((-top, {"svg": svg, "title": title, "calibration": words(f"calibration_{rows[0]['calibration'] or 'none'}"),
                           "low_skin": any(r["kind"] == LOW_SKIN for r in rows)}))  # fmt: skip
    return [chart for _, chart in sorted(out, key=lambda c: c[0])]


def limit_lines(sayer: Sayer) -> list[LimitLine]:
    """The owner's tolerance and trip limit."""
    field_id, out = sayer.placing.layout.field_id, []
    for trip, key in ((False, "line_tolerance"), (True, "line_trip")):
        owned = sayer.owned(LIP, trip)
        if owned is not None:
            out.append(LimitLine(owned.of(field_id), sayer.words(key), trip))
    return out


def reading(charts: list[dict], sayer: Sayer) -> list[str]:
    """How to read the charts: once for all of them, only of what is in them."""
    words = sayer.words
    out = [words("chart_reads") + (" " + words("chart_bars") if any(c["low_skin"] for c in charts) else "")]
    for trip, key in ((False, "chart_tolerance"), (True, "chart_trip")):
        owned = sayer.owned(LIP, trip)
        if owned is not None:
            out.append(words(key, limit=sayer.limit(LIP, trip), signed=sayer.signed_by(owned)))
    said = list(dict.fromkeys(c["calibration"] for c in charts))
    return out + said if len(said) == 1 else out


def places(anchors: dict[str, tuple[float, float]], edge: Edge, sayer: Sayer) -> list[tuple[float, str]]:
    """Station nearest each base, with its name, where the base lies beside the edge and the names do not collide;
    where fewer than two do, what lies at the two ends."""
    from shapely.geometry import Point

    found = []
    for base in (b for b in BASES if b in anchors):
        at = Point(*anchors[base])
        away = edge.line.distance(at)
        if away <= BESIDE_M and edge.line.hausdorff_distance(at) > AROUND * away:
            found.append((away, float(edge.line.project(at)), sayer.placing.place(base)))
    out: list[tuple[float, str]] = []
    for _, s, name in sorted(found):
        if all(abs(s - t) >= APART_SHARE * edge.length_m for t, _ in out):
            out.append((s, name))
    return sorted(out) if len(out) > 1 else _sides(edge, sayer, anchors)


def _sides(edge: Edge, sayer: Sayer, anchors: dict[str, tuple[float, float]]) -> list[tuple[float, str]]:
    """What names a place on an edge that no base lies beside: of a closed one the way to home and to second base,
    of a line its two ends."""
    from shapely.geometry import Point

    if edge.closed and {"home", "second"} <= anchors.keys():
        return sorted((float(edge.line.project(Point(*anchors[b]))), sayer.words("toward", place=sayer.placing.place(b))) for b in ("home", "second"))
    at = [(edge.length_m * share, *(float(v) for v in edge.at(edge.length_m * share))) for share in ENDS]
    names = [sayer.placing.by(e, n) for _, e, n in at]
    if names[0] == names[1] and sayer.placing.layout.axes is not None:
        names = [sayer.words("first_side" if sayer.placing.layout.axes.local(e, n)[0] > 0 else "third_side") for _, e, n in at]
    return [(s, name) for (s, _, _), name in zip(at, names)]
