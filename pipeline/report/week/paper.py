"""The week's sheet on paper: a page a site, its fields under one another, each with boxes to tick and lines to write on."""

from __future__ import annotations

import datetime as dt
from itertools import groupby
from typing import Sequence

from pipeline.report.papers.paper import Block, Break, FieldPart, Heading, Lines, Paper, size_of
from pipeline.report.papers.head import NO_DAY
from pipeline.report.week.facts import bases_line, bearing_lines, gap_line, handful_line, hazard_lines, keep_line, last_line, mix_line, weekday
from pipeline.report.week.field_week import ROLLED, FieldWeek, Planned, weeks_of
from pipeline.report.week.page import lead
from pipeline.report.words import Words, opened, titled
from pipeline.tables import MOISTURES

TEXT_PT = 11.5  # read at arm's length


def week_paper(fields: Sequence[FieldWeek], newest: dt.date | None, title: str, quiet_weeks: int, units: str, words: Words) -> Paper:
    """The sheet for the first week after the newest day known."""
    weeks = weeks_of(fields, newest)
    monday = weeks[0] if weeks else None
    name = words("week_title", day=words.date(monday)) if monday is not None else words("week_title_none")
    blocks: list[Block] = []
    order = sorted(fields, key=lambda f: (f.seen.site, f.seen.name))
    for k, (site, mine) in enumerate(groupby(order, key=lambda f: f.seen.site)):
        mine = list(mine)
        blocks += ([Break()] if k else []) + [Heading(words("week_site", site=titled(site)) if site else words("week_no_site")), *_site(mine, monday, words)]
        blocks += [_part(f, monday, quiet_weeks, words) for f in sorted(mine, key=lambda f: _first(f, monday))] + [_foot(mine, monday, words)]
    return Paper(words("lang"), name, [title] if title else [], lead(fields, newest, weeks, words), blocks, name, words("paper_page", here="{here}", all="{all}"), newest.isoformat() if newest is not None else NO_DAY, size_of(units), TEXT_PT)


def _site(mine: Sequence[FieldWeek], monday: dt.date | None, words: Words) -> list[Block]:
    """What holds for the whole site: the moisture rule, once."""
    tasks = [p.task for f in mine for p in _planned(f, monday)] or ["drag"]
    line = handful_line(tasks, words)
    return [Lines([line])] if line else []


def _foot(mine: Sequence[FieldWeek], monday: dt.date | None, words: Words) -> Lines:
    """How the lines are written on, for who has never seen the sheet; what the opening asks for, once."""
    opening = dict.fromkeys((p.task, p.reason) for f in mine for p in _planned(f, monday) if f.opens(p) and p.task == "bases")
    out = [words("week_paper_opening", work=opened(words(f"task_{task}")), what=what) for task, what in opening]
    return Lines([" ".join([*out, words("week_paper_hand", words="; ".join(words(f"handful_{m}") for m in MOISTURES)), words("week_paper_type"), words("walk_it")])], small=True)


def _first(field: FieldWeek, monday: dt.date | None) -> tuple:
    """Unsafe fields first, then in the order of the week's work, then by name."""
    planned = _planned(field, monday)
    return not field.seen.now.open, not planned, planned[0].order if planned else 0, field.seen.name


def _planned(field: FieldWeek, monday: dt.date | None) -> list[Planned]:
    return [] if monday is None else field.week(monday)


def _part(field: FieldWeek, monday: dt.date | None, quiet_weeks: int, words: Words) -> FieldPart:
    planned = _planned(field, monday)
    hazards = hazard_lines(field)
    rows = [_row(field, p, words) for p in planned] + ([_spare(words)] if planned else [_run(words), _spare(words)])
    runs = [*bearing_lines(field)[: 2 if any(p.task == "level" for p in planned) else 1], last_line(field)]
    gap = gap_line(field, monday, quiet_weeks) if monday is not None else ""
    lines = [(words("week_fact_bearing"), " ".join(([gap] if gap else []) + runs)), (words("week_fact_keep"), keep_line(field))]
    lines = lines if planned else [(words("week_fact_plan"), words("week_plan_nothing")), *lines]
    foot = [words(f"week_blank_{k}") for k in (("hazard", "seen") if hazards else ("seen",))]
    return FieldPart(field.seen.name, bases_line(field, monday, words) if monday is not None else "", words("week_unsafe_first") if hazards else "", hazards, lines, rows, foot)


def _row(field: FieldWeek, planned: Planned, words: Words) -> tuple[str, str, list[str], str, str, str]:
    """'Level', 'Monday 13 April, 1.2 h', what is written down, and where mix is brought how much and what was used."""
    said = [weekday(planned.on, words)] + ([words("week_hours", hours=f"{planned.hours:.1f}")] if planned.hours is not None else [])
    kinds = ("day", "hours", "bearing", "corner", "handful") if planned.task in ROLLED else ("day", "hours", "handful")
    mix = mix_line(field, planned.task)
    where = "" if field.opens(planned) else opened(planned.reason) + "." if planned.reason else ""
    return opened(words(f"task_{planned.task}")), ", ".join(said), _blanks(kinds, words), where, mix, words("week_blank_mix") if mix else ""


def _spare(words: Words) -> tuple[str, str, list[str], str, str, str]:
    """Room for work that nobody planned."""
    return words("week_row_other"), "", _blanks(("which", "day", "hours", "mix"), words), "", "", ""


def _run(words: Words) -> tuple[str, str, list[str], str, str, str]:
    """Room for a run over the skin that nobody planned."""
    return opened(words("task_drag")), "", _blanks(("day", "hours", "bearing", "corner", "handful"), words), "", "", ""


def _blanks(kinds: Sequence[str], words: Words) -> list[str]:
    return [words(f"week_blank_{k}") for k in kinds]
