"""A plan made better by exchanging the schedules of one field, or of two at once, as long as all rules are kept."""

from __future__ import annotations

from typing import Sequence

import numpy as np

from pipeline.plan.programme import Programme
from pipeline.plan.treatments import TREATMENTS

WIDTH, PASSES, LEAST = 24, 40, 1e-6
ROOM = 1e-9


def exchanged(programme: Programme, reduced: Sequence[np.ndarray], picks: Sequence[int], enough: float) -> list[int]:
    """Picks that are no worse: first one field's schedule is exchanged, then two fields' at once, one giving up what the other takes.

    reduced : per field what choosing a schedule costs over the field's best, from the bound; its WIDTH lowest are looked at
    enough  : the search ends where the aim is no more than this
    """
    search = _Search(programme, reduced, list(picks))
    for _ in range(PASSES):
        if programme.aim(search.picks) <= enough or not search.improve():
            break
    return search.picks


class _Search:
    """Moves: field, schedule, what it adds to the aim and, (2T,), to money (added up over years where it goes on) and hours."""

    def __init__(self, programme: Programme, reduced: Sequence[np.ndarray], picks: list[int]):
        self.programme, self.picks = programme, picks
        self.kept = [r.argsort(kind="stable")[:WIDTH] for r in reduced]
        self.kept = [k[np.isfinite(r[k])] for k, r in zip(self.kept, reduced)]
        self.flow = np.tril(np.ones((programme.years,) * 2)) if programme.means.carry_over else np.eye(programme.years)
        self.field = np.concatenate([np.full(len(k), i) for i, k in enumerate(self.kept)])
        self.schedule = np.concatenate(self.kept)
        self.first = np.concatenate([[0], np.cumsum([len(k) for k in self.kept])])
        self.adds, self.takes = np.zeros(len(self.field)), np.zeros((len(self.field), 2 * programme.years))
        self._settle(range(len(picks)))

    def _settle(self, fields: Sequence[int]) -> None:
        """Moves of these fields, and of those whose site shares comings with them, and what is left of the means."""
        sites = {self.programme.choices[i].site for i in fields} if self.programme.sharing.mobilisation else set()
        for i in sorted({*fields, *(j for j, c in enumerate(self.programme.choices) if c.site in sites)}):
            self._moves(i)
        money, hours = self.programme.spent(self.picks)
        means = self.programme.means
        self.left = np.concatenate([self.flow @ (means.money - money), means.hours - hours]) + ROOM

    def _moves(self, i: int) -> None:
        c, now, kept = self.programme.choices[i], self.picks[i], self.kept[i]
        money = c.cost[kept] - c.cost[now]
        for word, each in self.programme.sharing.mobilisation.items():
            k = TREATMENTS.index(word)
            others = [o.words[s] == k for j, (o, s) in enumerate(zip(self.programme.choices, self.picks)) if j != i and o.site == c.site]
            alone = ~np.any(others, axis=0) if others else np.ones(self.programme.years, bool)
            money = money + each * alone * ((c.words[kept] == k).astype(int) - (c.words[now] == k))
        at = slice(self.first[i], self.first[i + 1])
        self.adds[at] = c.loss[kept] - c.loss[now] + self.programme.worth * money.sum(axis=1) / 1000.0
        self.takes[at] = np.hstack([money @ self.flow.T, c.hours[kept] - c.hours[now]])

    def improve(self) -> bool:
        """One pass over all moves that take off; whether any was made."""
        made = False
        for a in np.argsort(self.adds, kind="stable"):
            if self.adds[a] > -LEAST or self.schedule[a] == self.picks[self.field[a]]:
                continue
            room = self.left - self.takes[a]
            if (room >= 0).all():
                made |= self._make([a])
                continue
            fits = np.flatnonzero((self.adds < -self.adds[a] - LEAST) & (self.field != self.field[a]))
            fits = fits[(self.takes[fits] <= room).all(axis=1)]
            if len(fits):
                made |= self._make([a, fits[np.argmin(self.adds[fits])]])
        return made

    def _make(self, moves: Sequence[int]) -> bool:
        tried = list(self.picks)
        for m in moves:
            tried[self.field[m]] = int(self.schedule[m])
        if not self.programme.sound(tried) or self.programme.aim(tried) > self.programme.aim(self.picks) - LEAST:
            return False
        self.picks = tried
        self._settle([int(self.field[m]) for m in moves])
        return True
