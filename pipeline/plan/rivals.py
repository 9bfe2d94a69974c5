"""What the board could do instead of the plan, under the same budgets: mend the worst first, or each field in its turn.

Both begin with what pins and safety work ask for, and go through the years in order. A contractor's least order and even
shares by site do not bind them: they are flattered.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Callable, Iterable, Sequence

import numpy as np

from pipeline.plan.programme import Choice, Programme
from pipeline.plan.reasons import LITTLE
from pipeline.plan.treatments import NONE, RESETS, TREATMENTS, LEVEL, LEVELLED

WORST_FIRST, IN_TURN = "worst_first", "in_turn"

Worth = Callable[[int, int, int], Sequence[tuple[str, float]]]  # (field, schedule, year) -> (component, excess), worst first
Holds = Callable[[int, int, int, str], float]  # (field, schedule, year, component) -> its level over the tolerance at the year's end


def worst_first(programme: Programme, start: Sequence[int], worst: Worth, holds: Holds) -> list[int]:
    """Each year the field whose worst component is furthest over its tolerance gets the remedy of it, then the next, as long as money
    and hours last; a field gets one treatment a year. The remedy: the cheapest that brings it back within tolerance by the
    year's end, else the one that leaves the least over it.

    start : the schedules that do no more than pins and safety work ask
    """
    picks = list(start)
    for t in range(programme.years):
        rank = sorted(((over, i, name) for i in range(len(picks)) for name, over in worst(i, picks[i], t)[:1]), key=lambda r: (-r[0], r[1]))
        for over, i, name in rank:
            if over > LITTLE:
                _add(programme, picks, i, t, name, holds)
    return picks


def in_turn(programme: Programme, start: Sequence[int], worst: Worth, holds: Holds) -> list[int]:
    """Fields by name, in a row: whose turn it is gets the remedy of its worst component and goes to the row's end, so that no field
    comes twice before each has come once; one that stands within its tolerances lets its turn pass; one that the year's money
    and hours do not reach keeps its place at the front for the next year."""
    picks, row = list(start), list(range(len(start)))
    for t in range(programme.years):
        waits, had = [], []
        for i in row:
            named = worst(i, picks[i], t)[:1]
            needs = bool(named) and named[0][1] > LITTLE and programme.choices[i].words[picks[i], t] == TREATMENTS.index(NONE)
            (waits if needs and not _add(programme, picks, i, t, named[0][0], holds) else had).append(i)
        row = waits + had
    return picks


def _add(programme: Programme, picks: list[int], i: int, t: int, name: str, holds: Holds) -> bool:
    """Give field i in year t the remedy of `name`, if the budgets still bear it."""
    c, now = programme.choices[i], picks[i]
    if c.words[now, t] != TREATMENTS.index(NONE):
        return False
    for s in _remedies(c, i, now, t, name, holds):
        picks[i] = s
        if programme.within(picks):
            return True
    picks[i] = now
    return False


def _remedies(c: Choice, i: int, now: int, t: int, name: str, holds: Holds) -> Iterable[int]:
    """Schedules that treat `name` in year t and are otherwise as they are: first those that bring it back within tolerance, the cheapest
    first; then the others, those that leave the least first."""
    others = np.delete(np.arange(c.words.shape[1]), t)
    alike = np.flatnonzero(c.allowed & (c.words[:, others] == c.words[now, others]).all(axis=1))
    mends = [int(s) for s in alike if name in RESETS[(word := TREATMENTS[c.words[s, t]])] or word == LEVEL and name in LEVELLED]
    left = {s: holds(i, s, t, name) for s in mends}
    price = lambda s: (c.cost[s].sum(), c.hours[s].sum(), s)
    return sorted(mends, key=lambda s: (0, 0.0, *price(s)) if left[s] <= 0 else (1, left[s], *price(s)))


def lenient(programme: Programme) -> Programme:
    """The programme with what does not bind the rivals taken out."""
    return replace(programme, sharing=replace(programme.sharing, lots={}, equity=0.0))


def least_asked(programme: Programme) -> list[int] | None:
    """Of each field the allowed schedule with the fewest treatments, then the cheapest, then the least loss; None where these together break a budget."""
    done = lambda c, s: (int((c.words[s] != TREATMENTS.index(NONE)).sum()), c.cost[s].sum(), c.hours[s].sum(), c.loss[s], s)
    picks = [int(min(np.flatnonzero(c.allowed), key=lambda s: done(c, s))) for c in programme.choices]
    return picks if programme.within(picks) else None
