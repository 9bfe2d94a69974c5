"""The best plan: a bound by pricing every schedule, then whole schedules among those that can matter, and the gap between the two."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array, eye_array, hstack, vstack

from pipeline.plan.programme import MONEY_UNIT, Matrix, Programme, assemble, priced

GAP, FIRST, ROUNDS = 1e-3, 8, 4
ALL_AT_ONCE = 3000  # schedules that can still be better: no more than these are searched at once
FREED = 60  # fields freed at once where the whole search was cut short
WORK = 200_000  # columns times nodes that the first search may take, twice that the next: a clock would make the plan depend on the machine
PER_ROUND = 3  # columns a field that one round of pricing brings in
NEARLY = 1e-9


class Infeasible(ValueError):
    """No plan keeps to pins, safety work and budgets at once. money, hours: (T,) the least that is missing; fields: those that
    have no schedule at all, whatever it costs."""

    def __init__(self, money: np.ndarray, hours: np.ndarray, fields: tuple[str, ...] = ()):
        self.money, self.hours, self.fields = money, hours, fields
        super().__init__("no plan keeps to pins, safety work and budgets")


@dataclass(frozen=True)
class Bound:
    """value : no plan has less loss; money, hours : (T,) loss that one unit more of a year's would take off; reduced : per
    field (S,) what choosing a schedule costs over the field's best; used : per field the schedules the LP itself uses."""

    value: float
    money: np.ndarray
    hours: np.ndarray
    reduced: list[np.ndarray]
    used: list[np.ndarray]


@dataclass(frozen=True)
class Chosen:
    """picks : a schedule a field; floor : no plan has less loss, by the LP or, where all that could be better was searched, by that
    search; gap : (loss - floor) / loss, whatever it is."""

    picks: tuple[int, ...]
    loss: float
    bound: Bound
    floor: float
    gap: float


def choose(programme: Programme, gap: float = GAP, work: int = WORK) -> Chosen:
    """The plan with the least loss, to `gap` or as near as the search comes.

    raises : Infeasible
    source : method as restricted master with reduced costs (elementary): an optimum only uses schedules whose reduced cost is
             at most its distance from the bound, so the restriction is exact once all of those are in
    """
    start = feasible(programme)
    found = bound(programme, [np.array([s]) for s in start])
    best, floor, width, close = list(start), found.value, FIRST, 0.9
    for _ in range(ROUNDS):
        within = programme.loss(best) - found.value
        kept = [np.union1d(_lowest(r, width, within), [*u, b]) for r, u, b in zip(found.reduced, found.used, best)]
        picks, below = _whole(programme, assemble(programme, kept), gap * close, work)
        best = _better(programme, best, picks)
        if gap_of(programme.loss(best), floor) > gap and len(best) > FREED:
            best = _freed(programme, found, best, width * 2, gap * close, work)
        able = [np.flatnonzero(r <= programme.loss(best) - found.value + NEARLY) for r in found.reduced]
        if all(np.isin(a, k).all() for a, k in zip(able, kept)):
            floor = min(max(floor, below), programme.loss(best))  # whatever is better lies among what was searched
            if gap_of(programme.loss(best), floor) <= gap:
                break
        elif gap_of(programme.loss(best), floor) <= gap:
            break
        width, work, close = (width * 2 if sum(map(len, able)) > ALL_AT_ONCE else max(map(len, able))), work * 2, 0.5
    return Chosen(tuple(int(s) for s in best), programme.loss(best), found, floor, gap_of(programme.loss(best), floor))


def _better(programme: Programme, best: list[int], picks: list[int] | None) -> list[int]:
    return picks if picks is not None and programme.loss(picks) < programme.loss(best) - NEARLY else best


def _freed(programme: Programme, found: Bound, best: list[int], width: int, gap: float, work: int) -> list[int]:
    """Better picks for the FREED fields whose pick is furthest from the field's best, all others held."""
    away = np.array([r[s] for r, s in zip(found.reduced, best)])
    free = set(np.argsort(-away, kind="stable")[:FREED].tolist())
    within = programme.loss(best) - found.value
    kept = [np.union1d(_lowest(r, width, within), [*u, s]) if i in free else np.array([s]) for i, (r, u, s) in enumerate(zip(found.reduced, found.used, best))]
    return _better(programme, best, _whole(programme, assemble(programme, kept), gap / 2, work)[0])


def gap_of(loss: float, bound: float) -> float:
    """(loss - bound) / loss; 0 where there is no loss."""
    return max(loss - bound, 0.0) / loss if loss > NEARLY else 0.0


def _lowest(reduced: np.ndarray, width: int, within: float) -> np.ndarray:
    """The schedules of lowest reduced cost, none that cannot be in a better plan."""
    order = np.argsort(reduced, kind="stable")[:width]
    return order[reduced[order] <= max(within, 0.0) + NEARLY]


def bound(programme: Programme, start: Sequence[np.ndarray]) -> Bound:
    """The LP over all schedules: schedules are brought in by their reduced cost until none is below zero.

    start : per field schedules that together keep to the budgets
    """
    picked = [np.unique(s) for s in start]
    best = -np.inf
    while True:
        matrix = assemble(programme, picked)
        solved = linprog(matrix.cost, A_ub=matrix.upper, b_ub=matrix.bound, A_eq=matrix.equal, b_eq=np.ones(len(picked)), bounds=(0, 1), method="highs-ds")
        if solved.status != 0:
            raise RuntimeError(f"the bound could not be found: {solved.message}")
        duals = np.maximum(-solved.ineqlin.marginals, 0.0)
        prices = priced(programme, matrix, duals)
        least = np.array([p.min() for p in prices])
        sides = matrix.side_rows.T @ duals
        best = max(best, float(least.sum() - duals @ matrix.bound + np.minimum(sides, 0.0).sum()))
        reduced = [p - m for p, m in zip(prices, least)]
        mine = solved.x[: len(matrix.of)]
        used = [matrix.columns[(matrix.of == i) & (mine > 1e-7)] for i in range(len(picked))]
        in_lp = np.array([p[k].min() for p, k in zip(prices, picked)])
        if solved.fun - best <= 1e-7 * max(abs(solved.fun), 1.0) or np.all(in_lp - least <= 1e-10):
            break
        picked = [k if have - m <= 1e-10 else np.union1d(k, _new(p, k, have)) for p, k, have, m in zip(prices, picked, in_lp, least)]
    T = programme.years
    cum = np.tril(np.ones((T, T))) if programme.means.carry_over else np.eye(T)
    return Bound(best, cum.T @ duals[:T] / MONEY_UNIT, duals[T : 2 * T], reduced, used)


def _new(prices: np.ndarray, have: np.ndarray, level: float) -> np.ndarray:
    order = np.argsort(prices, kind="stable")[: PER_ROUND + len(have)]
    return order[~np.isin(order, have) & (prices[order] < level)][:PER_ROUND]


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
        picks = _picks(matrix, solved.x)
        if programme.within(picks):
            return picks, below
        tight[: 2 * programme.years] -= 1e-4
    return None, below


def _picks(matrix: Matrix, x: np.ndarray) -> list[int]:
    """The schedule each field has in a solution."""
    return [int(matrix.columns[at[np.argmax(x[at])]]) for at in (np.flatnonzero(matrix.of == i) for i in range(matrix.equal.shape[0]))]


def feasible(programme: Programme) -> list[int]:
    """A schedule a field that keeps to everything. raises: Infeasible, with the least money and hours that are missing."""
    shut = tuple(c.field_id for c in programme.choices if not (c.allowed & np.isfinite(c.cost).all(axis=1)).any())
    if shut:
        raise Infeasible(np.zeros(programme.years), np.zeros(programme.years), shut)
    free = [np.flatnonzero(c.allowed & (c.cost.sum(axis=1) == 0) & (c.hours.sum(axis=1) == 0)) for c in programme.choices]
    if all(len(f) for f in free):
        return [int(f[np.argmin(c.loss[f])]) for f, c in zip(free, programme.choices)]
    alone = not programme.sharing.lots and not programme.sharing.equity  # nobody's work helps another's to be allowed
    picked = [f[:1] if len(f) and alone else np.flatnonzero(c.allowed) for f, c in zip(free, programme.choices)]
    picks, money, hours = _least(programme, assemble(programme, picked))
    if money.sum() > 0.005 or hours.sum() > 1e-4:
        raise Infeasible(np.round(money, 2), np.round(hours, 2))
    return picks


def _least(programme: Programme, matrix: Matrix) -> tuple[list[int], np.ndarray, np.ndarray]:
    """Schedules that take the least beyond the budgets: first the least hours, then the least money."""
    T, n = programme.years, len(matrix.cost)
    slack = vstack([eye_array(2 * T), csr_array((matrix.upper.shape[0] - 2 * T, 2 * T))])
    upper = hstack([matrix.upper, -slack])
    equal = hstack([matrix.equal, csr_array((matrix.equal.shape[0], 2 * T))])
    rows = [LinearConstraint(upper, -np.inf, matrix.bound), LinearConstraint(equal, 1, 1)]
    whole = np.concatenate([np.ones(n), np.zeros(2 * T)])
    want = lambda part: np.concatenate([np.zeros(n), np.repeat([part == "money", part == "hours"], T).astype(float)])
    limits = Bounds(0, np.concatenate([np.ones(n), np.full(2 * T, np.inf)]))
    first = milp(want("hours"), constraints=rows, integrality=whole, bounds=limits)
    if first.x is None:
        raise Infeasible(np.zeros(T), np.zeros(T), tuple(c.field_id for c in programme.choices))
    top = limits.ub.copy()
    top[n + T :] = first.x[n + T :] + 1e-6
    second = milp(want("money"), constraints=rows, integrality=whole, bounds=Bounds(0, top))
    picks = _picks(matrix, second.x)
    money, hours = programme.spent(picks)
    over = np.maximum(np.cumsum(money) - np.cumsum(programme.means.money), 0.0) if programme.means.carry_over else np.maximum(money - programme.means.money, 0.0)
    return picks, over, np.maximum(hours - programme.means.hours, 0.0)
