"""A plan that keeps to everything, or the least that is missing for one."""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import block_diag, csr_array, hstack, vstack

from pipeline.plan.matrix import Matrix, assemble
from pipeline.plan.programme import Programme


class Infeasible(ValueError):
    """No plan keeps to pins, safety work and budgets at once. money, hours: (T,) the least that is missing; fields: those that
    have no schedule at all, whatever it costs; rules: `minimum_lot`, `equity`, each of which no money would let keep."""

    def __init__(self, money: np.ndarray, hours: np.ndarray, fields: tuple[str, ...] = (), rules: tuple[str, ...] = ()):
        self.money, self.hours, self.fields, self.rules = money, hours, fields, rules
        super().__init__("no plan keeps to pins, safety work and budgets")


def picks_of(matrix: Matrix, x: np.ndarray) -> list[int]:
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
    if money.sum() > 0.005 or hours.sum() > 1e-5:
        raise Infeasible(np.round(money, 2), np.round(hours, 2))
    return picks


def _least(programme: Programme, matrix: Matrix) -> tuple[list[int], np.ndarray, np.ndarray]:
    """Schedules that take the least beyond the budgets, and that much, (T,) money and hours: first the least hours over all years,
    then the least money. Money that goes on to later years, where the owner lets it, is missing once, in the year it first is."""
    T, n = programme.years, len(matrix.cost)
    flow = np.tril(np.ones((T, T))) if programme.means.carry_over else np.eye(T)
    slack = vstack([block_diag([flow, np.eye(T)]), csr_array((matrix.upper.shape[0] - 2 * T, 2 * T))])
    upper = hstack([matrix.upper, -slack])
    equal = hstack([matrix.equal, csr_array((matrix.equal.shape[0], 2 * T))])
    rows = [LinearConstraint(upper, -np.inf, matrix.bound), LinearConstraint(equal, 1, 1)]
    whole = np.concatenate([np.ones(n), np.zeros(2 * T)])
    want = lambda part: np.concatenate([np.zeros(n), np.repeat([part == "money", part == "hours"], T).astype(float)])
    limits = Bounds(0, np.concatenate([np.ones(n), np.full(2 * T, np.inf)]))
    least = lambda part, limits: milp(want(part), constraints=rows, integrality=whole, bounds=limits, options={"mip_rel_gap": 0.0})
    first = least("hours", limits)
    if first.x is None:  # every field has a schedule and money is no matter here: what is left are the rules over fields
        sharing = programme.sharing
        raise Infeasible(np.zeros(T), np.zeros(T), (), (("minimum_lot",) if sharing.lots else ()) + (("equity",) if sharing.equity else ()))
    held = LinearConstraint(csr_array(want("hours")[None, :]), -np.inf, first.fun + 1e-6)
    rows.append(held)
    second = least("money", limits)
    picks = picks_of(matrix, (first if second.x is None else second).x)
    money, hours = programme.spent(picks)
    over = np.diff(np.maximum.accumulate(np.cumsum(money) - np.cumsum(programme.means.money)).clip(0.0), prepend=0.0) if programme.means.carry_over else np.maximum(money - programme.means.money, 0.0)
    return picks, over, np.maximum(hours - programme.means.hours, 0.0)
