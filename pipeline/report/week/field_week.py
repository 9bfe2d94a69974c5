"""One field on the week's sheet: what is known of it, and what the queue plans for it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Iterable, Mapping, Sequence

from pipeline.diamond.edges import Edge
from pipeline.plan.season_days import OPENING, UPKEEP, WEEK, week_of
from pipeline.report.overview import FieldSeen
from pipeline.report.season_block import PLANNED, RANKS
from pipeline.tables import Read

ROLLED = ("drag", "level")  # works that go over the skin in runs


@dataclass(frozen=True)
class Planned:
    """One piece of work of the queue; order: the week's; hours: None where nobody stated any; reason: what and where, empty for upkeep."""

    on: dt.date
    task: str
    hours: float | None
    rank: str
    reason: str
    order: int


@dataclass(frozen=True)
class FieldWeek:
    """One field.

    seen    : as its tables show it
    designs : record of its designs: runs, what is kept off, low spots filled
    edges   : the edges as the series uses them
    works, games : its rows of the operator's tables
    main, other  : layouts of its base sets; other empty where it has one
    crs_m   : metres in a unit of the coordinates that the field's own tables are written in
    planned : its work of all weeks, in order of day
    """

    seen: FieldSeen
    designs: Mapping
    edges: tuple[Edge, ...]
    works: Sequence[Read]
    games: Sequence[Read]
    main: str
    other: str
    crs_m: float
    planned: tuple[Planned, ...]

    def opens(self, planned: Planned) -> bool:
        """Whether a work is part of the opening: what it asks for is the same on every field."""
        return planned.rank == RANKS[OPENING]

    @property
    def runs(self) -> list[Read]:
        """Recorded runs over the skin by machine, newest first."""
        done = [w for w in self.works if w["work"] in ROLLED and w.get("pattern") != "hand"]
        return sorted(done, key=lambda w: (w["done_on"], w.row), reverse=True)

    def week(self, monday: dt.date) -> list[Planned]:
        return [p for p in self.planned if week_of(p.on) == monday]


def planned_of(queue: Iterable[Mapping], field_id: str, whys: Mapping[tuple[str, str, str], str] = MappingProxyType({})) -> tuple[Planned, ...]:
    """A field's planned work; one work in two parts on one day is one line, its hours added up.

    whys : (field, task, rank) -> the reason in the reader's units; the queue's own is in metres
    """
    out: dict[tuple[dt.date, str], Planned] = {}
    rows = [r for r in queue if r["field_id"] == field_id and r["done"] == PLANNED]
    for r in sorted(rows, key=lambda r: (_day(r["on"]), r["order"])):
        key = _day(r["on"]), r["task"]
        one = Planned(key[0], r["task"], r["hours"], r["rank"], "" if r["rank"] == RANKS[UPKEEP] else whys.get((field_id, r["task"], r["rank"]), r["reason"] or ""), int(r["order"]))
        before = out.get(key)
        if before is not None:
            hours = None if None in (before.hours, one.hours) else before.hours + one.hours
            one = replace(before, hours=hours, reason="; ".join(dict.fromkeys(filter(None, (before.reason, one.reason)))))
        out[key] = one
    return tuple(out.values())


def weeks_of(fields: Iterable[FieldWeek], newest: dt.date | None) -> list[dt.date]:
    """Mondays of the sheet, the first the one it is made for: the planned weeks after the newest day in the tables; where none is
    planned, the week after that day alone. Empty where neither a plan nor a day is known."""
    planned = sorted({week_of(p.on) for f in fields for p in f.planned})
    return planned or ([] if newest is None else [week_of(newest) + WEEK])


def _day(value) -> dt.date:
    return value if isinstance(value, dt.date) else dt.date.fromisoformat(str(value)[:10])
