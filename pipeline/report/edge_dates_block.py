"""The edges of a field through all its dates, unrolled one under the other."""

from __future__ import annotations

from pipeline.diamond.edges import Edge
from pipeline.report.edge_dates import At, Between, Dated, edge_dates
from pipeline.report.edge_plan import edge_plan
from pipeline.report.field_input import FieldInput
from pipeline.report.field_map import Mark, lip_steps
from pipeline.report.findings import LIP, Finding
from pipeline.report.lip_charts import places
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.words import opened
from pipeline.works.spans import EDGE_WORK

ON_THE_EDGE = (*EDGE_WORK, "rebuild")  # work after which a lip may be another
LONGEST_NOTE = 60


def edge_dates_block(given: FieldInput, now: Standing, sayer: Sayer, keys: dict[Finding, str]) -> dict:
    """The field page's block: drawings (the edge with the highest lip first), the plan that is their key, what to say of them; empty where no edge has a figure.

    keys : the marks of the plan
    """
    drawn = [(_highest(e, now), e, chart) for e in given.edges if (chart := _chart(e, given, now, sayer, keys)) is not None]
    if not drawn:
        return {}
    walked = any(r["station_m"] is None and r["height_mm"] is not None for _, e, _ in drawn for s in now.surveys if not _stations(e, s.rows["lip"]) for r in _mine(e, s.rows["lip"]))
    drawn.sort(key=lambda d: (-d[0], d[1].edge_id))
    plan = _plan(given, now, sayer, keys, [e for _, e, _ in drawn])
    return {"charts": [chart for _, _, chart in drawn], "plan": plan, "plan_title": sayer.words("edge_plan_title"), "walked": walked, "work": any(chart["worked"] for _, _, chart in drawn)}


def _plan(given: FieldInput, now: Standing, sayer: Sayer, keys: dict[Finding, str], edges: list[Edge]) -> str:
    """The key: where along the field each chart's distances lie."""
    words, lip = sayer.words, now.newest.rows["lip"] if now.newest is not None else []
    marks = [Mark(keys[f], f.row["e"], f.row["n"], f.word) for f in keys if f.stretch is not None and f.row["e"] is not None and keys[f]]
    names = [(e, sayer.placing.edge(e.edge_id)) for e in edges]
    short = [(e, name.removeprefix(words("edge_article"))) for e, name in names]  # a drawing has little room
    return edge_plan(given.layout, given.edges, lip, marks, now.limits, sayer.units, short, words("edge_plan_title"), words("edge_plan_about", edges=words.listed(n for _, n in names)), words("north"))


def _found(edge: Edge, now: Standing, sayer: Sayer) -> str:
    """What the newest survey shows of an edge, in a few words."""
    words, seen = sayer.words, next((e for e in now.newest.edges if e.edge_id == edge.edge_id), None) if now.newest is not None else None
    rows = [r for r in _mine(edge, now.newest.rows["lip"]) if r["kind"] == LIP and r["station_m"] is not None and r["height_mm"] is not None] if seen is not None else []
    if not rows:
        return ""
    top = max(rows, key=lambda r: r["height_mm"])
    said = words("edge_dates_highest", height=sayer.height(top["height_mm"], top["height_sigma_mm"]), at=sayer.length(top["station_m"]))
    return said + (words("edge_dates_over", length=sayer.length(seen.over_m)) if seen.over_m > 0 else "")


def _chart(edge: Edge, given: FieldInput, now: Standing, sayer: Sayer, keys: dict[Finding, str]) -> dict | None:
    words, name = sayer.words, sayer.placing.edge(edge.edge_id)
    seen = [(s.flown_on, s.survey_id, _mine(edge, s.rows["lip"])) for s in now.surveys]
    if not any(r["height_mm"] is not None for _, _, rows in seen for r in rows):
        return None
    seen += [(r["flown_on"], r["survey_id"], None) for r in now.refused]
    seen.sort(key=lambda s: (str(s[0]), s[1]))
    dates = [Dated(sayer.day(day, survey_id, short=True), rows or (), _said(rows, words)) for day, survey_id, rows in seen]
    works = _works(edge, given, [str(day)[:10] for day, _, _ in seen], sayer)
    marks = [At(keys[f], f.row["station_m"], f.word) for f in keys if f.place_id == edge.edge_id and f.stretch is not None and f.row.get("station_m") is not None and keys[f]]
    title = opened(name)
    about = words("edge_dates_about", edge=name, first=dates[0].label, last=dates[-1].label)
    svg = edge_dates(f"dates-{edge.edge_id}", dates, edge.length_m, lip_steps(now.limits), works, marks, places(given.layout.anchors, edge, sayer), sayer.units, title, about)
    return {"svg": svg, "title": title, "found": _found(edge, now, sayer), "worked": bool(works)}


def _mine(edge: Edge, rows: list[dict]) -> list[dict]:
    return [r for r in rows if r["edge_id"] == edge.edge_id]


def _stations(edge: Edge, rows: list[dict]) -> bool:
    return any(r["station_m"] is not None for r in _mine(edge, rows))


def _said(rows: list[dict] | None, words) -> str:
    """What stands in a row without a figure."""
    if rows is None:
        return words("edge_dates_refused")
    return "" if any(r["height_mm"] is not None for r in rows) else words("edge_dates_unseen")


def _works(edge: Edge, given: FieldInput, days: list[str], sayer: Sayer) -> list[Between]:
    """Work on this edge, or on edges without saying which, above the first survey after it."""
    out = []
    for w in given.works:
        zone = w.get("zone") or ""
        if w["work"] in ON_THE_EDGE and zone in ("", "skin", edge.edge_id):
            after = next((k for k, day in enumerate(days) if day > str(w.get("ended_on") or w["done_on"])), len(days))
            note = sayer.words("edge_dates_note", note=w["notes"]) if len(w.get("notes") or "") in range(1, LONGEST_NOTE) else ""
            out.append(Between(after, opened(sayer.words("edge_dates_work", what=sayer.words(f"work_{w['work']}"), day=sayer.words.date(w["done_on"]), note=note))))
    return out


def _highest(edge: Edge, now: Standing) -> float:
    """Highest lip of the newest survey on it, mm."""
    rows = _mine(edge, now.newest.rows["lip"]) if now.newest is not None else []
    return max((r["height_mm"] for r in rows if r["kind"] == LIP and r["height_mm"] is not None), default=0.0)
