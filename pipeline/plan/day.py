"""One crew's day around the games: what is done when, never on a field that is played and never two things at once; what does
not fit, and why. Times are minutes after midnight.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice, permutations
from math import ceil
from typing import Mapping, Sequence

from pipeline.plan.roads import MINUTES, Roads

NO_TIME_STATED, GAP_SHORT, CREW_AWAY, NO_ROAD, NOT_OPENED = "no_time_stated", "gap_short", "crew_away", "no_road", "not_opened"
OPEN_UP = "open_up"
MOST_ORDERS = 720  # all orders of six fields


@dataclass(frozen=True)
class Game:
    """field, from and to (min), and the base set it is played on, empty where nobody said."""

    field_id: str
    starts: int
    ends: int
    base_set: str = ""


@dataclass(frozen=True)
class Task:
    """Something to do on a field while it is not played.

    minutes : None where nobody stated any
    opens, due : it lies between these, min
    must    : a game cannot go on without it
    turn    : where not all can be done, the lower first
    opened  : the field is wet: it is not done before the field has been loosened to dry
    """

    field_id: str
    site: str
    task: str
    minutes: int | None
    opens: int
    due: int
    must: bool
    base_set: str = ""
    why: str = ""
    turn: int = 0
    opened: bool = False


@dataclass(frozen=True)
class Placed:
    """A task and when; road: minutes driven to it just before."""

    task: Task
    starts: int
    ends: int
    road: int


@dataclass(frozen=True)
class Missed:
    """A task that is not done and why: NO_TIME_STATED, GAP_SHORT, CREW_AWAY NO_ROAD, or NOT_OPENED: wet, and not loosened before."""

    task: Task
    why: str


@dataclass(frozen=True)
class Crew:
    """The crew's day: where it begins, from when to when, min."""

    yard: str
    starts: int
    ends: int
    roads: Roads


def plan_day(tasks: Sequence[Task], crew: Crew) -> tuple[list[Placed], list[Missed]]:
    """The best of some days laid out by `_laid`, each with the fields in another order where not all can be had: the fewest tasks
    missed that a game hangs on, then the fewest at all, then the least road; of equals the one nearest the fields' turns.

    Each task lies within its own window and the crew's day, driving between sites in between; every task is in one list.
    """
    tasks = list(dict.fromkeys(tasks))
    fields = sorted({(t.turn, t.field_id) for t in tasks})
    best = None
    for order in islice(permutations(fields), MOST_ORDERS):
        placed, missed = _laid(tasks, crew, {f: k for k, (_, f) in enumerate(order)})
        score = sum(m.task.must for m in missed), len(missed), sum(p.road for p in placed)
        if best is None or score < best[0]:
            best = score, placed, missed
        if not best[0][1]:
            break
    return ([], []) if best is None else best[1:]


def _laid(tasks: Sequence[Task], crew: Crew, rank: Mapping[str, int]) -> tuple[list[Placed], list[Missed]]:
    """Tasks one after another: what can begin first, unless a task that a game hangs on would then come too late; where one of
    these must give way to another, that of the field of lower rank is done first."""
    never = {t: why for t in tasks if (why := _never(t, crew))}
    waiting, placed = [t for t in tasks if t not in never], []
    here, now, dry = crew.yard, crew.starts, set()
    while True:
        fits = {t: at for t in waiting if (not t.opened or t.field_id in dry) and (at := _start(t, here, now, crew)) is not None}
        kills = {t: [m for m in fits if m.must and m != t and _start(m, t.site, fits[t] + t.minutes, crew) is None] for t in fits}
        pressed = {m for killed in kills.values() for m in killed}
        chosen = min((t for t in fits if not kills[t]), key=lambda t: (fits[t], t.due, *_key(t)), default=None)
        chosen = chosen or min(pressed, key=lambda t: (rank[t.field_id], t.due, *_key(t)), default=None)
        if chosen is None:
            break
        at = fits[chosen]
        placed.append(Placed(chosen, at, at + chosen.minutes, _road(here, chosen.site, crew)))
        here, now = chosen.site, at + chosen.minutes
        dry |= {chosen.field_id} if chosen.task == OPEN_UP else set()
        waiting.remove(chosen)
    left = {t: NOT_OPENED if t.opened and t.field_id not in dry else CREW_AWAY for t in waiting}
    return placed, [Missed(t, why) for t, why in sorted((never | left).items(), key=lambda m: (m[0].due, *_key(m[0])))]


def gaps(games: Sequence[Game], clear_min: int) -> list[tuple[Game, Game, int]]:
    """Each two games of one field that follow on one another, and the minutes between them that can be worked in, `clear_min`
    before the second kept free; never under 0."""
    order = sorted(games, key=lambda g: (g.field_id, g.starts))
    return [(a, b, max(b.starts - clear_min - a.ends, 0)) for a, b in zip(order, order[1:]) if a.field_id == b.field_id]


def field_tasks(games: Sequence[Game], site: str, minutes: dict[str, int | None], crew: Crew, clear_min: int, before: str, wet: bool, turn: int = 0) -> list[Task]:
    """What a field with games asks for on the day.

    games   : its own
    minutes : work -> minutes of one visit, None where nobody stated any; works `open_up, drag, bases`
    before  : the base set that stands in it in the morning, empty where nobody knows
    wet     : water stands on it: it is loosened to dry before it is dragged for the first game
    turn    : its place among the fields, the one that can be played first first
    """
    order = sorted(games, key=lambda g: g.starts)
    if not order:
        return []
    first, due = order[0], order[0].starts - clear_min
    make = lambda task, opens, due, must, base_set="", why="", opened=False: Task(first.field_id, site, task, minutes[task], opens, due, must, base_set, why, turn, opened)
    out = [make(OPEN_UP, crew.starts, due, True, why="wet")] if wet else []
    out.append(make("drag", crew.starts, due, True, why="before", opened=wet))
    if first.base_set and before and first.base_set != before:
        out.append(make("bases", crew.starts, due, True, first.base_set, "swap"))
    for a, b, _ in gaps(order, clear_min):
        if a.base_set and b.base_set and a.base_set != b.base_set:
            out.append(make("bases", a.ends, b.starts - clear_min, True, b.base_set, "swap"))
        out.append(make("drag", a.ends, b.starts - clear_min, False, why="between"))
    return [*out, make("drag", order[-1].ends, crew.ends, False, why="after")]


def _never(task: Task, crew: Crew) -> str:
    if task.minutes is None:
        return NO_TIME_STATED
    if crew.roads.hours(crew.yard, task.site) is None:
        return NO_ROAD
    return GAP_SHORT if task.minutes > task.due - task.opens else ""


def _start(task: Task, here: str, now: int, crew: Crew) -> int | None:
    """When it can begin at the earliest, or None where it would not end in time."""
    road = _road(here, task.site, crew)
    if road is None:
        return None
    at = max(now + road, task.opens)
    return at if at + task.minutes <= min(task.due, crew.ends) else None


def _road(here: str, there: str, crew: Crew) -> int | None:
    hours = crew.roads.hours(here, there)
    return None if hours is None else ceil(round(hours * MINUTES, 6))


def _key(task: Task) -> tuple:
    return not task.must, task.field_id, task.task, task.opens
