"""The sheet that is walked before any blade: where each thing in the ground lies by two tapes, and room to write what was found."""

from __future__ import annotations

from typing import Mapping, Sequence


from pipeline.report.field_input import FieldInput
from pipeline.report.field_map import cleared, foot, numbered
from pipeline.report.keep_out_block import lost_words, tape_words, thing_cells
from pipeline.report.papers.head import on_paper
from pipeline.report.papers.paper import Blanks, Block, Break, Caution, Heading, Lines, Paper, Picture, Table
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.svg import picture
from pipeline.works.keep_outs import BOX, CABLE, HEAD
from pipeline.works.tape import taped

IN_WIRES = (CABLE, HEAD, BOX)


def keep_out_sheet(given: FieldInput, now: Standing, sayer: Sayer) -> Paper:
    """Everything to keep off, taped and numbered as on the plan; then where to probe, where no depth of mix is known."""
    words, record = sayer.words, given.designs
    rows, places = record.get("keep_outs", ()), [tuple(p) for p in record.get("probe_places", ())]
    day = str(now.newest.flown_on)[:10] if now.newest is not None else ""
    blocks: list[Block] = [Caution(words("sheet_first"), [lost_words(rows, sayer) if rows else words("sheet_nothing"), words("keep_read"), *([words("sheet_cable")] if any(r["kind"] in IN_WIRES for r in rows) else [])])]
    if rows:
        blocks += [_plan(given, rows, sayer), Break(), Heading(words("keep_caption")), Lines([words("sheet_how")]), _table(rows, sayer), Lines([words("sheet_more")])]
        blocks.append(Table("", [words(f"sheet_head_{k}") for k in ("what", "one", "other", "found", "by")], [[""] * 5] * 3, blank=(0, 1, 2, 3, 4), wide=(0, 1, 2)))
    if places:
        blocks += _probes(given, places, sayer)
    blocks.append(Blanks(words("sheet_sign"), [words(f"sheet_sign_{k}") for k in ("who", "day", "notice", "rest")]))
    return on_paper(given, sayer, words("sheet_title", name=given.name), [words("sheet_under", day=words.date(day)) if day else words("no_usable_survey")], blocks, day)


def _table(rows: Sequence[Mapping], sayer: Sayer) -> Table:
    words = sayer.words
    return Table("", [words(f"sheet_head_{k}") for k in ("number", "what", "one", "other", "free", "last", "found", "by")], [
        [str(k), *thing_cells(r, sayer), "", ""] for k, r in enumerate(rows, start=1)
    ], right=(0, 4), blank=(6, 7), wide=(1, 1, 2, 2, 2, 3, 3, 3, 5, 5))  # fmt: skip


def _plan(given: FieldInput, rows: Sequence[Mapping], sayer: Sayer) -> Picture:
    words = sayer.words
    frame, inner = cleared(given.layout, given.edges, rows)
    inner += numbered(frame, rows)
    title = words("sheet_plan")
    svg = picture(frame.width, frame.height, "keep-plan", title, words.count("sheet_plan_about", len(rows)), inner + foot(frame, sayer.units, words("north")), "map")
    return Picture(svg, title, words.count("sheet_plan_about", len(rows)), words("sheet_plan_reads"), 150.0)


def _probes(given: FieldInput, places: Sequence[tuple[float, float]], sayer: Sayer) -> list[Block]:
    """Where the depth of the mix is to be probed before any cut, with room for what was found."""
    words, rows = sayer.words, []
    for k, (e, n) in enumerate(places, start=1):
        found = taped(e, n, given.layout)
        rows.append([str(k), sayer.placing.at(e, n), *tape_words({"tapes": None if found is None else vars(found)}, sayer), "", "", ""])
    heads = [words(f"sheet_head_{k}") for k in ("number", "where", "one", "other", "depth", "under", "day")]
    return [Heading(words("sheet_probes")), Lines([words("sheet_probe_how")]), Table("", heads, rows, right=(0,), blank=(4, 5, 6), wide=(1, 1, 1, 2, 2, 3, 3, 3))]
