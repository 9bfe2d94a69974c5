"""The programme's rows over some of its schedules, and what every schedule costs at the rows' duals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
from scipy.sparse import coo_array, csr_array

from pipeline.plan.programme import MONEY_UNIT, Programme
from pipeline.plan.treatments import NONE, TREATMENTS


@dataclass(frozen=True)
class Matrix:
    """The programme over some columns: minimise cost v, loss and what money must be worth, upper v <= bound, equal v = 1, 0 <= v <= 1.

    of : (n,) field of each schedule column; columns: its place among the field's; the sides come after them
    couple : (field, treatment's place, year) -> row
    """

    cost: np.ndarray
    upper: csr_array
    bound: np.ndarray
    equal: csr_array
    of: np.ndarray
    columns: np.ndarray
    couple: dict[tuple[int, int, int], int]
    side_rows: csr_array


def assemble(programme: Programme, picked: Sequence[np.ndarray]) -> Matrix:
    """The rows over the schedules `picked` of each field (places in its table)."""
    T, sharing, choices = programme.years, programme.sharing, programme.choices
    cum = np.tril(np.ones((T, T))) if programme.means.carry_over else np.eye(T)
    of = np.concatenate([np.full(len(p), i) for i, p in enumerate(picked)])
    columns = np.concatenate([np.asarray(p, int) for p in picked])
    stack = lambda name: np.concatenate([getattr(c, name)[p] for c, p in zip(choices, picked)])
    cost, hours, words, loss = stack("cost"), stack("hours"), stack("words"), stack("loss")
    n, sides = len(of), programme.sides
    at_side = {key: n + j for j, key in enumerate(sides)}
    rows, cols, vals, bound = [], [], [], []

    def put(row, col, val):
        row, col, val = np.broadcast_arrays(row, col, val)
        keep = val != 0
        rows.append(row[keep].ravel()), cols.append(col[keep].ravel()), vals.append(val[keep].ravel())

    put(np.arange(T)[None, :], np.arange(n)[:, None], cost @ cum.T / MONEY_UNIT)
    put(T + np.arange(T)[None, :], np.arange(n)[:, None], hours)
    bound += [*(cum @ programme.means.money / MONEY_UNIT), *programme.means.hours]
    couple: dict[tuple[int, int, int], int] = {}
    for site, word, t in sides:
        if site and word in sharing.mobilisation:
            put(np.arange(T), at_side[site, word, t], cum[:, t] * sharing.mobilisation[word][t] / MONEY_UNIT)
    for k, word in enumerate(TREATMENTS):
        if word == NONE or not (word in sharing.mobilisation or word in sharing.lots):
            continue
        where, when = np.nonzero(words == k)
        for i, t in sorted(set(zip(of[where].tolist(), when.tolist()))):
            couple[i, k, t] = len(bound)
            put(len(bound), at_side[choices[i].site, word, t], -1.0)
            bound.append(0.0)
        put(np.array([couple[i, k, t] for i, t in zip(of[where].tolist(), when.tolist())], int), where, 1.0)
        if word in sharing.lots:
            for t in range(T):
                order = np.where(words[:, t] == k, cost[:, t], 0.0) / MONEY_UNIT
                put(len(bound), at_side["", word, t], sharing.lots[word][t] / MONEY_UNIT)
                put(len(bound), np.arange(n), -order)
                bound.append(0.0)
                for site in programme.sites:
                    put(len(bound), np.array([at_side[site, word, t], at_side["", word, t]]), np.array([1.0, -1.0]))
                    bound.append(0.0)
    if sharing.equity:
        share = _shares(programme)
        for g, site in enumerate(programme.sites):
            here = np.array([c.site == site for c in choices])[of]
            put(len(bound), np.arange(n), (sharing.equity * share[g] - here) * cost.sum(axis=1) / MONEY_UNIT)
            bound.append(0.0)
    make = lambda r, c, v, shape: csr_array(coo_array((v, (r, c)), shape=shape))
    upper = make(np.concatenate(rows), np.concatenate(cols), np.concatenate(vals), (len(bound), n + len(sides)))
    equal = make(of, np.arange(n), np.ones(n), (len(choices), n + len(sides)))
    comes = np.array([sharing.mobilisation[word][t] if site and word in sharing.mobilisation else 0.0 for site, word, t in sides])
    aim = np.concatenate([loss + programme.worth * cost.sum(axis=1) / MONEY_UNIT, programme.worth * comes / MONEY_UNIT])
    return Matrix(aim, upper, np.array(bound), equal, of, columns, couple, csr_array(upper[:, n:]))


def _shares(programme: Programme) -> list[float]:
    return [sum(c.site == g for c in programme.choices) / len(programme.choices) for g in programme.sites]


def priced(programme: Programme, matrix: Matrix, duals: np.ndarray) -> list[np.ndarray]:
    """Loss of every schedule of every field with what it takes charged at the duals (>= 0, one a row); inf where not allowed."""
    T, sharing = programme.years, programme.sharing
    cum = np.tril(np.ones((T, T))) if programme.means.carry_over else np.eye(T)
    money, hours = cum.T @ duals[:T] / MONEY_UNIT, duals[T : 2 * T]
    lots = {}
    row = 2 * T
    for k, word in enumerate(TREATMENTS):  # rows stand as `assemble` laid them
        if word == NONE or not (word in sharing.mobilisation or word in sharing.lots):
            continue
        row += sum(key[1] == k for key in matrix.couple)
        if word in sharing.lots:
            for t in range(T):
                lots[k, t] = duals[row]
                row += 1 + len(programme.sites)
    fair, share, sites = duals[row:], _shares(programme), programme.sites
    tables = np.zeros((len(programme.choices), T, len(TREATMENTS)))
    for (i, k, t), r in matrix.couple.items():
        tables[i, t, k] = duals[r]
    order = np.zeros((T, len(TREATMENTS)))
    for (k, t), dual in lots.items():
        order[t, k] = dual / MONEY_UNIT
    out = []
    for i, c in enumerate(programme.choices):
        words = c.words.astype(np.intp)
        charge = c.cost @ money + c.hours @ hours
        if matrix.couple:
            charge = charge + sum(tables[i, t, words[:, t]] - order[t, words[:, t]] * c.cost[:, t] for t in range(T))
        if sharing.equity:
            weight = sum(fair[g] * (sharing.equity * share[g] - (c.site == sites[g])) for g in range(len(sites)))
            charge = charge + weight * c.cost.sum(axis=1) / MONEY_UNIT
        out.append(np.where(c.allowed, c.loss + programme.worth * c.cost.sum(axis=1) / MONEY_UNIT + charge, np.inf))
    return out
