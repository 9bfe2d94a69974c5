"""The choice: the hand case, enumeration, budgets and pins that are never broken, what an empty purse is told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.small_plan import hand_case, least_missing, masked, random_plan, tried_out

from scipy.optimize import linprog

from pipeline.plan.board import pruned
from pipeline.plan.bound import bound
from pipeline.plan.choose import choose
from pipeline.plan.exchange import exchanged
from pipeline.plan.feasible import Infeasible, feasible
from pipeline.plan.matrix import assemble
from pipeline.plan.offer import Wanted, obeyed
from pipeline.plan.programme import Sharing
from pipeline.plan.treatments import LASER_GRADE, LIP_CUT, REBUILD, TREATMENTS


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("money", "loss"), [((4, 4), 12), ((5, 4), 12), ((6, 4), 10), ((4, 6), 11), ((8, 4), 10), ((0, 0), 24)]
)
def test_the_hand_case_and_its_variants(money, loss):
    found = choose(hand_case(*money))
    assert found.loss == pytest.approx(loss, abs=1e-9) and found.gap <= 1e-3


@pytest.mark.analytic
def test_the_hand_case_takes_a_then_b_and_its_duals_are_one_and_a_half():
    found = choose(hand_case(4, 4))
    assert found.picks == (1, 2, 0)
    assert found.bound.value == pytest.approx(12) and found.bound.money == pytest.approx([1.0, 0.5])
    assert choose(hand_case(5, 4)).bound.value == pytest.approx(11)  # the LP lies below; the gap is told from what was searched


@pytest.mark.independent  # of plain enumeration, 125 schedules a field
@pytest.mark.parametrize("seed", range(6))
def test_three_fields_over_three_years_as_by_trying_all_of_them(seed):
    programme = random_plan(seed)
    found, best = choose(programme), tried_out(programme)
    assert programme.within(found.picks)
    assert best - 1e-9 <= found.loss <= best / (1 - 1e-3) + 1e-9
    assert found.bound.value <= best + 1e-7 and found.floor <= best + 1e-7


@pytest.mark.independent
@pytest.mark.parametrize("seed", range(6))
def test_shared_comings_least_orders_and_even_shares_as_by_trying_all_of_them(seed):
    programme = random_plan(seed, sharing=True)
    found, best = choose(programme), tried_out(programme)
    assert programme.within(found.picks)
    assert best - 1e-9 <= found.loss <= best / (1 - 1e-3) + 1e-9
    assert found.bound.value <= best + 1e-6 and found.floor <= best + 1e-6


@pytest.mark.independent
def test_pricing_all_schedules_gives_the_bound_of_the_whole_programme():
    for seed in range(3):
        programme = random_plan(seed, sharing=True)
        matrix = assemble(programme, [np.arange(len(c.loss)) for c in programme.choices])
        whole = linprog(matrix.cost, A_ub=matrix.upper, b_ub=matrix.bound, A_eq=matrix.equal, b_eq=np.ones(3), bounds=(0, 1), method="highs-ipm").fun
        assert bound(programme, [np.array([0])] * 3).value == pytest.approx(whole, abs=1e-6)


@pytest.mark.invariant
@given(st.integers(0, 10_000), st.floats(1.0, 2.0))
@settings(max_examples=15, deadline=None)
def test_more_money_never_leaves_more(seed, factor):
    programme = random_plan(seed % 50, fields=2, years=2, sharing=bool(seed % 3))
    richer = replace(programme, means=replace(programme.means, money=programme.means.money * factor))
    assert choose(richer, gap=1e-9).loss <= choose(programme, gap=1e-9).loss + 1e-7


@pytest.mark.invariant
@given(st.integers(0, 10_000), st.sampled_from([LIP_CUT, LASER_GRADE, REBUILD]), st.integers(0, 2), st.booleans())
@settings(max_examples=25, deadline=None)
def test_pins_and_budgets_are_never_broken(seed, treatment, year, later):
    programme = random_plan(seed % 200)
    pin = Wanted("f1", treatment, None if later else 2026 + year, 2026 + year if later else None)
    choices = tuple(replace(c, allowed=obeyed((pin,), c.field_id, c.words, 2026)) for c in programme.choices)
    pinned = replace(programme, choices=choices)
    try:
        found = choose(pinned)
    except Infeasible as none:
        assert none.money.sum() > 0 or none.hours.sum() > 0
        assert tried_out(pinned) == float("inf")
        return
    done = TREATMENTS.index(treatment)
    mine = pinned.choices[1].words[found.picks[1]]
    assert (done not in mine[:year]) if later else mine[year] == done
    assert pinned.within(found.picks)


@pytest.mark.analytic
def test_an_empty_purse_is_told_the_least_that_would_do():
    programme = hand_case(3, 0)
    must = replace(programme, choices=tuple(replace(c, allowed=np.array([False, True, False])) if c.field_id == "a" else c for c in programme.choices))
    with pytest.raises(Infeasible) as caught:
        choose(must)
    assert caught.value.money == pytest.approx([1.0, 0.0]) and not caught.value.fields
    shut = replace(must, choices=tuple(replace(c, allowed=np.zeros(3, bool)) if c.field_id == "b" else c for c in must.choices))
    with pytest.raises(Infeasible) as caught:
        choose(shut)
    assert caught.value.fields == ("b",)


@pytest.mark.independent  # of plain enumeration
@pytest.mark.parametrize("seed", range(40))
def test_must_dos_pins_levelling_and_every_rule_as_by_trying_all_of_them(seed):
    rng = np.random.default_rng([11, seed])
    small = random_plan(seed, fields=3, years=2, sharing=bool(seed % 3), level=True)
    programme = masked(replace(small, means=replace(small.means, carry_over=bool(rng.integers(2))), worth=[0.0, 0.2][seed % 2]), rng)
    best = tried_out(programme)
    try:
        found = choose(programme)
    except Infeasible as none:
        assert best == float("inf")
        hours, money = least_missing(programme)
        assert none.hours.sum() == pytest.approx(hours, abs=0.02) and none.money.sum() == pytest.approx(money, abs=0.02 if hours < 1e-6 else 1.0)
        enough = replace(programme, means=replace(programme.means, money=programme.means.money + none.money, hours=programme.means.hours + none.hours + 0.01))
        assert enough.sound(choose(enough).picks)  # what is said to be missing does
        return
    assert programme.sound(found.picks) and found.aim == pytest.approx(programme.aim(found.picks))
    assert best - 1e-9 <= found.aim <= best / (1 - 1e-3) + 1e-9 and found.floor <= best + 1e-6 and found.gap <= 1e-3
    assert programme.sound(pruned(programme, found).picks)


@pytest.mark.analytic
def test_a_trifle_stays_where_a_least_order_hangs_on_it():
    programme = hand_case(100, 100)
    trifle = replace(programme, choices=tuple(replace(c, loss=np.array([1.0, 0.999, 1.0]) if c.field_id == "c" else c.loss) for c in programme.choices), sharing=Sharing({}, {REBUILD: np.full(2, 10.0)}))
    found = choose(trifle, gap=1e-9)
    assert found.picks == (1, 1, 1) and pruned(trifle, found).picks == (1, 1, 1)  # 4 + 4 + 2: without C the order is under 10


@pytest.mark.analytic
def test_rules_that_no_money_keeps_are_named():
    alone = replace(hand_case(100, 100), sharing=Sharing({}, {REBUILD: np.full(2, 50.0)}))
    must = replace(alone, choices=tuple(replace(c, allowed=np.array([False, True, False])) for c in alone.choices))
    with pytest.raises(Infeasible) as caught:
        choose(must)
    assert caught.value.rules == ("minimum_lot",) and not caught.value.fields


@pytest.mark.analytic
def test_money_that_must_be_worth_something_is_left_where_it_is_not():
    worth = replace(hand_case(100, 100), worth=1500.0)  # a point and a half for each unit of money
    assert choose(worth).picks == (1, 0, 0)  # A takes off 8 for 4; B 5 for 4; C 2 for 2
    assert choose(replace(worth, worth=0.0)).picks == (1, 1, 1)


@pytest.mark.invariant
def test_the_same_plan_twice():
    first, second = choose(random_plan(4, sharing=True)), choose(random_plan(4, sharing=True))
    assert first.picks == second.picks and first.loss == second.loss and first.floor == second.floor


@pytest.mark.invariant
@pytest.mark.parametrize("seed", range(4))
def test_an_exchange_keeps_every_rule_and_is_never_worse(seed):
    programme = random_plan(seed, fields=4, years=2, sharing=bool(seed % 2))
    start = feasible(programme)
    reduced = bound(programme, [np.array([s]) for s in start]).reduced
    better = exchanged(programme, reduced, start, 0.0)
    assert programme.sound(better) and programme.aim(better) <= programme.aim(start)
    assert seed % 2 or programme.aim(better) < programme.aim(start)  # from nothing done, even shares are reached by no exchange of two
    again = exchanged(programme, reduced, better, 0.0)
    assert again == better  # nothing is left to exchange
    for i, c in enumerate(programme.choices):  # nor to change on a single field
        for s in np.flatnonzero(np.isfinite(reduced[i])):
            other = [*better[:i], int(s), *better[i + 1 :]]
            assert not programme.sound(other) or programme.aim(other) >= programme.aim(better) - 1e-5 or s not in np.argsort(reduced[i], kind="stable")[:24]


@pytest.mark.invariant
def test_of_many_fields_the_plan_keeps_its_means_and_is_near_its_bound():
    many = random_plan(5, fields=70, years=2)
    many = replace(many, means=replace(many.means, money=many.means.money * 12, hours=many.means.hours * 12))
    found = choose(many)
    assert many.sound(found.picks) and found.gap <= 2e-3 and choose(many).picks == found.picks
