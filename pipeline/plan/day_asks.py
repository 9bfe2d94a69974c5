"""What a field asks of the crew on a day with games: what each game hangs on, and the drags that are good to have."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import ceil
from typing import Mapping, Sequence

from pipeline.plan.roads import MINUTES, Roads

NO_TIME_STATED, GAP_SHORT, CREW_AWAY, NO_ROAD, NOT_OPENED = "no_time_stated", "gap_short", "crew_away", "no_road", "not_opened"
OPEN_UP, DRAG, BASES = "open_up", "drag", "bases"
MOST_GAMES = 6  # of one field, beyond which the last only are given up where not all can be had


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
    opens, due : it lies between these, min, and outside of all `games` of its field, (from, to) with what is kept free before
    game    : which of its field's games hangs on it, from 0; None of a drag that is good to have
    opened  : the field is wet: it is not done before the field has been loosened and left to dry
    closed  : the field is unsafe by its newest survey
    """

    field_id: str
    site: str
    task: str
    minutes: int | None
    opens: int
    due: int
    game: int | None = None
    base_set: str = ""
    why: str = ""
    opened: bool = False
    closed: bool = False
    games: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class Crew:
    """The crew's day: where it begins, from when to when, min; dry: minutes a loosened skin is left before it is dragged;
    clear: minutes before a game that nobody works on the field."""

    yard: str
    starts: int
    ends: int
    roads: Roads
    dry: int = 0
    clear: int = 0


@dataclass(frozen=True)
class Asked:
    """One field on the day.

    games   : its own, not empty, in order, none overlapping another
    minutes : work -> minutes of one visit, None where nobody stated any; works `open_up, drag, bases`
    before  : the base set that stands in it in the morning, empty where nobody knows
    wet     : it is loosened to dry before it is dragged for its first game
    closed  : unsafe by its newest survey: it comes after all others
    turn    : its place among the fields, the one that can be played first first
    """

    field_id: str
    site: str
    games: tuple[Game, ...]
    minutes: Mapping[str, int | None]
    before: str = ""
    wet: bool = False
    closed: bool = False
    turn: int = 0


def options(field: Asked) -> list[tuple[int, ...]]:
    """Which of its games could be had, all first, then all but one and so on, the later rather given up than the earlier; none
    of them last."""
    count = len(field.games)
    if count > MOST_GAMES:
        return [tuple(range(n)) for n in range(count, -1, -1)]
    return [kept for n in range(count, -1, -1) for kept in combinations(range(count), n)]


def musts(field: Asked, had: Sequence[int], crew: Crew) -> tuple[Task, ...]:
    """What the games `had` hang on: a wet skin loosened and dragged before the first of them, each base set put in."""
    out, standing = [], field.before
    for n, k in enumerate(had):
        opens, due = slot(field, k, crew)
        if field.wet and n == 0:
            out += [_task(field, crew, OPEN_UP, crew.starts, due, k, why="wet"), _task(field, crew, DRAG, opens, due, k, why="before", opened=True)]
        base = field.games[k].base_set
        if base and standing and base != standing:
            out.append(_task(field, crew, BASES, opens, due, k, base, "swap"))
        standing = base or standing
    return tuple(out)


def first_drag(field: Asked, had: Sequence[int], crew: Crew) -> tuple[Task, ...]:
    """The drag before the first game of a field that is not wet: good to have, no game hangs on it."""
    return () if field.wet or not had else (_task(field, crew, DRAG, *slot(field, had[0], crew), why="before"),)


def between(field: Asked, had: Sequence[int], crew: Crew) -> list[Task]:
    """Drags between games that are had and after the last; none on a wet skin that is not loosened."""
    if field.wet and not had:
        return []
    inner = [_task(field, crew, DRAG, *slot(field, k, crew), why="between") for k in had if k - 1 in had]
    return [*inner, _task(field, crew, DRAG, *slot(field, len(field.games), crew), why="after")]


def slot(field: Asked, k: int, crew: Crew) -> tuple[int, int]:
    """From the end of the game before game k, the crew's morning before the first, to game k less what is kept free; after the
    last game to the crew's evening."""
    opens = field.games[k - 1].ends if k else crew.starts
    return opens, field.games[k].starts - crew.clear if k < len(field.games) else crew.ends


def gaps(games: Sequence[Game], clear_min: int) -> list[tuple[Game, Game, int]]:
    """Each two games of one field that follow on one another, and the minutes between them that can be worked in, `clear_min`
    before the second kept free; never under 0."""
    order = sorted(games, key=lambda g: (g.field_id, g.starts))
    return [(a, b, max(b.starts - clear_min - a.ends, 0)) for a, b in zip(order, order[1:]) if a.field_id == b.field_id]


def road_min(here: str, there: str, crew: Crew) -> int | None:
    """Whole minutes on the road, loading included; None where nobody stated them."""
    hours = crew.roads.hours(here, there)
    return None if hours is None else ceil(round(hours * MINUTES, 6))


def _task(field: Asked, crew: Crew, task: str, opens: int, due: int, game: int | None = None, base_set: str = "", why: str = "", opened: bool = False) -> Task:
    played = tuple((g.starts - crew.clear, g.ends) for g in field.games)
    return Task(field.field_id, field.site, task, field.minutes[task], opens, due, game, base_set, why, opened, field.closed, played)
