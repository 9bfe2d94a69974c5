"""The plan at other budgets against enumeration: each step the best there is, more money never worse, too little said as such."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.plan.budgets import at_budgets, pruned, with_money
from pipeline.plan.choose import choose
from support.small_plan import hand_case, random_plan, tried_out


@pytest.mark.independent
@pytest.mark.parametrize("seed", range(4))
def test_each_step_is_the_best_of_every_combination_and_more_money_is_never_worse(seed):
    programme = random_plan(seed, sharing=seed % 2 == 1)
    made = at_budgets(programme, pruned(programme, choose(programme, 1e-5)))
    aims = []
    for pct, step in made.items():
        given = with_money(programme, pct)
        assert given.sound(step.picks) and step.loss == pytest.approx(given.loss(step.picks)) and np.allclose(given.means.hours, programme.means.hours)
        assert given.aim(step.picks) <= tried_out(given) * (1 + 1e-3) + 0.05  # lines of next to nothing are taken out: some trifles at most
        aims.append(given.aim(step.picks))
    assert all(later <= earlier + 0.05 for earlier, later in zip(aims, aims[1:])) and made[100].picks == pruned(programme, choose(programme, 1e-5)).picks


@pytest.mark.analytic
def test_where_what_must_be_done_costs_more_than_a_step_has_there_is_no_plan():
    """Field a must be rebuilt in the first year for 4; the first year has 6: half of it is too little, three quarters are enough."""
    programme = hand_case(6.0, 6.0)
    first = programme.choices[0]
    programme = replace(programme, choices=(replace(first, allowed=np.array([False, True, False])), *programme.choices[1:]))
    made = at_budgets(programme, choose(programme, 1e-5))
    assert made[50] is None and all(made[pct] is not None for pct in (75, 90, 100, 110, 125, 150))
