"""What a crew's season is made of: needs, what is done on which day, what is left; the days it has."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Iterable

from pipeline.plan.roads import Roads

UNSAFE, OPENING, UPKEEP, REPAIR = range(4)  # in this order a day's hours are given out
NO_HOURS_STATED, NO_ROAD, NO_ROOM, TOO_LATE = "no_hours_stated", "no_road", "no_room", "too_late"
BASES = "bases"
TINY_H = 1e-9
WEEK = dt.timedelta(days=7)
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, eq=False)
class Need:
    """One piece of work that a field asks for; two alike are two.

    task  : a word of works.csv
    hours : crew hours, None where nobody stated any
    rank  : UNSAFE, OPENING, UPKEEP or REPAIR
    excess : expected excess over the owner's tolerances that it takes off, in tolerances; None where not known
    earliest, latest : days between which it may be done; upkeep not done by its latest day is left undone
    why   : in words
    stage : the opening of a field goes by stages: none is begun before the lower ones are done; work with a blade is of stage 1, since
            the anchors are found before
    due   : the day before which it is wanted, of an opening the first game; late it is done all the same
    """

    field_id: str
    site: str
    task: str
    hours: float | None
    rank: int
    excess: float | None
    earliest: dt.date
    latest: dt.date | None = None
    why: str = ""
    stage: int = 0
    due: dt.date | None = None


@dataclass(frozen=True)
class Done:
    """Hours of one need on one day, and the hours on the road that they cost; order: the day's, from 1; last: it is then done."""

    need: Need
    on: dt.date
    order: int
    hours: float
    travel_hours: float
    last: bool


@dataclass(frozen=True)
class Left:
    """A need, or what is left of it, that is not done; `why` a word of NO_HOURS_STATED, NO_ROAD, NO_ROOM, TOO_LATE."""

    need: Need
    on: dt.date
    hours: float | None
    why: str


@dataclass(frozen=True)
class Season:
    """days: working days; hours_per_day: crew hours in one; yard: the site a day begins and ends at."""

    days: tuple[dt.date, ...]
    hours_per_day: float
    yard: str
    roads: Roads


def working_days(first_week: dt.date, last_week: dt.date, names: Iterable[str], after: dt.date | None = None) -> tuple[dt.date, ...]:
    """Days named `mon` ... `sun` of the weeks from that of `first_week` to that of `last_week`, from the first Monday after `after`."""
    monday = week_of(first_week)
    if after is not None:
        monday = max(monday, week_of(after) + WEEK)
    chosen, out = sorted(DAYS.index(n) for n in set(names)), []
    while monday <= last_week:
        out += [monday + dt.timedelta(days=k) for k in chosen]
        monday += WEEK
    return tuple(out)


def week_of(day: dt.date) -> dt.date:
    """The Monday of its week."""
    return day - dt.timedelta(days=day.weekday())


def waited(on: dt.date | None, season: Season) -> float:
    """Share of the season that a need waits until it is done on a day; all of it where it never is."""
    if not season.days or on is None:
        return 1.0
    first, last = season.days[0], season.days[-1]
    return min(((on - first).days + 1) / ((last - first).days + 1), 1.0)
