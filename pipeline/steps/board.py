"""board: the board's paper on the capital plan, two sheets whatever the number of fields."""

from __future__ import annotations

from pipeline.jobs import Job
from pipeline.report.papers.board import ROOMS, BoardInput, board_paper
from pipeline.report.papers.paper import Paper
from pipeline.report.words import LANGUAGE, Words
from pipeline.store import pages, pdf, records, tables
from pipeline.store.where import Where

SHEETS, TEMPLATE = 2, "papers/paper.typ"


def run(job: Job, where: Where) -> None:
    """Read the plan's record, what was promised before, and each field's verdict; write portfolio.pdf with as much as two sheets hold."""
    given = BoardInput(records.read(where.plan_record), tables.read(where.portfolio, "portfolio"), records.read(where.portfolio_said), tables.read(where.plan_outcome, "plan_outcome"), job.settings)
    paper = fitted(given, Words(pages.sections(LANGUAGE)))
    pdf.write(where.board_paper, TEMPLATE, paper.plain(pages.style()), paper.day)


def fitted(given: BoardInput, words: Words) -> Paper:
    """The fullest paper that two sheets hold, looked for by halving: less room never takes more paper."""
    style, low, high = pages.style(), 0, len(ROOMS) - 1
    while low < high:
        middle = (low + high) // 2
        if pdf.sheets(TEMPLATE, board_paper(given, ROOMS[middle], words).plain(style)) <= SHEETS:
            high = middle
        else:
            low = middle + 1
    return board_paper(given, ROOMS[low], words)
