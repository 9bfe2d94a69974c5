"""One crew's season: which field gets which work on which day, what is left undone, hours never counted twice.

Greedy by day: of the rounds that begin at each site the one that does most, by rank, then by what an hour of work takes off the
expected excess over the owner's tolerances. Upkeep gives way to repairs while the days until its turn ends have room for both; how
much room that is, is tried. benchmarks/crew.py holds it against the optimum.
"""

from __future__ import annotations

import datetime as dt
from math import inf
from typing import Mapping, Sequence

from pipeline.plan.season_days import NO_HOURS_STATED, NO_ROAD, NO_ROOM, OPENING, REPAIR, TINY_H, TOO_LATE, UNSAFE, UPKEEP, Done, Left, Need, Season, waited
from pipeline.plan.season_rounds import begins, does, is_open, key_of, pressing_of, round_of

ROOM = (inf, 3.0, 2.0, 1.5, 1.0)  # how many times its hours the days have to hold for upkeep to wait (ours; tried one by one)
PUSHED, PUSH = 24, 4.0  # needs that are tried earlier and later, and how many times their worth (ours)


def plan_season(needs: Sequence[Need], season: Season) -> tuple[list[Done], list[Left]]:
    """What is done when, in order of day, and what is not.

    A day's work and road together never pass `hours_per_day`. A need longer than a day's room goes on on later days; upkeep is
    done whole or not at all. Every need ends up in one of the lists, a need begun and not ended in both.

    Laid out once for each of ROOM and each way to choose a day's round, then with single needs pushed forward or back. Of all is
    taken: where unsafe places wait least, then the fewest openings are late, then openings wait least, then the fewest turns of
    upkeep are missed, then where repairs wait least, each weighed by its excess.
    """
    tried = {(room, by_round): _laid(needs, season, room, by_round, {}) for room in ROOM for by_round in (False, True)}
    way = min(tried, key=lambda w: _waits(*tried[w], season))
    best, pushed = tried[way], {}
    for need in sorted((n for n in dict.fromkeys(needs) if n.excess and n.hours), key=lambda n: (-n.excess, *key_of(n)))[:PUSHED]:
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
        pressing = pressing_of(waiting, season.days[k:], season.hours_per_day, room)
        rounds = [round_of(day, waiting, season, pressing, first, pushed) for first in sorted({n.site for n in waiting if is_open(n, day)})]
        best = min(rounds, key=lambda r: does(r, waiting, pressing) if by_round else begins(r, waiting, pressing, pushed), default=[])
        for d in best:
            waiting[d.need] -= d.hours
            if d.last:
                del waiting[d.need]
        done += best
    left += [Left(n, n.earliest, h, NO_ROOM) for n, h in waiting.items()]
    return done, sorted(left, key=lambda x: (x.on, x.need.rank, key_of(x.need)))


def _waits(done: Sequence[Done], left: Sequence[Left], season: Season) -> tuple[float, ...]:
    """What a season leaves waiting, worst rank first."""
    ends = {d.need: d.on for d in done if d.last}
    needs = [*ends, *(x.need for x in left)]
    of = lambda rank: round(sum((n.excess or TINY_H if rank != OPENING else 1.0) * waited(ends.get(n), season) for n in needs if n.rank == rank), 9)
    late = sum(n.due is not None and ends.get(n, dt.date.max) >= n.due for n in needs)
    return of(UNSAFE), float(late), of(OPENING), float(sum(n.rank == UPKEEP and n not in ends for n in needs)), of(REPAIR)


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
