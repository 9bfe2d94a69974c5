"""The block on how sure all this is: surveys, stable ground, checkpoints, limits, every figure, how it was made."""

from __future__ import annotations

from pipeline.report import quality, surface_tables
from pipeline.report.field_input import FieldInput
from pipeline.report.figures import counted
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.words import Words


def sure_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict:
    words, tables = sayer.words, given.tables
    newest = now.newest
    record = given.records[newest.survey_id] if newest is not None else {}
    dates, residual_rows = quality.residual_table(given.records, sayer)
    chart, chart_title = "", ""
    if record.get("tie", {}).get("patches"):
        base = given.records[record["baseline"]]
        chart_title = words("residual_title", day=words.date(record["flown_on"]), base=words.date(base["flown_on"]))
        chart = quality.residuals(record["tie"], "residuals", chart_title, words("residual_about"), sayer)
    moved = [quality.patch_words(p, sayer) for p in record.get("tie", {}).get("moved", ())]
    return {
        "surveys": quality.survey_rows(tables["survey_quality"], given.records, sayer), "chart": chart, "chart_title": chart_title,
        "moved": words("patches_moved", patches=words.listed(moved)) if moved else "",
        "slabs": quality.moved_over_all(given.provenance.get("moved_patches", ()), given.records, sayer), "residual_dates": dates, "residual_rows": residual_rows, "checkpoints": quality.checkpoint_notes(given.records, sayer),
        "sideways": quality.sideways(record, sayer), "edges": quality.edge_lines(record, sayer),
        "tolerances": quality.tolerance_rows(given.settings.tolerances, given.field_id, sayer),
        "spots": surface_tables.low_spots(newest, sayer) if newest is not None else [],
        "edge_rows": surface_tables.edges(newest, sayer) if newest is not None else [],
        "zones": surface_tables.zones(newest, sayer) if newest is not None else [],
        "trends": surface_tables.trends(tables["trend"], sayer), "inputs": quality.inputs(given.provenance),
        "versions": sorted(given.provenance["versions"].items()), "notes": [sayer.words.told(n) for n in record.get("notes", [])], "crs": _named(given.layout.grid.crs),
        "us": sayer.units.system == "us", "removed": [_removed(k, v, words) for k, v in sorted(record.get("removed", {}).items())],
    }  # fmt: skip


def _named(crs: str) -> str:
    """A CRS as a reader can take it in: its code, or the name at the head of its WKT."""
    return crs if '"' not in crs else crs.split('"')[1]


def _removed(reason: str, points: int, words: Words) -> str:
    said = words(f"removed_{reason}") if words.knows(f"removed_{reason}") else reason.replace("_", " ")
    return f"{counted(points)} {said}"
