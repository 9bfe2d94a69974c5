"""The best plan: a bound by pricing every schedule, then whole schedules among those that can matter, and the gap between the two."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from pipeline.plan.bound import Bound, bound
from pipeline.plan.exchange import exchanged
from pipeline.plan.feasible import feasible, picks_of
from pipeline.plan.matrix import Matrix, assemble
from pipeline.plan.programme import Programme

GAP, FIRST, NARROW, ROUNDS = 1e-3, 16, 3, 4
ALL_AT_ONCE = 3000  # schedules that can still be better: no more than these are searched at once
MANY = 60  # fields beyond which the whole search is not made again but mended
FREED, FEW_EACH, NODES, TRIES, STILL = 25, 10, 40, 24, 0.02  # fields freed at once, schedules each, nodes, how often, what keeps a field of no distance in the draw
WORK = 200_000  # columns times nodes that the first search may take, twice that the next: a clock would make the plan depend on the machine
WIDER = 10  # a narrow search takes so much less
FEW = 30  # fields up to which what else is asked is answered by whole plans; beyond, by the LP, which two plans near the best would blur
NEARLY = 1e-9


@dataclass(frozen=True)
class Chosen:
    """picks : a schedule a field; aim : its loss and what its money must be worth; floor : no plan has less of that, by the LP or, where all that could be better was searched, by that
    search; gap : (aim - floor) / aim, whatever it is."""

    picks: tuple[int, ...]
    loss: float
    bound: Bound
    floor: float
    gap: float
    aim: float


def choose(programme: Programme, gap: float = GAP, work: int = WORK) -> Chosen:
    """The plan with the least loss, to `gap` or as near as the search comes.

    raises : Infeasible
    source : method as restricted master with reduced costs (elementary): an optimum only uses schedules whose reduced cost is
             at most its distance from the bound, so the restriction is exact once all of those are in
    """
    start = feasible(programme)
    found = bound(programme, [np.array([s]) for s in start])
    many = len(start) > MANY  # then a narrow search, and what it leaves is found by exchanges and by search among a few fields at a time
    best, floor, width, close = list(start), found.value, NARROW if many else FIRST, 0.9
    for _ in range(1 if many else ROUNDS):
        within = programme.aim(best) - found.value
        kept = [np.union1d(_lowest(r, width, within), [*u, b]) for r, u, b in zip(found.reduced, found.used, best)]
        picks, below = _whole(programme, assemble(programme, kept), gap * close, work // WIDER if many else work)
        best = _better(programme, best, picks)
        if many and gap_of(programme.aim(best), floor) > gap:
            best = _mended(programme, found, best, gap)
        able = [np.flatnonzero(r <= programme.aim(best) - found.value + NEARLY) for r in found.reduced]
        if all(np.isin(a, k).all() for a, k in zip(able, kept)):
            floor = min(max(floor, below), programme.aim(best))  # whatever is better lies among what was searched
            if gap_of(programme.aim(best), floor) <= gap:
                break
        elif gap_of(programme.aim(best), floor) <= gap:
            break
        width, work, close = (width * 2 if sum(map(len, able)) > ALL_AT_ONCE else max(map(len, able))), work * 2, 0.5
    return Chosen(tuple(int(s) for s in best), programme.loss(best), found, floor, gap_of(programme.aim(best), floor), programme.aim(best))


def _better(programme: Programme, best: list[int], picks: list[int] | None) -> list[int]:
    return picks if picks is not None and programme.aim(picks) < programme.aim(best) - NEARLY else best


def _mended(programme: Programme, found: Bound, best: list[int], gap: float) -> list[int]:
    """Better picks: exchanges of one and two fields' schedules, then TRIES times the best among FREED fields, all others held. Fields are
    drawn by how far their pick is from the field's best, from a seed: the same ones each time."""
    enough, rng = found.value / (1 - gap), np.random.default_rng(0)
    best = exchanged(programme, found.reduced, best, enough)
    for _ in range(TRIES):
        if programme.aim(best) <= enough:
            break
        away = np.array([r[s] for r, s in zip(found.reduced, best)]) + STILL
        free = set(rng.choice(len(best), min(FREED, len(best)), replace=False, p=away / away.sum()).tolist())
        within = programme.aim(best) - found.value
        kept = [np.union1d(_lowest(r, FEW_EACH, within), [*u, s]) if i in free else np.array([s]) for i, (r, u, s) in enumerate(zip(found.reduced, found.used, best))]
        better = _better(programme, best, _whole(programme, assemble(programme, kept), gap / 10, NODES * sum(map(len, kept)))[0])
        best = exchanged(programme, found.reduced, better, enough) if better is not best else best
    return best


def gap_of(loss: float, bound: float) -> float:
    """(loss - bound) / loss; 0 where there is no loss."""
    return max(loss - bound, 0.0) / loss if loss > NEARLY else 0.0


def _lowest(reduced: np.ndarray, width: int, within: float) -> np.ndarray:
    """The schedules of lowest reduced cost, none that cannot be in a better plan."""
    order = np.argsort(reduced, kind="stable")[:width]
    return order[reduced[order] <= max(within, 0.0) + NEARLY]


def _whole(programme: Programme, matrix: Matrix, gap: float, work: int) -> tuple[list[int] | None, float]:
    """The best whole schedules among a matrix's columns, None where the search found none, and what none of them is below.
    Budgets are looked at again in money, since the solver keeps to a row to a millionth only."""
    tight, below = matrix.bound.copy(), -np.inf
    for _ in range(4):
        solved = milp(matrix.cost, constraints=[LinearConstraint(matrix.upper, -np.inf, tight), LinearConstraint(matrix.equal, 1, 1)], integrality=np.ones(len(matrix.cost)),
                      bounds=Bounds(0, 1), options={"mip_rel_gap": gap, "node_limit": max(work // len(matrix.cost), 1)})  # fmt: skip
        if solved.x is None:
            return None, -np.inf
        below = float(solved.mip_dual_bound) if below == -np.inf else below  # the first, untightened one holds
        picks = picks_of(matrix, solved.x)
        if programme.within(picks):
            return picks, below
        tight[: 2 * programme.years] -= 1e-4
    return None, below
