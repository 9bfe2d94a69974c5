"""One sheet on one piece of work: what was wrong, what was done, what changed, as built, how it held; then the places levelled by hand."""

from __future__ import annotations

from typing import Mapping

import numpy as np

from pipeline.report import changed
from pipeline.report.change_map import change_map
from pipeline.report.field_input import FieldInput
from pipeline.report.field_page import sayer_of
from pipeline.report.figures import figure
from pipeline.report.papers.head import on_paper
from pipeline.report.papers.paper import Block, Break, Caution, Heading, Lines, Paper, Picture, Table
from pipeline.report.saying import Sayer
from pipeline.report.words import Words, opened
from pipeline.report.works_block import card, measure_name, unit_of

MAP_MM = 72.0
MOST_ROWS = 8  # of the table of measures: one sheet holds no more


def work_record(given: FieldInput, record: Mapping, seen: tuple[np.ndarray, np.ndarray] | None, words: Words) -> Paper:
    """The sheet of one work.

    record : of `told_works`; seen: change and detected between its two surveys, (ny, nx), or None where the pair was not compared
    """
    sayer = sayer_of(given.layout, given.tables, given.settings, words)
    told = card(record, given, sayer)
    title = words("record_title", name=given.name, work=words(f"work_{record['work']}"), day=words.date(record["done_on"]))
    built = record["as_built"]
    blocks: list[Block] = [Caution(words(f"record_verdict_{built['word']}"), [])] if built else []
    blocks += [Lines([*told["but_changes"], *([told["shares"]] if told["shares"] else [])])]
    blocks += [*_map(given, record, seen, sayer), *_measures(record, sayer), Lines([words("record_read")], small=True)]
    if told["levels"]:
        blocks += [Break(), Heading(words("works_level_summary")), Lines(told["levels"])]
        heads = [*told["heads"], words("record_design"), words("record_level")]
        blocks.append(Table(told["caption"], heads, [[*p, *_level(q), ""] for p, q in zip(told["places"], record["hand_levels"]["places"])], right=(0, 2, 3, 4), blank=(5,), wide=(1,)))
    return on_paper(given, sayer, title, [f"{told['title']} ({record['work_id']})"], blocks, str(record["after"]["flown_on"])[:10])


def _level(place: Mapping) -> list[str]:
    return ["" if place["design"] is None else f"{place['design']:.3f}"]


def _map(given: FieldInput, record: Mapping, seen: tuple[np.ndarray, np.ndarray] | None, sayer: Sayer) -> list[Block]:
    """The change between the two surveys, where any was detected."""
    words, pair = sayer.words, changed.Pair.of(given.tables, record["before"]["survey_id"], record["after"]["survey_id"])
    if seen is None or not pair.drawn:
        return []
    dates = {k: sayer.day(record[side]["flown_on"], record[side]["survey_id"]) for k, side in (("earlier", "before"), ("later", "after"))}
    title = words("change_map_title_relative" if pair.relative else "change_map_title", **dates)
    about = words("change_map_about", number=sum(bool(r["detected"]) for r in pair.zones))
    svg, top = change_map(given.layout, given.edges, *seen, pair.zones, pair.edges, sayer.units, title, about, words("north"))
    reads = [opened(words(f"change_{k}", top=sayer.height(1000 * top))) for k in ("lost", "gained")] + [words("change_edges")] * pair.grown
    return [Picture(svg, title, about, "; ".join(reads).rstrip(".") + ".", MAP_MM)]


def _measures(record: Mapping, sayer: Sayer) -> list[Block]:
    """Before, after and change of each measure: what changed first, largest first."""
    words = sayer.words
    found = sorted((c for c in record["measures"] if c["change"] is not None), key=lambda c: (not c["detected"], -abs(c["change"] / max(c["change_sigma"] or 0.0, 1e-9))))
    rows = []
    for c in found[:MOST_ROWS]:
        unit = unit_of(c["measure"], sayer)
        cells = [figure(c[k], c[f"{k}_sigma"], unit) for k in ("before", "after")]
        rows.append([opened(measure_name(c, sayer)), *cells, figure(c["change"], c["change_sigma"], unit, signed=True), words("record_shown" if c["detected"] else "record_not_shown")])
    if not rows:
        return []
    more = [Lines([words.count("record_more", len(found) - MOST_ROWS)], small=True)] if len(found) > MOST_ROWS else []
    return [Table(words("record_caption"), [words(f"record_head_{k}") for k in ("what", "before", "after", "change", "shown")], rows, right=(1, 2, 3), wide=(0,)), *more]
