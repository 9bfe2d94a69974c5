"""The papers of one field: its work package and its keep-out sheet."""

from __future__ import annotations

from pipeline.report.field_input import FieldInput
from pipeline.report.field_page import marked, marks_of, sayer_of, tape_words
from pipeline.report.papers.keep_out_sheet import keep_out_sheet
from pipeline.report.papers.paper import Paper
from pipeline.report.standing import leading
from pipeline.report.todo import tasks
from pipeline.report.unsafe_block import unsafe_block
from pipeline.report.words import Words
from pipeline.report.papers.work_package import work_package
from pipeline.surface.verdict import UNSAFE, WORK


def papers(given: FieldInput, words: Words) -> tuple[Paper, Paper]:
    """Work package and keep-out sheet, saying what the field's page says."""
    sayer, now = sayer_of(given.layout, given.tables, given.settings, words), given.standing
    keys = marked(now)
    unsafe = [item["text"] for item in unsafe_block(given, now, sayer, keys)["items"]]
    tape = tape_words(given, {r["edge_id"] for r in given.designs.get("lip_work", ())}, sayer)
    marks = [] if now.newest is None else marks_of(given, leading(now, (UNSAFE, WORK)), keys)
    found = tasks(now, sayer, given.settings.material, keys)
    return work_package(given, now, sayer, keys, found, marks, unsafe, tape), keep_out_sheet(given, now, sayer)
