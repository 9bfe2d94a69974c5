"""The block on what changed: the last two surveys, and work done between them."""

from __future__ import annotations

import numpy as np

from pipeline.change.zones import NO_DATA
from pipeline.report import changed
from pipeline.report.change_map import change_map
from pipeline.report.edge_charts import growth_charts
from pipeline.report.field_input import FieldInput
from pipeline.report.figures import counted, figure
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.surface_tables import trend_sentences
from pipeline.report.words import opened

FALSE_SHARE = 0.05  # of still cells that lie beyond their own 95 % range
REASONS = ("too_few_patches", "one_sided_patches", "tie_too_uncertain")


def change_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict:
    words = sayer.words
    works = given.works
    out = {"from": "", "growth": growth_charts(given, now, sayer), "trends": trend_sentences(given.tables["trend"], sayer)}
    if now.before is None or now.newest is None:
        return out | {"nothing": words("one_survey" if now.newest is not None else "no_surveys")}
    a, b = now.before, now.newest
    rows = {r["survey_id"]: r for r in given.surveys}
    pair = changed.Pair.of(given.tables, a.survey_id, b.survey_id)
    done = changed.done_between(works, a.flown_on, b.flown_on)
    found = changed.detected(pair, sayer)
    dates = {"earlier": sayer.day(a.flown_on, a.survey_id), "later": sayer.day(b.flown_on, b.survey_id)}
    return out | {
        "from": dates["earlier"], "to": dates["later"], "found": found,
        "none": "" if found else words("no_change" if changed.judged(pair) else "not_judged", **dates), "quiet": changed.quiet(pair, sayer), "chance": changed.chance(pair, sayer),
        "relative": _relative(given, pair, a.survey_id, b.survey_id, sayer), "volumes": changed.volumes(pair, sayer),
        "tickets": changed.tickets(done, given.settings.material, pair, sayer),
        "cautions": [t for t in (changed.states(rows[a.survey_id], rows[b.survey_id], sayer), changed.grass(pair, sayer), *changed.covered(pair, sayer)) if t],
        "works": [changed.work_line(w, sayer) for w in done], **_map(given, pair, dates, sayer),
    }  # fmt: skip


def _relative(given: FieldInput, pair: changed.Pair, a: str, b: str, sayer: Sayer) -> list[str]:
    """That only the shape can be compared, why, and what would mend it."""
    if not pair.relative:
        return []
    told = next((p for p in given.provenance["pairs"] if (p["from_survey"], p["to_survey"]) == (a, b)), {})
    codes = dict.fromkeys([*told.get("codes", ()), *(given.records[s].get("reason_code", "") for s in (a, b))])
    why = [sayer.words(f"relative_{c}") for c in codes if c in REASONS]
    return [sayer.words("relative_only", why=sayer.words.listed(why)), sayer.words("relative_mend")]


def _map(given: FieldInput, pair: changed.Pair, dates: dict, sayer: Sayer) -> dict:
    if given.change is None or given.detected is None or not pair.drawn:
        return {"svg": "", "cells": ""}
    words = sayer.words
    title = words("change_map_title_relative" if pair.relative else "change_map_title", **dates)
    svg, top = change_map(
        given.layout, given.edges, given.change, given.detected, pair.zones, pair.edges, sayer.units, title,
        words("change_map_about", number=sum(bool(r["detected"]) for r in pair.zones)), words("north"),
    )  # fmt: skip
    return {"svg": svg, "map_title": title, "top": sayer.height(top * 1000), "strokes": opened(words("change_edges")) if pair.grown else "",
            "cells": by_chance(given, pair, sayer)}  # fmt: skip


def by_chance(given: FieldInput, pair: changed.Pair, sayer: Sayer) -> str:
    """How many of the coloured cells chance alone would colour: 5 % of the measured cells in the zones that changed."""
    grid, inside = given.layout.grid, np.zeros(given.layout.grid.shape, bool)
    for row in pair.zones:
        if row["detected"] and row["zone"] in given.layout.zones:
            inside |= grid.mask(given.layout.zones[row["zone"]])
    count, shown = int((inside & (given.detected != NO_DATA)).sum()), int((np.abs(given.detected) == 1).sum())
    chance = min(round(FALSE_SHARE * count), shown)
    numbers = {k: counted(n) for k, n in (("shown", shown), ("chance", chance), ("all", count))}
    return sayer.words("cells_by_chance", **numbers, area=figure(chance * grid.cell_area_m2, None, sayer.units.area)) if shown else ""
