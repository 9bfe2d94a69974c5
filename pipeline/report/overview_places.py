"""The page over all fields as a whole: where its parts stand, where the fields lie, which files lie beside it."""

from __future__ import annotations

from typing import Sequence

from pipeline.report.site_map import site_map, spots_of
from pipeline.report.words import Words

PARTS = ("unsafe", "changed", "season", "rank", "map", "plan", "hours", "refused", "unmeasured", "read", "files")
HEADED = {"unsafe": "unsafe_heading", "season": "season_heading", "map": "site_map", "plan": "plan_heading", "hours": "index_progress_short"}
FILES = ("portfolio.pdf", "portfolio.xlsx", "portfolio.csv", "capital_plan.csv", "plan_outcome.csv", "season_queue.csv", "order.csv", "hazards.csv", "progress.csv", "catalog.json")


def places(shown: dict[str, object], words: Words) -> list[tuple[str, str]]:
    """Id and name of each part that is there. shown: of a part that may be missing what stands in it"""
    return [(part, words(HEADED.get(part, f"index_{part}_heading"))) for part in PARTS if shown.get(part, True)]


def files(words: Words) -> list[tuple[str, str]]:
    """Name of each file beside the page, and what it holds."""
    return [(name, words(f"index_file_{name.replace('.', '_')}")) for name in FILES]


def where_they_lie(ranked: Sequence, words: Words) -> str:
    """The map of the fields, as ranked; empty without any. ranked: FieldSeen, worst first"""
    layouts = {s.field_id: s.reader.placing.layout for s in ranked}
    centres = {f: (made.grid.crs, *made.centre) for f, made in layouts.items()}
    spots = spots_of([(s.field_id, s.name, s.site, s.now.verdict) for s in ranked], {f: {} for f in layouts}, centres)
    return site_map(spots, ranked[0].reader.units, words)[0] if spots else ""
