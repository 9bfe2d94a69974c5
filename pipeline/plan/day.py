"""One crew's day around the games: what is done when, never on a field that is played and never two things at once; which games
cannot be had and what does not fit. Times are minutes after midnight.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import permutations
from random import Random
from typing import Sequence

from pipeline.plan.day_asks import CREW_AWAY, GAP_SHORT, NO_ROAD, NO_TIME_STATED, NOT_OPENED, OPEN_UP, Asked, Crew, Game, Task, between, first_drag, musts, options, road_min

MOST_ORDERS = 720  # all orders of six fields; of more a fixed draw of so many
KEPT = 8  # half-made days that are carried on (ours)


@dataclass(frozen=True)
class Placed:
    """A task and when; road: minutes driven to it just before."""

    task: Task
    starts: int
    ends: int
    road: int


@dataclass(frozen=True)
class Missed:
    """A task that is not done, and why: a word of day_asks."""

    task: Task
    why: str


@dataclass(frozen=True)
class Laid:
    """The day as it is laid out; lost: games that cannot be had, since what they hang on is among the missed."""

    placed: tuple[Placed, ...]
    missed: tuple[Missed, ...]
    lost: tuple[Game, ...]


@dataclass(frozen=True)
class _Half:
    """A day half made: its tasks one after another, the games of each field that it makes ready, what was given up."""

    tasks: tuple[Task, ...] = ()
    had: tuple[tuple[str, tuple[int, ...]], ...] = ()
    given_up: tuple[Task, ...] = ()


def plan_day(fields: Sequence[Asked], crew: Crew) -> Laid:
    """The best of many days, each made by another order of the fields: the fewest games lost that hang on the crew, then the
    fewest fields not dragged for their first game, both on fields that are closed counted after all others; then the fewest
    other drags left out, then the least road.

    Greedy within an order: each field in turn gets as many of its games as still fit, everything already laid kept. Not the
    optimum for certain: benchmarks/crew.py holds it against every order of tasks.
    """
    fields = sorted(fields, key=lambda f: (f.turn, f.field_id))
    halves = sorted({_score(h, fields, crew): h for order in _orders(fields) if (h := _half(order, crew)) is not None}.items(), key=lambda s: s[0])
    if not halves:
        return Laid((), (), ())
    best = [h for score, h in halves if score[:-1] == halves[0][0][:-1]][:KEPT]
    whole = [_finished(h, fields, crew) for h in best]
    return _told(min(whole, key=lambda h: (len(h.given_up), _road(h.tasks, crew))), fields, crew)


def had_if_struck(fields: Sequence[Asked], laid: Laid, crew: Crew) -> tuple[Game, ...]:
    """Games lost as the day is laid out that could be had, one field at a time, if that field's first lost one were struck or put
    off, so that the crew could be on the field meanwhile, and no other game were lost by it."""
    out: list[Game] = []
    for field in fields:
        lost = [g for g in field.games if g in laid.lost]
        kept = tuple(g for g in field.games if g not in lost[:1])
        if len(lost) > 1:
            again = plan_day([replace(f, games=kept) if f is field else f for f in fields], crew)
            out += [] if any(g not in laid.lost for g in again.lost) else [g for g in lost[1:] if g not in again.lost]
    return tuple(out)


def _orders(fields: Sequence[Asked]):
    """Orders in which fields are given their turn, what is open always before what is closed."""
    shut = [f for f in fields if f.closed]
    able = [f for f in fields if not f.closed]
    if len(able) <= 6:
        yield from ((*order, *shut) for order in permutations(able))
        return
    yield *able, *shut
    yield *sorted(able, key=lambda f: (f.games[0].starts, f.field_id)), *shut
    drawn = Random(0)
    for _ in range(MOST_ORDERS):
        yield *drawn.sample(able, len(able)), *shut


def _half(order: Sequence[Asked], crew: Crew) -> _Half:
    """Each field in turn: as many of its games as fit, then the drag before its first."""
    laid = _Half()
    for field in order:
        for had in options(field):
            tasks = _inserted(laid.tasks, musts(field, had, crew), crew)
            if tasks is not None:
                break
        soft = first_drag(field, had, crew)
        more = _inserted(tasks, soft, crew) if soft else tasks
        laid = _Half(more or tasks, (*laid.had, (field.field_id, had)), laid.given_up + (soft if more is None else ()))
    return laid


def _finished(half: _Half, fields: Sequence[Asked], crew: Crew) -> _Half:
    """With the drags between games and after the last that still fit."""
    tasks, given_up, had = half.tasks, half.given_up, dict(half.had)
    for task in sorted((t for f in fields for t in between(f, had[f.field_id], crew)), key=lambda t: (t.why == "after", t.closed, t.due, t.field_id)):
        more = _inserted(tasks, (task,), crew)
        tasks, given_up = (tasks, (*given_up, task)) if more is None else (more, given_up)
    return _Half(tasks, half.had, given_up)


def _inserted(tasks: tuple[Task, ...], new: Sequence[Task], crew: Crew) -> tuple[Task, ...] | None:
    """Tasks with new ones put in where they cost least road and begin soonest; None where they do not all fit."""
    states = [tasks]
    for task in new:
        if task.minutes is None:
            return None
        made = {}
        for state in states:
            for k in range(len(state) + 1):
                one = (*state[:k], task, *state[k:])
                starts = times(one, crew)
                if starts is not None:
                    made[one] = (_road(one, crew), sum(starts))
        states = sorted(made, key=made.get)[:KEPT]
        if not states:
            return None
    return states[0]


def times(tasks: tuple[Task, ...], crew: Crew) -> tuple[int, ...] | None:
    """When each begins, done one after another and each as soon as it can; None where one does not end in time."""
    here, now, dry, out = crew.yard, crew.starts, {}, []
    for task in tasks:
        road = road_min(here, task.site, crew)
        if road is None or task.opened and task.field_id not in dry:
            return None
        at = max(now + road, task.opens, dry[task.field_id] + crew.dry if task.opened else 0)
        for starts, ends in task.games:
            if at < ends and at + task.minutes > starts:
                at = ends
        if at + task.minutes > min(task.due, crew.ends):
            return None
        here, now = task.site, at + task.minutes
        if task.task == OPEN_UP:
            dry[task.field_id] = now
        out.append(at)
    return tuple(out)


def _road(tasks: Sequence[Task], crew: Crew) -> int:
    stops = [crew.yard, *(t.site for t in tasks)]
    return sum(road_min(a, b, crew) for a, b in zip(stops, stops[1:]))


def _score(half: _Half, fields: Sequence[Asked], crew: Crew) -> tuple:
    had, shut = dict(half.had), {f.field_id for f in fields if f.closed}
    lost = [f.field_id for f in fields for _ in range(len(f.games) - len(had[f.field_id]))]
    counts = [sum((f in shut) == closed for f in found) for closed in (False, True) for found in (lost, [t.field_id for t in half.given_up])]
    return *counts, _road(half.tasks, crew)


def _told(half: _Half, fields: Sequence[Asked], crew: Crew) -> Laid:
    starts, here, placed = times(half.tasks, crew), crew.yard, []
    for task, at in zip(half.tasks, starts):
        placed.append(Placed(task, at, at + task.minutes, road_min(here, task.site, crew)))
        here = task.site
    lost, missed, had = [], [Missed(t, _why(t, crew)) for t in half.given_up], dict(half.had)
    for f in fields:
        gone = [k for k in range(len(f.games)) if k not in had[f.field_id]]
        lost += [f.games[k] for k in gone]
        missed += [Missed(t, _why(t, crew)) for t in _wanted(f, had[f.field_id], gone, crew)]
        if f.wet and not had[f.field_id]:
            missed += [Missed(t, NOT_OPENED) for t in between(f, tuple(range(len(f.games))), crew) if t.why == "after"]
    return Laid(tuple(placed), tuple(sorted(missed, key=lambda m: (m.task.opens, m.task.due, m.task.field_id, m.task.task))), tuple(sorted(lost, key=lambda g: (g.starts, g.field_id))))


def _wanted(field: Asked, had: tuple[int, ...], gone: Sequence[int], crew: Crew) -> list[Task]:
    """What each lost game hung on."""
    out: list[Task] = []
    for k in gone:
        before = tuple(j for j in had if j < k)
        out += [t for t in musts(field, (*before, k), crew) if t.game == k and t not in out]
    return out


def _why(task: Task, crew: Crew) -> str:
    if task.minutes is None:
        return NO_TIME_STATED
    if road_min(crew.yard, task.site, crew) is None:
        return NO_ROAD
    return GAP_SHORT if task.minutes > task.due - max(task.opens, crew.starts) else CREW_AWAY
