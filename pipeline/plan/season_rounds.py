"""One day's round of a crew: out of the yard, work at one site, if room is left on to the next, and back."""

from __future__ import annotations

import datetime as dt
from math import inf
from typing import Collection, Iterable, Mapping, Sequence

from pipeline.plan.season_days import BASES, OPENING, TINY_H, UNSAFE, UPKEEP, Done, Need, Season

LATER = 4  # upkeep that can still wait
LEAST_PART_H = 1.0  # a long work is cut into days; less than this of it is not begun


def round_of(day: dt.date, waiting: Mapping[Need, float], season: Season, pressing: Collection[Need], first: str, pushed: Mapping[Need, float]) -> list[Done]:
    """One round that begins at the site `first`."""
    here, spent, out = season.yard, 0.0, []
    rest = {n: waiting[n] for n in waiting if is_open(n, day)}
    opening = [n for n in waiting if n.rank == OPENING or n.task == BASES]
    while True:
        best, lowest = None, _lowest(opening)
        for need in rest:
            if not out and need.site != first or lowest.get(need.field_id, need.stage) < need.stage:
                continue
            part = _part(need, rest[need], here, spent, season)
            if part is not None:
                key = (need.rank != UNSAFE, bool(out) and need.site != here, _turn(need, pressing), -_worth(need, rest[need]) * pushed.get(need, 1.0), *key_of(need))
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


def is_open(need: Need, day: dt.date) -> bool:
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


def key_of(need: Need) -> tuple:
    return min((d.toordinal() for d in (need.latest, need.due) if d is not None), default=inf), need.field_id, need.stage, need.task, need.earliest.toordinal()


def pressing_of(waiting: Mapping[Need, float], days: Sequence[dt.date], hours_per_day: float, room: float) -> set[Need]:
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


def does(round_: Sequence[Done], waiting: Mapping[Need, float], pressing: Collection[Need]) -> tuple:
    """How much a day's round does, the most first: hours of each rank, then excess taken off, then least road."""
    gained = lambda among: sum((d.need.excess or TINY_H) * d.hours / waiting[d.need] for d in among)
    hours = [-round(sum(d.hours for d in round_ if _turn(d.need, pressing) == rank), 9) for rank in (OPENING, UPKEEP)]
    return -round(gained(d for d in round_ if d.need.rank == UNSAFE), 9), *hours, -round(gained(round_), 9), round(sum(d.travel_hours - d.hours for d in round_), 9)


def begins(round_: Sequence[Done], waiting: Mapping[Need, float], pressing: Collection[Need], pushed: Mapping[Need, float]) -> tuple:
    """How much its first need presses, the most first."""
    if not round_:
        return (inf,)
    need = round_[0].need
    return _turn(need, pressing), -_worth(need, waiting[need]) * pushed.get(need, 1.0), *key_of(need)


def _turn(need: Need, pressing: Collection[Need]) -> int:
    """Its rank, upkeep that can wait after repairs."""
    return LATER if need.rank == UPKEEP and need not in pressing else need.rank
