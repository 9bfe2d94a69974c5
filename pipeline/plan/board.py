"""The plan and all a board asks of it: what else could be done, what more money changes, what a pin costs, how firm each line is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Mapping, Sequence

import numpy as np

from pipeline.plan import rivals
from pipeline.plan.bound import bound
from pipeline.plan.budgets import FINE, Other, at_budgets, other, pruned
from pipeline.plan.choose import FEW, GAP, Chosen, choose
from pipeline.plan.feasible import Infeasible, feasible
from pipeline.plan.condition import excess
from pipeline.plan.firmness import shares
from pipeline.plan.offer import Field, Priced, Terms, Wanted, priced, redrawn
from pipeline.plan.programme import Programme
from pipeline.plan.schedules import table

MORE = 10_000.0
NOTHING = 1e-6


@dataclass(frozen=True)
class Board:
    """programme, chosen, priced : the plan and what it chose from
    untreated : loss where nothing at all is done
    others    : worst_first, in_turn (None where they cannot keep to what pins and safety ask)
    budgets   : per cent of each year's money -> the plan then (None: then no plan keeps to pins and safety work)
    drops     : (T,) loss that MORE money in one year takes off, of whole plans up to FEW fields, else of the bound
    pins      : each pin with the loss it adds, likewise
    share     : (fields, T) share of draws that keep a choice
    """

    fields: tuple[Field, ...]
    terms: Terms
    programme: Programme
    chosen: Chosen
    priced: tuple[Priced, ...]
    untreated: float
    others: dict[str, Other | None]
    budgets: Mapping[int, Other | None]
    drops: np.ndarray
    pins: tuple[tuple[Wanted, float], ...]
    share: np.ndarray

    @property
    def tenth(self) -> dict[str, Other | None]:
        """10 % more and 10 % less money in every year."""
        return {"more": self.budgets[110], "less": self.budgets[90]}


def programme_of(fields: Sequence[Field], terms: Terms) -> tuple[Programme, tuple[Priced, ...]]:
    """The programme over all schedules of all fields."""
    found = tuple(priced(f, table(len(terms.means.money), f.words), terms) for f in fields)
    return Programme(tuple(p.choice for p in found), terms.means, terms.sharing, terms.worth), found


def pins_in_the_way(fields: Sequence[Field], terms: Terms) -> bool:
    """Whether a plan would keep to everything if no pin were obeyed."""
    try:
        feasible(programme_of(fields, replace(terms, pins=()))[0])
    except Infeasible:
        return False
    return bool(terms.pins)


def board(fields: Sequence[Field], terms: Terms, draws: int) -> Board:
    """Everything; deterministic: no clock, draws from the seed. raises: Infeasible"""
    programme, found = programme_of(fields, terms)
    best = choose(programme, FINE if len(fields) <= FEW else GAP)
    chosen = pruned(programme, best)
    start = [np.union1d(u, [s]) for u, s in zip(chosen.bound.used, chosen.picks)]
    states = [f.state for f in fields]
    again = {f.state.field_id: f for f in fields}
    words = {p.choice.field_id: p.choice.words for p in found}
    share = shares(programme, chosen.bound, chosen.picks, states, lambda state, factor, k: redrawn(again[state.field_id], state, factor, words[state.field_id][k], terms),
                   terms.cost_sd, terms.seed, draws)  # fmt: skip
    return Board(tuple(fields), terms, programme, chosen, found, float(sum(p.choice.loss[0] for p in found)), _others(programme, fields, found),
                 at_budgets(programme, chosen), _drops(programme, best, start), _pins(programme, fields, terms, best, start), share)  # fmt: skip


def _others(programme: Programme, fields: Sequence[Field], found: Sequence[Priced]) -> dict[str, Other | None]:
    easy = rivals.lenient(programme)
    start = rivals.least_asked(easy)
    if start is None:
        return {rivals.WORST_FIRST: None, rivals.IN_TURN: None}

    def worst(i: int, s: int, t: int) -> list[tuple[str, float]]:
        """Components of field i at the start of year t, before its treatment, worst first."""
        state = fields[i].state
        out = []
        for c, name in enumerate(state.names):
            part = state.components[name]
            level, sd = (part.level + part.rate * state.age_years, part.sigma) if t == 0 else (found[i].found.level[s, t - 1, c], found[i].found.sigma[s, t - 1, c])
            out.append((name, float(excess(level, sd, part.limit, part.scale))))
        return sorted(out, key=lambda r: -r[1])

    def holds(i: int, s: int, t: int, name: str) -> float:
        state = fields[i].state
        return float(found[i].found.level[s, t, state.names.index(name)] - state.components[name].limit)

    return {name: other(easy, way(easy, start, worst, holds)) for name, way in ((rivals.WORST_FIRST, rivals.worst_first), (rivals.IN_TURN, rivals.in_turn))}


def _drops(programme: Programme, chosen: Chosen, start: list[np.ndarray]) -> np.ndarray:
    """What MORE money in each year alone takes off: the dual is a slope, and overstates it."""
    with_more = (programme.means.money + MORE * (np.arange(programme.years) == t) for t in range(programme.years))
    return np.array([_gain(programme, replace(programme, means=replace(programme.means, money=m)), chosen, start) for m in with_more])


def _gain(programme: Programme, looser: Programme, chosen: Chosen, start: list[np.ndarray]) -> float:
    """Loss that a looser programme takes off; nothing below what the search itself leaves open."""
    few = len(programme.choices) <= FEW
    off = chosen.aim - choose(looser, FINE).aim if few else chosen.bound.value - bound(looser, start).value
    return off if off > max(NOTHING, 2 * FINE * chosen.aim) else 0.0


def _pins(programme: Programme, fields: Sequence[Field], terms: Terms, chosen: Chosen, start: list[np.ndarray]) -> tuple[tuple[Wanted, float], ...]:
    """What each pin adds to the loss, all others kept."""
    out = []
    for n, pin in enumerate(terms.pins):
        i = next((k for k, f in enumerate(fields) if f.state.field_id == pin.field_id), None)
        if i is None:
            continue
        free = priced(fields[i], programme.choices[i].words, replace(terms, pins=terms.pins[:n] + terms.pins[n + 1 :])).choice
        looser = replace(programme, choices=programme.choices[:i] + (free,) + programme.choices[i + 1 :])
        out.append((pin, _gain(programme, looser, chosen, start)))
    return tuple(out)
