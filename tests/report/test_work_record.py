"""The sheet on one piece of work: one page, what changed with its range, and nothing said twice."""

from __future__ import annotations

import numpy as np
import pypdfium2
import pytest

from pipeline.report.papers.work_record import MOST_ROWS, work_record
from pipeline.report.works_block import told_works
from pipeline.store import pages, pdf
from report.scene import FIELD, WORDS, given, layout, reads
from report.test_papers import text_of
from report.test_works_block import LOW, PLANE, measure, record

LEVELS = {"places": [{"name": f"w1-{k:02d}", "e": 507000.0 + k, "n": 175010.0, "design_m": None if k else 300.125, "east": 1640419.9 + k, "north": 574146.0, "design": None if k else 984.662} for k in range(30)], "crs": "EPSG:6565", "unit": "us-ft", "tolerance_mm": 6.35, "result": None, "reason": ""}


def sheet(told: dict, seen=None, units: str = "metric"):
    works = reads("works", {"work_id": "w1", "field_id": FIELD, "done_on": told["done_on"], "work": told["work"], "by": "contractor"})
    field = given(units, works=works, worked={"works": [told]})
    return work_record(field, told_works(field)[0], seen, WORDS)


@pytest.mark.invariant
def test_what_was_wrong_and_done_stands_above_the_table_of_what_changed():
    text = text_of(sheet(record(PLANE, LOW)))
    assert text.index("What was wrong") < text.index("What was done") < text.index("Before and after")
    assert "What changed by" not in text  # the table says it
    assert "not shown" in text and "−5 mm ± 3" in text and "laser-graded, 10 November 2025" in text.replace("\u00a0", " ")


@pytest.mark.invariant
def test_many_measures_leave_one_sheet_and_the_rest_is_counted(tmp_path):
    places = ("home", "first", "second", "third", "short-stop", "slide-second", "slide-third", "lead-off-first", "lead-off-second", "box-left", "box-right")
    many = [measure("ring_depth", place, before=20.0 + k, before_sigma=1.0, after=18.0, after_sigma=1.0, change=-2.0 - k, change_sigma=1.4, detected=k > 3) for k, place in enumerate(places)]
    paper = sheet(record(*many))
    table = next(b for b in paper.blocks if b.kind == "table" and b.heads[0] == "what")
    assert len(table.rows) == MOST_ROWS and f"{len(many) - MOST_ROWS} more in works_record.csv." in text_of(paper)
    pdf.write(tmp_path / "w.pdf", "papers/paper.typ", paper.plain(pages.style()), paper.day)
    assert len(pypdfium2.PdfDocument(tmp_path / "w.pdf")) == 1


@pytest.mark.invariant
def test_places_for_hand_levels_have_a_sheet_of_their_own_with_room_to_write():
    paper = sheet(record(PLANE, hand_levels=LEVELS))
    table = paper.blocks[-1]
    assert "break" in [b.kind for b in paper.blocks] and table.blank == (5,) and len(table.rows) == 30
    assert [r[4:] for r in table.rows[:2]] == [["984.662", ""], ["", ""]]
    assert "in EPSG:6565, us-ft" in table.caption and table.rows[1][2] == "1640420.90"
    assert "break" not in [b.kind for b in sheet(record(PLANE)).blocks]


@pytest.mark.invariant
def test_a_pair_that_was_not_compared_has_no_map():
    shape = layout().grid.shape
    assert not [b for b in sheet(record(PLANE)).blocks if b.kind == "picture"]
    assert not [b for b in sheet(record(PLANE, before={"survey_id": "one", "flown_on": "2025-04-07"}), seen=(np.zeros(shape), np.zeros(shape, np.int8))).blocks if b.kind == "picture"]  # nothing detected between these two
    drawn = sheet(record(PLANE), seen=(np.full(shape, -0.02), np.full(shape, -1, np.int8)))
    assert "Change from" in next(b.title for b in drawn.blocks if b.kind == "picture")
