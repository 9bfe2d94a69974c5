"""One crew's season: which field gets which work on which day, what is left undone, hours never counted twice.

A day is one round: out of the yard, work at one site, if room is left on to the next, and back. Greedy by day: of the rounds that
begin at each site the one that does most, by rank, then by what an hour of work takes off the expected excess over the owner's
tolerances. Upkeep gives way to repairs while the days until its turn ends have room for both; how much room that is, is tried.
benchmarks/crew.py holds it against the optimum.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from math import inf
from typing import Collection, Iterable, Mapping, Sequence

from pipeline.plan.roads import Roads

UNSAFE, OPENING, UPKEEP, REPAIR = range(4)  # in this order a day's hours are given out
LATER = 4  # upkeep that can still wait
ROOM = (inf, 3.0, 2.0, 1.5, 1.0)  # how many times its hours the days have to hold for upkeep to wait (ours; tried one by one)
PUSHED, PUSH = 24, 4.0  # needs that are tried earlier and later, and how many times their worth (ours)
LEAST_PART_H = 1.0  # a long work is cut into days; less than this of it is not begun
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


def plan_season(needs: Sequence[Need], season: Season) -> tuple[list[Done], list[Left]]:
    """What is done when, in order of day, and what is not.

    A day's work and road together never pass `hours_per_day`. A need longer than a day's room goes on on later days; upkeep is
    done whole or not at all. Every need ends up in one of the lists, a need begun and not ended in both.

    Laid out once for each of ROOM and each way to choose a day's round, then with single needs pushed forward or back; of all taken: where unsafe places wait least, then the fewest openings are late, then openings wait least, then the fewest turns of
    upkeep are missed, then where repairs wait least, each weighed by its excess.
    """
    tried = {(room, by_round): _laid(needs, season, room, by_round, {}) for room in ROOM for by_round in (False, True)}
    way = min(tried, key=lambda w: _waits(*tried[w], season))
    best, pushed = tried[way], {}
    for need in sorted((n for n in dict.fromkeys(needs) if n.excess and n.hours), key=lambda n: (-n.excess, *_key(n)))[:PUSHED]:
        for push in (PUSH, 1 / PUSH):
            again = _laid(needs, season, *way, {**pushed, need: push})
            if _waits(*again, season) < _waits(*best, season):
                best, pushed = again, {**pushed, need: push}
                break
    return best


def _laid(needs: Sequence[Need], season: Season, room: float, by_round: bool, pushed: Mapping[Need, float]) -> tuple[list[Done], list[Left]]:
    """by_round: the day's round is the one that does most, else the one that begins with the worthiest need; pushed: needs whose
    worth is counted so many times."""
    left: list[Left] = []
    waiting: dict[Need, float] = {}
    for need in dict.fromkeys(needs):
        why = _never(need, season)
        if why:
            left.append(Left(need, need.earliest, need.hours, why))
        else:
            waiting[need] = need.hours
    done: list[Done] = []
    for k, day in enumerate(season.days):
        for need in [n for n in waiting if n.latest is not None and n.latest < day]:
            left.append(Left(need, need.earliest, waiting.pop(need), NO_ROOM))
        pressing = _pressing(waiting, season.days[k:], season.hours_per_day, room)
        rounds = [_round(day, waiting, season, pressing, first, pushed) for first in sorted({n.site for n in waiting if _open(n, day)})]
        best = min(rounds, key=lambda r: _does(r, waiting, pressing) if by_round else _begins(r, waiting, pressing, pushed), default=[])
        for d in best:
            waiting[d.need] -= d.hours
            if d.last:
                del waiting[d.need]
        done += best
    left += [Left(n, n.earliest, h, NO_ROOM) for n, h in waiting.items()]
    return done, sorted(left, key=lambda x: (x.on, x.need.rank, _key(x.need)))


def _waits(done: Sequence[Done], left: Sequence[Left], season: Season) -> tuple[float, ...]:
    """What a season leaves waiting, worst rank first."""
    ends = {d.need: d.on for d in done if d.last}
    needs = [*ends, *(x.need for x in left)]
    of = lambda rank: round(sum((n.excess or TINY_H if rank != OPENING else 1.0) * waited(ends.get(n), season) for n in needs if n.rank == rank), 9)
    late = sum(n.due is not None and ends.get(n, dt.date.max) >= n.due for n in needs)
    return of(UNSAFE), float(late), of(OPENING), float(sum(n.rank == UPKEEP and n not in ends for n in needs)), of(REPAIR)


def _pressing(waiting: Mapping[Need, float], days: Sequence[dt.date], hours_per_day: float, room: float) -> set[Need]:
    """Upkeep that cannot be put off: of what is due by a day, `room` times its hours are more than the days till then have, one
    day left out."""
    out: set[Need] = set()
    due = sorted((n for n in waiting if n.rank == UPKEEP and n.earliest <= days[0]), key=lambda n: n.latest or dt.date.max)
    wanted = 0.0
    for k, need in enumerate(due):
        wanted += waiting[need]
        until = sum(d <= (need.latest or dt.date.max) for d in days) - 1
        if room * wanted > until * hours_per_day:
            out |= set(due[: k + 1])
    return out


def _does(round_: Sequence[Done], waiting: Mapping[Need, float], pressing: Collection[Need]) -> tuple:
    """How much a day's round does, the most first: hours of each rank, then excess taken off, then least road."""
    gained = lambda among: sum((d.need.excess or TINY_H) * d.hours / waiting[d.need] for d in among)
    hours = [-round(sum(d.hours for d in round_ if _turn(d.need, pressing) == rank), 9) for rank in (OPENING, UPKEEP)]
    return -round(gained(d for d in round_ if d.need.rank == UNSAFE), 9), *hours, -round(gained(round_), 9), round(sum(d.travel_hours - d.hours for d in round_), 9)


def _begins(round_: Sequence[Done], waiting: Mapping[Need, float], pressing: Collection[Need], pushed: Mapping[Need, float]) -> tuple:
    """How much its first need presses, the most first."""
    if not round_:
        return (inf,)
    need = round_[0].need
    return _turn(need, pressing), -_worth(need, waiting[need]) * pushed.get(need, 1.0), *_key(need)


def _turn(need: Need, pressing: Collection[Need]) -> int:
    """Its rank, upkeep that can wait after repairs."""
    return LATER if need.rank == UPKEEP and need not in pressing else need.rank


def _never(need: Need, season: Season) -> str:
    """Why no day can take a need, or empty."""
    if need.hours is None or not need.hours > TINY_H:
        return NO_HOURS_STATED
    there, back = season.roads.hours(season.yard, need.site), season.roads.hours(need.site, season.yard)
    if there is None or back is None:
        return NO_ROAD
    if not any(need.earliest <= d and (need.latest is None or d <= need.latest) for d in season.days):
        return TOO_LATE
    return ""


def _round(day: dt.date, waiting: Mapping[Need, float], season: Season, pressing: Collection[Need], first: str, pushed: Mapping[Need, float]) -> list[Done]:
    """One round that begins at the site `first`."""
    here, spent, out = season.yard, 0.0, []
    rest = {n: waiting[n] for n in waiting if _open(n, day)}
    opening = [n for n in waiting if n.rank == OPENING or n.task == BASES]
    while True:
        best, lowest = None, _lowest(opening)
        for need in rest:
            if not out and need.site != first or lowest.get(need.field_id, need.stage) < need.stage:
                continue
            part = _part(need, rest[need], here, spent, season)
            if part is not None:
                key = (need.rank != UNSAFE, bool(out) and need.site != here, _turn(need, pressing), -_worth(need, rest[need]) * pushed.get(need, 1.0), *_key(need))
                if best is None or key < best[0]:
                    best = key, need, *part
        if best is None:
            break
        _, need, road, worked = best
        last = waiting[need] - worked <= TINY_H
        del rest[need]
        if last:
            opening = [n for n in opening if n is not need]
        spent, here = spent + road + worked, need.site
        out.append(Done(need, day, len(out) + 1, worked, road, last))
    if out:
        back = season.roads.hours(here, season.yard)
        end = out[-1]
        out[-1] = Done(end.need, end.on, end.order, end.hours, end.travel_hours + back, end.last)
    return out


def _part(need: Need, hours: float, here: str, spent: float, season: Season) -> tuple[float, float] | None:
    """Road to it and hours of it that still fit into the day, the way home kept free; None where too little or nothing does."""
    road, back = season.roads.hours(here, need.site), season.roads.hours(need.site, season.yard)
    if road is None or back is None:
        return None
    room = season.hours_per_day - spent - road - back
    if hours <= room + TINY_H:
        return road, min(hours, max(room, 0.0))
    if need.rank == UPKEEP or room < LEAST_PART_H:
        return None
    return road, room


def _open(need: Need, day: dt.date) -> bool:
    return need.earliest <= day and (need.latest is None or day <= need.latest)


def _lowest(opening: Iterable[Need]) -> dict[str, int]:
    """The lowest stage of each field's opening that is still to be done."""
    out: dict[str, int] = {}
    for need in opening:
        out[need.field_id] = min(need.stage, out.get(need.field_id, need.stage))
    return out


def _worth(need: Need, hours: float) -> float:
    """Expected excess taken off by an hour of what is left of it: what is begun is worth more, and is ended first."""
    return (need.excess or 0.0) / hours


def _key(need: Need) -> tuple:
    return min((d.toordinal() for d in (need.latest, need.due) if d is not None), default=inf), need.field_id, need.stage, need.task, need.earliest.toordinal()


def waited(on: dt.date | None, season: Season) -> float:
    """Share of the season that a need waits until it is done on a day; all of it where it never is."""
    if not season.days or on is None:
        return 1.0
    first, last = season.days[0], season.days[-1]
    return min(((on - first).days + 1) / ((last - first).days + 1), 1.0)
