"""How firm each choice is: the plan made again with condition, rates and costs drawn from their uncertainty."""

from __future__ import annotations

from dataclasses import replace
from typing import Callable, Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from pipeline.plan.bound import Bound
from pipeline.plan.condition import State
from pipeline.plan.choose import FEW, GAP
from pipeline.plan.matrix import Matrix, assemble
from pipeline.plan.programme import Choice, Programme
from pipeline.plan.treatments import LEVEL, NONE, TREATMENTS

DRAWS, KEPT, NODES = 200, 40, 50
FIRM, LIKELY = 0.8, 0.5
WORDS = ("firm", "likely", "survey_first")

Priced = Callable[[State, dict[str, float], np.ndarray], Choice]  # a drawn state, a factor on each treatment's cost, which schedules


def drawn(state: State, rng: np.random.Generator) -> State:
    """The state as another survey as good as the last might have shown it: levels and rates moved by their s.d., which stay as they are."""
    parts = {n: replace(c, level=rng.normal(c.level, c.sigma), rate=max(rng.normal(c.rate, c.rate_sigma), 0.0)) for n, c in sorted(state.components.items())}
    return replace(state, components=parts)


def shares(programme: Programme, found: Bound, picks: Sequence[int], states: Sequence[State], priced: Priced, cost_sd: float, seed: int, draws: int = DRAWS) -> np.ndarray:
    """(fields, T): the share of draws that give each field in each year what the plan gives it.

    found   : the bound; per field its schedules of lowest reduced cost are looked at, and the plan's own
    cost_sd : one s.d. of the factor on a treatment's cost, alike for all fields
    A draw in which no plan keeps to the budgets keeps no choice.
    """
    rng = np.random.default_rng(seed)
    kept = [np.union1d(_likely(r, c.words), [s]) for r, s, c in zip(found.reduced, picks, programme.choices)]
    kept = [k[np.isfinite(r[k])] for k, r in zip(kept, found.reduced)]
    same = np.zeros((len(picks), programme.years))
    for _ in range(draws):
        factor = {w: max(rng.normal(1.0, cost_sd), 0.1) for w in TREATMENTS}
        choices = tuple(priced(drawn(state, rng), factor, k) for state, k in zip(states, kept))
        all_of = [np.arange(len(k)) for k in kept]
        matrix = assemble(replace(programme, choices=choices), all_of)
        x = _solved(matrix, len(picks) <= FEW)
        if x is None:
            continue
        for i, (c, s, k) in enumerate(zip(programme.choices, picks, kept)):
            mine = x[: len(matrix.of)][matrix.of == i]
            same[i] += ((c.words[k] == c.words[s]) * mine[:, None]).sum(axis=0)
    return np.clip(same / draws, 0.0, 1.0)


def _likely(reduced: np.ndarray, words: np.ndarray) -> np.ndarray:
    """The KEPT schedules of lowest reduced cost, and of the KEPT best that differ in more than the crew's levelling the best each:
    else they would be one and the same contracts levelled in other years."""
    order = np.argsort(reduced, kind="stable")
    bare = np.where(words == TREATMENTS.index(LEVEL), TREATMENTS.index(NONE), words)[order]
    _, first = np.unique(bare, axis=0, return_index=True)
    return np.union1d(order[:KEPT], order[np.sort(first)[:KEPT]])


def _solved(matrix: Matrix, whole: bool) -> np.ndarray | None:
    """The best of a draw: the LP, or of few fields whole schedules, since the LP's parts of schedules are then much of the plan."""
    if whole:
        rows = [LinearConstraint(matrix.upper, -np.inf, matrix.bound), LinearConstraint(matrix.equal, 1, 1)]
        return milp(matrix.cost, constraints=rows, integrality=np.ones(len(matrix.cost)), bounds=Bounds(0, 1), options={"mip_rel_gap": GAP, "node_limit": NODES}).x
    solved = linprog(matrix.cost, A_ub=matrix.upper, b_ub=matrix.bound, A_eq=matrix.equal, b_eq=np.ones(matrix.equal.shape[0]), bounds=(0, 1), method="highs-ds")
    return solved.x if solved.status == 0 else None


def word(share: float) -> str:
    """`firm`, `likely` or `survey_first`."""
    return WORDS[0] if share >= FIRM else WORDS[1] if share >= LIKELY else WORDS[2]
