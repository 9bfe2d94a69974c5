"""The board's two sheets: what the plan asks for and buys, and why it stands as it does. For somebody with ten minutes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Mapping, Sequence

from pipeline.report.figures import spoken
from pipeline.report.papers.assumed import assumed_lines
from pipeline.report.papers.board_said import ask_lines, compared_lines, named, sure_lines, unmeasured_lines, unsafe_lines
from pipeline.report.papers.board_tables import done_table, promised_blocks, years_table
from pipeline.report.papers.head import NO_DAY
from pipeline.report.papers.paper import Beside, Block, Break, Caution, Heading, Lines, Paper, Picture, size_of
from pipeline.report.plan_block import infeasible_lines
from pipeline.report.plan_charts import budget_chart, condition_chart
from pipeline.report.plan_other import pin_line
from pipeline.report.words import Words
from pipeline.settings import Config

PLANNED, NOT_ASKED, INFEASIBLE = "planned", "not_asked", "infeasible"


@dataclass(frozen=True)
class Room:
    """How much is told: lines of the plan, names in a sentence or list, unsafe fields, years; what is beyond is counted."""

    lines: int
    names: int
    unsafe: int
    years: int


# From the fullest to the barest: of the first sheet, where years give way last, and of the second.
FIRST = tuple(Room(8, names, unsafe, years) for names, unsafe, years in (
    (8, 8, 10), (8, 6, 10), (6, 5, 10), (5, 4, 10), (4, 3, 10), (3, 3, 10), (3, 2, 10), (3, 1, 10), (2, 1, 10), (2, 1, 8), (2, 1, 6), (1, 1, 5), (1, 1, 4), (1, 0, 3), (1, 0, 2),
))
SECOND = tuple(Room(lines, names, 0, 0) for lines, names in (*((n, 8) for n in range(30, 11, -1)), *((n, 5) for n in range(14, 7, -1)), *((n, 3) for n in range(10, 3, -1)), *((n, 2) for n in range(5, -1, -1)), (0, 1), (0, 0)))


@dataclass(frozen=True)
class BoardInput:
    """record : build/plan/plan.json; portfolio: rows of portfolio.csv; unsafe: what the page over all fields says of unsafe ones, and what
    where there are none; outcome: rows of plan_outcome.csv; settings: with the owner's figures and who set them"""

    record: Mapping
    portfolio: Sequence[Mapping]
    unsafe: Mapping
    outcome: Sequence[Mapping]
    settings: Config


def board_paper(given: BoardInput, first: Room, second: Room | None, words: Words) -> Paper:
    """The paper as blocks; of what was not planned, one sheet that says so. second: None leaves the second sheet out"""
    record = given.record
    last = record["first_year"] + record["years"] - 1 if "first_year" in record else None
    title = words("board_title", first=record["first_year"], last=last) if last is not None else words("board_title_none")
    under = [words("board_under", day=words.date(record["newest"]))] if record.get("newest") else [words("board_under_none")]
    blocks = _first(given, first, words) if planned(given) else _instead(given, first, words)
    if planned(given) and second is not None:
        blocks += [Break(), *_second(given, second, words)]
    return _on_paper(given, title, under, blocks, words)


def planned(given: BoardInput) -> bool:
    return given.record["state"] == PLANNED


def _on_paper(given: BoardInput, title: str, under: Sequence[str], blocks: Sequence[Block], words: Words) -> Paper:
    over = [given.settings.report.title] if given.settings.report.title else []
    return Paper(words("lang"), title, over, under, blocks, title, words("paper_page", here="{here}", all="{all}"), given.record.get("newest") or NO_DAY, size_of(given.settings.units))


def _first(given: BoardInput, room: Room, words: Words) -> list[Block]:
    """What is asked for, what it buys, what is unsafe, what else could be done."""
    record = given.record
    budget, condition = (Picture(svg, words(name), about, words(f"board_{name}_reads")) for (svg, about), name in ((budget_chart(record, words), "chart_budget"), (condition_chart(record, words), "chart_condition")))
    pins = [pin_line(p, record, words) for p in [*record["pins"], *record["pins_left"]]]
    blocks: list[Block] = [Lines(ask_lines(record, room.names, words)), _unsafe(given, room, words), Heading(words("board_by_year")), Beside([budget, condition]), years_table(record, room.years, words)]
    blocks += [Heading(words("board_compared"), 3), Lines(compared_lines(record, words))]
    if pins:
        more = [words.count("board_pins_more", len(pins) - room.names)] if len(pins) > room.names else []
        blocks += [Heading(words("board_pins"), 3), Lines([" ".join([*pins[: room.names], *more])])]
    return blocks


def _unsafe(given: BoardInput, room: Room, words: Words) -> Block:
    return Caution(words("board_unsafe"), unsafe_lines(given.unsafe, given.portfolio, room.unsafe, words))


def _second(given: BoardInput, room: Room, words: Words) -> list[Block]:
    """What is done and why, how sure, on whose word."""
    record, units = given.record, spoken(given.settings.units, words)
    blocks: list[Block] = [Heading(words("board_lines")), *done_table(record, room, words)]
    blocks += [Heading(words("board_promised"), 3), *promised_blocks(given.outcome, record, room, units, words)]
    blocks += [Heading(words("board_sure"), 3), Lines([" ".join(sure_lines(record, room.names, words))])]
    blocks += [Heading(words("board_unmeasured"), 3), Lines([" ".join(unmeasured_lines(record, room.names, words))])]
    blocks += [Heading(words("board_assumed"), 3), Lines([" ".join(assumed_lines(given.settings, record, words))])]
    return [*blocks, _caution(words)]


def _caution(words: Words) -> Block:
    return Caution(words("board_caution"), [words("board_caution_reads")])


def _instead(given: BoardInput, room: Room, words: Words) -> list[Block]:
    """Why there is no plan, and what would make one; what is unsafe is told all the same."""
    record = given.record
    if record["state"] == INFEASIBLE:
        said = infeasible_lines(record, words, lambda names: named(names, room.names, words))
    else:
        said = [words("board_not_asked" if record["state"] == NOT_ASKED else "plan_not_measured")]
    blocks: list[Block] = [Caution(words("board_no_plan"), said), _unsafe(given, room, words)]
    if record["state"] != NOT_ASKED:
        blocks += [Heading(words("board_assumed")), Lines([" ".join(assumed_lines(given.settings, record, words))])]
    return [*blocks, _caution(words)]
