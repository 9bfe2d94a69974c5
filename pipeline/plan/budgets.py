"""The plan made again at other budgets: so much per cent of each year's money, the crew's hours as they are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Mapping

import numpy as np

from pipeline.plan.choose import FEW, GAP, Chosen, choose, gap_of
from pipeline.plan.feasible import Infeasible
from pipeline.plan.offer import TRIFLE
from pipeline.plan.programme import Programme
from pipeline.plan.reasons import instead
from pipeline.plan.treatments import NONE

STEPS = (50, 75, 90, 100, 110, 125, 150)  # per cent of each year's money
NEAR = (90, 110)  # held against the plan itself, choice by choice: solved as near as the plan
COARSE = 5e-3  # gap of the others where fields are many: a point of a curve, not a plan to sign
FINE = 1e-5  # gap where two whole plans are held against each other: at 1e-3 each they would differ by that alone
SOLVED = 1e-2  # a step whose gap is no more than this counts as solved (ours)


@dataclass(frozen=True)
class Other:
    """Another way, or other means: its picks, loss, and money spent a year.

    gap : (aim - floor) / aim, whatever it is; NaN where nothing says how far from the best it is
    """

    picks: tuple[int, ...]
    loss: float
    spent: tuple[float, ...]
    gap: float = float("nan")


def other(programme: Programme, picks, gap: float = float("nan")) -> Other:
    return Other(tuple(int(s) for s in picks), programme.loss(picks), tuple(float(m) for m in programme.spent(picks)[0]), gap)


def with_money(programme: Programme, pct: int) -> Programme:
    """The programme with so much per cent of each year's money, to the cent."""
    return replace(programme, means=replace(programme.means, money=np.round(programme.means.money * pct / 100, 2)))


def at_budgets(programme: Programme, planned: Chosen, steps: tuple[int, ...] = STEPS) -> Mapping[int, Other | None]:
    """Per cent -> the plan at so much money; None where no plan keeps to pins and safety work. 100 is the plan itself, `planned`.

    What is bought with less can be bought with more: where the search at a higher step ended worse than a lower step's plan, that plan
    stands there too, so that no step asks for money to do harm. Deterministic: bounded by nodes, not by a clock.
    """
    few, out, below = len(programme.choices) <= FEW, {}, None
    for pct in steps:
        means = with_money(programme, pct)
        if pct == 100:
            found = planned
        else:
            try:
                found = pruned(means, choose(means, FINE if few else GAP if pct in NEAR else COARSE))
            except Infeasible:
                out[pct] = None
                continue
        picks = found.picks
        if below is not None and pct != 100 and means.aim(below) < found.aim and means.sound(below):
            picks = below
        out[pct] = other(means, picks, gap_of(means.aim(picks), found.floor))
        below = picks
    return out


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
