"""The page of one field: unsafe now, what changed, what next, how sure. Everything the template needs, as words."""

from __future__ import annotations

import itertools
from collections import Counter
from typing import Sequence

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.report import palette
from pipeline.report.balance_block import balance_block
from pipeline.report.before_after import before_after_block
from pipeline.report.change_block import change_block
from pipeline.report.field_input import FieldInput
from pipeline.report.field_map import Mark, field_map, lip_steps
from pipeline.report.forecast_block import forecast_block
from pipeline.report.figures import limit, spoken
from pipeline.report.findings import LOW_SKIN, LOW_SPOT, Finding
from pipeline.report.edge_dates_block import edge_dates_block
from pipeline.report.edge_charts import profile_charts
from pipeline.report.grade_block import grade_block
from pipeline.report.grass_block import grass_block
from pipeline.report.glossary import Glossary
from pipeline.report.handoffs_block import handoffs_block
from pipeline.report.keep_out_block import keep_out_block
from pipeline.report.lip_charts import lip_charts, reading
from pipeline.report.limits_named import held_against
from pipeline.report.made import made_block
from pipeline.report.mix_block import mix_block
from pipeline.report.placing import Placing
from pipeline.report.rulebook_block import rule_task, rulebook_block
from pipeline.report.runs_block import runs_block
from pipeline.report.saying import Sayer
from pipeline.report.sections_block import sections_block
from pipeline.report.spot_history import spot_history_block
from pipeline.report.standing import Standing, leading
from pipeline.report.sure_block import sure_block
from pipeline.report.todo import Task, all_steps, filling, tasks, watched
from pipeline.report.unsafe_block import first_act, unsafe_block
from pipeline.report.unsettled import unsettled
from pipeline.report.two_dates_block import two_dates_block
from pipeline.report.water_block import water_block
from pipeline.report.words import Words, opened, titled
from pipeline.report.works_block import works_block
from pipeline.settings import Config
from pipeline.surface.verdict import UNKNOWN, UNSAFE, WORK

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def sayer_of(layout: Layout, tables: dict[str, list[dict]], settings: Config, words: Words) -> Sayer:
    """Who speaks of a field: its places, the words, the units of the settings, the ponds of any date, days surveyed twice."""
    ponds = {r["low_spot_id"]: (r["e"], r["n"]) for r in tables["low_spots"] if r["low_spot_id"].startswith("pond-")}
    days = Counter(str(r["flown_on"])[:10] for r in tables.get("survey_quality", ()))
    return Sayer(Placing(layout, words, spoken(settings.units, words)), settings.tolerances, ponds, frozenset(d for d, k in days.items() if k > 1))


def field_page(given: FieldInput, words: Words) -> dict:
    """Everything on the page: text by place, drawings as SVG."""
    sayer = sayer_of(given.layout, given.tables, given.settings, words)
    now = given.standing
    keys = marked(now)
    tapes = tape_starts(given, now, sayer)
    book, main = given.tables["rulebook"], given.row.get("layout")
    found = tasks(now, sayer, given.settings.material, keys) + rule_task(book, now, sayer, main)
    head = {
        "lang": words("lang"), "title": given.settings.report.title, "name": given.name, "site": titled(given.row.get("site", "")),
        "verdict": now.verdict, "verdict_word": words(f"verdict_{now.verdict}"), "headline": sayer.headline(now), "survey": _survey_line(given, now, sayer),
        "limits": held_against(now, sayer), "act": first_act(now, words), "steps": all_steps(now, [t for t in found if t.unsafe or not now.open], sayer),
    }  # fmt: skip
    return {
        "w": words, "glossed": Glossary(words), "colours": palette.css(), "head": head, "since": given.since, "unsafe": unsafe_block(given, now, sayer, keys) | {"tape": tapes[0]}, "map": _map(given, now, sayer, keys),
        "dates": edge_dates_block(given, now, sayer, keys), "two": two_dates_block(given, sayer), "sections": sections_block(given, sayer),
        "changed": change_block(given, now, sayer) | {"tape": tapes[1]},
        "next": next_block(given, now, sayer, keys, found) | {"tape": tapes[2]}, "rain": water_block(given, now, sayer),
        "book": rulebook_block(book, now, sayer, main, _relative(given, now)), "sure": sure_block(given, now, sayer),
        "grass": grass_block(given, now, sayer), "went": balance_block(given, now, sayer), "mix": mix_block(given, now, sayer), "grade": grade_block(given, now, sayer),
        "handed": handoffs_block(given, now, sayer),
        "keep": keep_out_block(given.designs.get("keep_outs", ()), sayer), "runs": runs_block(given, sayer), "works": works_block(given, sayer),
        "coming": forecast_block(given.tables["forecast"], sayer), "depths": spot_history_block(given, now, sayer), "work": before_after_block(given, sayer),
        "made": made_block(given, now, sayer),
    }  # fmt: skip


def _relative(given: FieldInput, now: Standing) -> bool:
    return now.newest is not None and given.records[now.newest.survey_id]["verdict"] == "relative_only"


def _survey_line(given: FieldInput, now: Standing, sayer: Sayer) -> str:
    words, newest = sayer.words, now.newest
    if newest is None:
        return words("no_usable_survey")
    return words("newest_survey", day=sayer.day(newest.flown_on, newest.survey_id), source=words(f"source_{given.records[newest.survey_id]['source']}"))


def marked(now: Standing) -> dict[Finding, str]:
    """Numbers for low spots, letters for stretches of edge over a limit, worst first: the same in pictures and text."""
    numbers, letters, out = itertools.count(1), iter(LETTERS + LETTERS.lower()), {}
    for f in leading(now):
        if f.kind == LOW_SPOT:
            out[f] = str(next(numbers))
        elif f.stretch is not None and f.word in (UNSAFE, WORK):
            out[f] = next(letters, "")
    return out


def _map(given: FieldInput, now: Standing, sayer: Sayer, keys: dict) -> dict:
    words, newest = sayer.words, now.newest
    lip = newest.rows["lip"] if newest is not None else []
    found = [] if newest is None else [f for f in newest.findings if keys.get(f)]
    marks = marks_of(given, found, keys)
    day = sayer.day(newest.flown_on, newest.survey_id) if newest is not None else ""
    keep_outs = given.designs.get("keep_outs", ())
    title = words("map_title", day=day) if day else words("map_title_layout")
    svg, step_mm = field_map(
        given.layout, given.edges, given.elevation, lip, marks, now.limits, sayer.units, given.settings.report.map_cell_m,
        title, words("map_about", what=words.listed([sayer.where(f) for f in found]) or words("nothing_marked")), words("north"), given.weeds, keep_outs,
    )  # fmt: skip
    steps = [sayer.height(s) for s in lip_steps(now.limits)]
    return {
        "svg": svg, "title": title, "contour": "" if step_mm is None else words("contour_step", step=limit(step_mm, sayer.units.height)),
        "lip": words("lip_legend_tolerance" if now.limits.lip is not None else "lip_legend"),
        "classes": [words("below", h=steps[0]), words("from_to", a=steps[0], b=steps[1]), words("from_to", a=steps[1], b=steps[2]), words("above", h=steps[2])],
        "marks": [(keys[f], f.word.replace("_", "-"), opened(sayer.where(f)), sayer.verdict(f)) for f in found], "has_lip": any(r["height_mm"] is not None for r in lip),
        "dashed": any(r["kind"] == UNKNOWN and r["height_mm"] is not None for r in lip), "combed": any(r["kind"] == LOW_SKIN for r in lip),
        "weeds": words("map_weeds") if given.weeds else "", "from_home": given.layout.axes is not None,
        "keep_outs": words("map_keep_outs", number=len(keep_outs)) if keep_outs else "",
    }  # fmt: skip


def marks_of(given: FieldInput, found: Sequence[Finding], keys: dict[Finding, str]) -> list[Mark]:
    """What is drawn on the field's maps for these findings."""
    return [Mark(keys[f], *_at(f, given), f.word) for f in found if keys.get(f)]


def _at(f: Finding, given: FieldInput) -> tuple[float, float]:
    """Where a finding is marked: its spot, its highest station, or the middle of an edge known as a whole."""
    if f.row["e"] is not None:
        return f.row["e"], f.row["n"]
    edge = next(e for e in given.edges if e.edge_id == f.place_id)
    e, n = edge.at(edge.length_m / 2)
    return float(e), float(n)


def next_block(given: FieldInput, now: Standing, sayer: Sayer, keys: dict, found: list[Task]) -> dict:
    """What to do, what to watch, what could not be judged, and the charts of the edges.

    found : the tasks, in order
    """
    words = sayer.words
    items = [
        {"keys": sorted((keys[f], f.word == UNSAFE) for f in t.findings if keys.get(f)), "title": t.title, "lines": t.lines, "unsafe": t.unsafe}
        for t in found
    ]  # fmt: skip
    charts = lip_charts(given, now, sayer)
    said = reading(charts, sayer) if charts else []
    return {
        "items": items, "none": "" if items else words("survey_again" if now.newest is None else "nothing_to_do_unset" if sayer.unset(now.limits) else "nothing_to_do"),
        "watch": watched(now, sayer), "unsettled": unsettled(now, sayer, given.readings_wanted, given.string_places), "charts": charts, "reading": said, "profiles": profile_charts(given, now, sayer),
        "filling": filling(found, sayer, given.settings.material),
    }  # fmt: skip


def tape_starts(given: FieldInput, now: Standing, sayer: Sayer) -> tuple[str, str, str]:
    """Where the tape starts along the edges, said in the block that first names an edge by its marks: what is unsafe, work
    or near it; what changed; what could not be judged."""
    if now.newest is None:
        return "", "", ""
    found = [f for f in leading(now) if f.stretch is not None and f.row["station_m"] is not None]
    first = {f.place_id for f in found if f.word != UNKNOWN} | {h.place_id for h in now.lingering if h.stretch is not None}
    grown = {r["edge_id"] for r in given.tables["lip_change"]
             if r["to_survey"] == now.newest.survey_id and r["detected"] and r["station_m"] is not None} - first  # fmt: skip
    rest = {f.place_id for f in found} - first - grown
    return tape_words(given, first, sayer), tape_words(given, grown, sayer), tape_words(given, rest, sayer)


def tape_words(given: FieldInput, edge_ids: set[str], sayer: Sayer) -> str:
    """Where the tape along each of these edges begins, and which way it runs."""
    out = []
    for edge in given.edges:
        if edge.edge_id in edge_ids:
            e, n = (float(v) for v in edge.at(np.array(0.0)))
            key = "tape_closed" if edge.closed else "tape_open"
            out.append(sayer.words(key, edge=sayer.placing.edge(edge.edge_id), by=sayer.placing.by(e, n)))
    return sayer.words("tape", where=sayer.words.listed(out)) if out else ""
