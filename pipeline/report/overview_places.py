"""The page over all fields as a whole: where its parts stand, where the fields lie, which files lie beside it."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.report.figures import printed
from pipeline.report.site_map import site_map, spots_of
from pipeline.report.words import Words, titled

PARTS = ("unsafe", "week", "rank", "map", "since", "changed", "season", "plan", "hours", "refused", "unmeasured", "read", "issued", "files")
HEADED = {"unsafe": "unsafe_heading", "week": "needs_heading", "since": "since_short", "issued": "issued_heading", "season": "season_heading", "map": "site_map", "plan": "plan_heading", "hours": "index_progress_short"}
FILES = ("portfolio.pdf", "portfolio.xlsx", "week.html", "week.pdf", "portfolio.csv", "capital_plan.csv", "budget_steps.csv", "plan_outcome.csv", "season_queue.csv", "order.csv", "hazards.csv", "progress.csv", "catalog.json")


def places(shown: dict[str, object], words: Words) -> list[tuple[str, str]]:
    """Id and name of each part that is there. shown: of a part that may be missing what stands in it"""
    return [(part, words(HEADED.get(part, f"index_{part}_heading"))) for part in PARTS if shown.get(part, True)]


FIELD_FILES = ("report.html", "work_package.pdf", "keep_out.pdf", "workbook.xlsx", "field.gpkg", "elevation.nc")
KILO = 1000  # bytes, as of SI


def files(words: Words, sizes: Mapping[str, int] = {}) -> list[tuple[str, str, str]]:
    """Name of each file beside the page, what it holds, and its size where that is known when the page is made."""
    return [(name, words(f"index_file_{name.replace('.', '_')}"), sized(sizes.get(name), words)) for name in FILES]


def field_files(ranked: Sequence, words: Words, sizes: Mapping[str, int] = {}) -> dict:
    """Of each field the files people ask for: heads, and rows of its name and site and, of each file, its address and what is read: its
    size, or its kind where the size is not known when the page is made."""
    address = lambda s, name: f"fields/{s.field_id}/{name}"
    return {
        "heads": [words("col_field"), *(words(f"index_field_{name.replace('.', '_')}") for name in FIELD_FILES)],
        "rows": [{"name": s.name, "site": s.site, "files": [(address(s, n), sized(sizes.get(address(s, n)), words) or n.rsplit(".", 1)[-1].upper()) for n in FIELD_FILES]} for s in ranked],
    }  # fmt: skip


def sized(size: int | None, words: Words) -> str:
    """'104 kB' or '1.4 MB'; empty where it is not known."""
    if size is None:
        return ""
    return words("index_megabytes", size=printed(size / KILO**2, 1)) if size >= KILO**2 else words("index_kilobytes", size=printed(max(size / KILO, 1), 0))


def sites_of(ranked: Sequence, words: Words) -> list[tuple[str, str, str]]:
    """Id, name, and name with how many fields it has, of each site, by name; none where there is but one to choose."""
    count: dict[str, int] = {}
    for s in ranked:
        if s.site:
            count[s.site] = count.get(s.site, 0) + 1
    return [(site, titled(site), words("site_option", site=titled(site), fields=words.count("fields", count[site]).lower())) for site in sorted(count)] if len(count) > 1 else []


def where_they_lie(ranked: Sequence, words: Words) -> str:
    """The map of the fields, as ranked; empty without any. ranked: FieldSeen, worst first"""
    layouts = {s.field_id: s.reader.placing.layout for s in ranked}
    centres = {f: (made.grid.crs, *made.centre) for f, made in layouts.items()}
    spots = spots_of([(s.field_id, s.name, s.site, s.now.verdict) for s in ranked], {f: {} for f in layouts}, centres)
    return site_map(spots, ranked[0].reader.units, words)[0] if spots else ""
