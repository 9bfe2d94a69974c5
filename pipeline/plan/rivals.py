"""What the board could do instead of the plan, under the same budgets: mend the worst first, or each field in its turn.

Both begin with what pins and safety work ask for, and go through the years in order. A contractor's least order and even
shares by site do not bind them: they are flattered.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Callable, Iterable, Sequence

import numpy as np

from pipeline.plan.programme import Programme
from pipeline.plan.treatments import NONE, RESETS, TREATMENTS, LEVEL, LEVELLED

WORST_FIRST, IN_TURN = "worst_first", "in_turn"

Worth = Callable[[int, int, int], Sequence[tuple[str, float]]]  # (field, schedule, year) -> (component, excess), worst first


def worst_first(programme: Programme, start: Sequence[int], worst: Worth) -> list[int]:
    """Each year the field whose worst component is furthest over its tolerance gets the cheapest remedy of that component, then the next,
    as long as money and hours last; a field gets one treatment a year.

    start : the schedules that do no more than pins and safety work ask
    """
    picks = list(start)
    for t in range(programme.years):
        rank = sorted(((over, i, name) for i in range(len(picks)) for name, over in worst(i, picks[i], t)[:1]), key=lambda r: (-r[0], r[1]))
        for over, i, name in rank:
            if over > 0:
                _add(programme, picks, i, t, name)
    return picks


def in_turn(programme: Programme, start: Sequence[int], worst: Worth) -> list[int]:
    """Fields by name, going on each year where the last year stopped: the one whose turn it is gets the cheapest remedy of its
    worst component; one that the year's means do not reach is passed over."""
    picks, turn, n = list(start), 0, len(start)
    for t in range(programme.years):
        last = turn
        for step in range(n):
            i = (turn + step) % n
            named = worst(i, picks[i], t)[:1]
            if named and named[0][1] > 0 and _add(programme, picks, i, t, named[0][0]):
                last = (i + 1) % n
        turn = last
    return picks


def _add(programme: Programme, picks: list[int], i: int, t: int, name: str) -> bool:
    """Give field i the cheapest treatment in year t that resets `name` and that the budgets still bear."""
    c, now = programme.choices[i], picks[i]
    if c.words[now, t] != TREATMENTS.index(NONE):
        return False
    for s in _by_cost(c, now, t, name):
        picks[i] = s
        if programme.within(picks):
            return True
    picks[i] = now
    return False


def _by_cost(c, now: int, t: int, name: str) -> Iterable[int]:
    others = np.delete(np.arange(c.words.shape[1]), t)
    alike = np.flatnonzero(c.allowed & (c.words[:, others] == c.words[now, others]).all(axis=1))
    mends = [s for s in alike if name in RESETS[(word := TREATMENTS[c.words[s, t]])] or word == LEVEL and name in LEVELLED]
    return sorted(mends, key=lambda s: (c.cost[s].sum(), c.hours[s].sum(), s))


def lenient(programme: Programme) -> Programme:
    """The programme with what does not bind the rivals taken out."""
    return replace(programme, sharing=replace(programme.sharing, lots={}, equity=0.0))


def least_asked(programme: Programme) -> list[int] | None:
    """Of each field the allowed schedule with the fewest treatments, then the cheapest, then the least loss; None where these together break a budget."""
    done = lambda c, s: (int((c.words[s] != TREATMENTS.index(NONE)).sum()), c.cost[s].sum(), c.hours[s].sum(), c.loss[s], s)
    picks = [int(min(np.flatnonzero(c.allowed), key=lambda s: done(c, s))) for c in programme.choices]
    return picks if programme.within(picks) else None
