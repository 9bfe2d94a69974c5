"""board: the board's paper on the capital plan, two sheets whatever the number of fields."""

from __future__ import annotations

from typing import Callable, Sequence

from pipeline.jobs import Job
from pipeline.report.papers.board import FIRST, SECOND, BoardInput, Room, board_paper, planned
from pipeline.report.papers.paper import Paper
from pipeline.report.words import Words
from pipeline.steps.spoken import to_readers
from pipeline.store import pages, pdf, records, tables
from pipeline.store.where import Where

TEMPLATE = "papers/paper.typ"


def run(job: Job, where: Where) -> None:
    """Read the plan's record, what was promised before, and each field's verdict; write portfolio.pdf with as much as two sheets hold."""
    given = BoardInput(records.read(where.plan_record), tables.read(where.portfolio, "portfolio"), records.read(where.portfolio_said), tables.read(where.plan_outcome, "plan_outcome"), job.settings)
    paper = fitted(given, to_readers(job.settings))
    pdf.write(where.board_paper, TEMPLATE, paper.plain(pages.style()), paper.day)


def fitted(given: BoardInput, words: Words) -> Paper:
    """The fullest paper that two sheets hold."""
    first = _fullest(FIRST, 1, lambda room: board_paper(given, room, None, words))
    return board_paper(given, first, _fullest(SECOND, 2, lambda room: board_paper(given, first, room, words)) if planned(given) else None, words)


def _fullest(rooms: Sequence[Room], sheets: int, paper: Callable[[Room], Paper]) -> Room:
    """The first room with which a paper takes no more sheets, looked for by halving: less room never takes more paper."""
    style, low, high = pages.style(), 0, len(rooms) - 1
    while low < high:
        middle = (low + high) // 2
        if pdf.sheets(TEMPLATE, paper(rooms[middle]).plain(style)) <= sheets:
            high = middle
        else:
            low = middle + 1
    return rooms[low]
