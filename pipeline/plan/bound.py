"""What no plan can be better than: the LP over all schedules, brought in as they are needed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
from scipy.optimize import linprog

from pipeline.plan.matrix import assemble, priced
from pipeline.plan.programme import MONEY_UNIT, Programme

PER_ROUND = 3  # columns a field that one round of pricing brings in


@dataclass(frozen=True)
class Bound:
    """value : no plan has less loss (with what its money must be worth); money, hours : (T,) loss that one unit more of a year's would take off; reduced : per
    field (S,) what choosing a schedule costs over the field's best; used : per field the schedules the LP itself uses."""

    value: float
    money: np.ndarray
    hours: np.ndarray
    reduced: list[np.ndarray]
    used: list[np.ndarray]


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
        sides = matrix.cost[len(matrix.of) :] + matrix.side_rows.T @ duals
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
