"""The folded block on the grass edge and on weeds: metres, areas, by edge and by stretch, and what the survey cannot see."""

from __future__ import annotations

from pipeline.report.field_input import FieldInput
from pipeline.report.figures import Z95, figure, printed
from pipeline.report.findings import area_sigma_m2, come_in
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.survey.edges.encroachment import SEGMENT_M

NOT_SEEN = "not_seen"
MOST_STRETCHES = 24
SHOWN_PCT = 0.1  # less of the skin than this is not printed as a share


def grass_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict:
    """Lines on weeds, the edges' table, the stretches that moved, what the figures rest on; empty without a survey."""
    words, newest = sayer.words, now.newest
    if newest is None:
        return {"weeds": [], "edges": [], "stretches": [], "notes": [], "unseen": "", "caption": ""}
    rows = newest.rows.get("grass_edge", [])
    seen = [r for r in rows if r["told_by"] != NOT_SEEN]
    whole = [r for r in rows if r["station_m"] is None]
    return {
        "weeds": _weeds(newest.rows["zones"], sayer), "edges": [_edge(r, sayer) for r in whole], "stretches": _stretches(seen, sayer),
        "caption": words("grass_stretches_caption", length=sayer.length(SEGMENT_M)), "unseen": "" if seen else words("grass_not_seen"), "notes": _notes(whole, given, sayer) if seen else [],
    }  # fmt: skip


def _weeds(zones: list[dict], sayer: Sayer) -> list[str]:
    """The share of the skin under plants, of which zones, and what would not be seen."""
    words, skin = sayer.words, next((r for r in zones if r["zone"] == "skin"), {})
    told = skin.get("covered_told_by") or NOT_SEEN
    if told == NOT_SEEN or skin.get("covered_by_weeds_pct") is None:
        return [words("weeds_not_seen")]
    low, high = (printed(skin[f"covered_{k}95_pct"], 1) for k in ("low", "high"))
    share = {"percent": printed(skin["covered_by_weeds_pct"], 1), "area": figure(skin["covered_m2"], None, sayer.units.area), "low": low, "high": high}
    if told != "roughness" and not skin["covered_m2"]:
        return [words("weeds_none_up_to", high=high) if skin["covered_high95_pct"] >= SHOWN_PCT else words("weeds_none"), words(f"weeds_by_{told}")]
    out = [words("weeds_rough" if told == "roughness" else "weeds_cover", **share), words(f"weeds_by_{told}")]
    worst = sorted((r for r in zones if r["zone"] != "skin" and (r["covered_by_weeds_pct"] or 0.0) > 0), key=lambda r: (-r["covered_by_weeds_pct"], r["zone"]))
    named = [words("zone_covered", zone=sayer.placing.place(r["zone"]), percent=printed(r["covered_by_weeds_pct"], 0)) for r in worst]
    return out + ([words("weeds_in", zones=words.listed(named))] if named else [])


def _edge(r: dict, sayer: Sayer) -> tuple[str, ...]:
    """Edge, held against, grass inside it where it was drawn, skin lost (of a layout's edge since the baseline), since the last survey,
    since the baseline, seen along, told by."""
    words = sayer.words
    drawn = sayer.height(r["encroached_mm"], r["encroached_sigma_mm"], signed=True) if r["against"] == "drawn" else ""
    return (
        sayer.placing.edge(r["edge_id"]), words(f"against_{r['against']}"), drawn,
        figure(come_in(r)[2], area_sigma_m2(r, r["seen_m"] or 0.0), sayer.units.area, signed=True), sayer.height(r["since_last_mm"], r["since_last_sigma_mm"], signed=True),
        sayer.height(r["since_baseline_mm"], r["since_baseline_sigma_mm"], signed=True), sayer.length(r["seen_m"] or 0.0), words(f"told_{r['told_by']}"),
    )  # fmt: skip


def _stretches(rows: list[dict], sayer: Sayer) -> list[tuple[str, ...]]:
    """5 m stretches in which grass came in or went back beyond their own 95 % range, most first."""
    found = []
    for r in rows:
        value, sigma, area = come_in(r)
        if r["station_m"] is not None and value is not None and sigma is not None and abs(value) > Z95 * sigma:
            found.append((-abs(value), r["edge_id"], r["station_m"], (
                sayer.placing.edge(r["edge_id"]), sayer.length(r["station_m"]), sayer.placing.by(r["e"], r["n"]), sayer.height(value, sigma, signed=True),
                figure(area, area_sigma_m2(r, SEGMENT_M), sayer.units.area, signed=True))))  # fmt: skip
    return [line for *_, line in sorted(found)[:MOST_STRETCHES]]


def _notes(whole: list[dict], given: FieldInput, sayer: Sayer) -> list[str]:
    words, out = sayer.words, []
    for against in ("drawn", "layout"):
        if any(r["against"] == against and r["told_by"] != NOT_SEEN for r in whole):
            out.append(words(f"grass_{against}"))
    for r in whole:
        if r["reason"] and r["told_by"] != NOT_SEEN:
            out.append(words("grass_reason", edge=sayer.placing.edge(r["edge_id"]), why=words.told(r["reason"])))
    if given.settings.tolerances.encroachment_mm is None:
        out.append(words("grass_no_tolerance"))
    return out
