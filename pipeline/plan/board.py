"""The plan and all a board asks of it: what else could be done, what more money changes, what a pin costs, how firm each line is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Sequence

import numpy as np

from pipeline.plan import rivals
from pipeline.plan.bound import bound
from pipeline.plan.choose import FEW, GAP, Chosen, choose, gap_of
from pipeline.plan.feasible import Infeasible, feasible
from pipeline.plan.condition import excess
from pipeline.plan.firmness import shares
from pipeline.plan.offer import TRIFLE, Field, Priced, Terms, Wanted, priced, redrawn
from pipeline.plan.programme import Programme
from pipeline.plan.reasons import instead
from pipeline.plan.schedules import table
from pipeline.plan.treatments import NONE

TENTH, MORE = 0.10, 10_000.0
NOTHING = 1e-6
FINE = 1e-5  # gap where two whole plans are held against each other: at 1e-3 each they would differ by that alone


@dataclass(frozen=True)
class Other:
    """Another way, or other means: its picks, loss, and money spent a year."""

    picks: tuple[int, ...]
    loss: float
    spent: tuple[float, ...]


@dataclass(frozen=True)
class Board:
    """programme, chosen, priced : the plan and what it chose from
    untreated : loss where nothing at all is done
    others    : worst_first, in_turn (None where they cannot keep to what pins and safety ask)
    tenth     : 10 % more and 10 % less money in every year (None: then no plan keeps to pins and safety work)
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
    tenth: dict[str, Other | None]
    drops: np.ndarray
    pins: tuple[tuple[Wanted, float], ...]
    share: np.ndarray


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
                 {"more": _under(programme, 1 + TENTH), "less": _under(programme, 1 - TENTH)}, _drops(programme, best, start), _pins(programme, fields, terms, best, start), share)  # fmt: skip


def pruned(programme: Programme, chosen: Chosen) -> Chosen:
    """The plan without lines that take off next to nothing: nobody should be sent for them. The gap is that of what is left."""
    picks = list(chosen.picks)
    for i in range(len(picks)):
        for t in range(programme.years):
            bare = next((w for w in instead(programme, picks, i, t) if w.treatment == NONE and programme.choices[i].allowed[w.schedule]), None)
            if bare is not None and -bare.saved < TRIFLE and programme.sound([*picks[:i], bare.schedule, *picks[i + 1 :]]):
                picks[i] = bare.schedule
    aim = programme.aim(picks)
    return replace(chosen, picks=tuple(picks), loss=programme.loss(picks), aim=aim, gap=gap_of(aim, chosen.floor))


def _other(programme: Programme, picks: Sequence[int]) -> Other:
    return Other(tuple(int(s) for s in picks), programme.loss(picks), tuple(float(m) for m in programme.spent(picks)[0]))


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

    return {name: _other(easy, way(easy, start, worst, holds)) for name, way in ((rivals.WORST_FIRST, rivals.worst_first), (rivals.IN_TURN, rivals.in_turn))}


def _under(programme: Programme, factor: float) -> Other | None:
    """The plan made again with so much of the money."""
    try:
        other = replace(programme, means=replace(programme.means, money=np.round(programme.means.money * factor, 2)))
        return _other(other, pruned(other, choose(other)).picks)
    except Infeasible:
        return None


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
