"""Condition: expected excess, growth shrunk, schedules, what they reset and cost."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from pipeline.plan.condition import Component, State, excess, shrunk
from pipeline.plan.level_rate import ASSUMED, Visit, levelling
from pipeline.plan.schedules import Levelling, Price, course, forced, losses, means, remedied, table
from pipeline.plan.treatments import LEVEL, LIP, LIP_CUT, MIX, MIX_ADD, NONE, PLANARITY, REBUILD, RING, TREATMENTS

FLAT = Levelling(0.02, 0.0, True)
AT = {w: k for k, w in enumerate(TREATMENTS)}


def lip(level=20.0, sigma=4.0, rate=5.0, rate_sigma=1.0, trip=50.0) -> State:
    return State("moth", 1.0, 0.5, {LIP: Component(level, sigma, rate, rate_sigma, 25.0, 25.0, trip, "outer")})


@pytest.mark.independent  # of numerical integration
@pytest.mark.parametrize(("mu", "sd", "limit"), [(20, 4, 25), (30, 4, 25), (25, 0.5, 25), (5, 9, 25), (-10, 8, 0), (60, 3, 25)])
def test_expected_excess_is_the_integral(mu, sd, limit):
    whole = quad(lambda x: (x - limit) * norm.pdf(x, mu, sd), limit, max(limit, mu) + 12 * sd, points=[mu] if mu > limit else None, epsabs=1e-13, epsrel=1e-13, limit=400)[0]
    assert float(excess(mu, sd, limit, 25.0)) == pytest.approx(whole / 25.0, abs=1e-9)


@pytest.mark.analytic
def test_a_certain_excess_is_the_distance():
    assert excess([30.0, 20.0], [0.0, 0.0], 25.0, 25.0) == pytest.approx([0.2, 0.0])


@pytest.mark.analytic
def test_equal_rates_are_pooled_and_a_missing_one_gets_their_mean():
    mean, sd = shrunk([5.0, 5.0, 5.0, np.nan], [1.0, 1.0, 2.0, np.nan])
    assert mean == pytest.approx([5.0] * 4)
    assert sd == pytest.approx([(1 / 2.25) ** 0.5] * 4)  # nothing between fields: the precisions add up
    assert np.isnan(shrunk([np.nan], [np.nan])[0]).all()


@pytest.mark.analytic
def test_a_rate_goes_to_the_mean_by_how_little_it_says_and_never_below_zero():
    (a, b, c), _ = shrunk([2.0, 20.0, -30.0], [0.1, 0.1, 50.0])
    assert a == pytest.approx(2.0, abs=0.05) and b == pytest.approx(20.0, abs=0.05) and c > 0
    assert shrunk([-5.0, -5.0], [1.0, 1.0])[0] == pytest.approx([0.0, 0.0])


@pytest.mark.analytic
def test_the_number_of_schedules():
    assert len(table(5, tuple(w for w in TREATMENTS if w != LEVEL))) == 453  # counted by hand rules in the method's notes
    words = table(4)
    for row in words:
        done = [TREATMENTS[w] for w in row]
        assert sum(w != NONE for w in done) <= 3 and done.count(REBUILD) <= 1
        assert all(not (a == b and a not in (NONE, LEVEL)) and not (a == REBUILD and b != NONE) for a, b in zip(done, done[1:]))
    assert not words[0].any() and len({tuple(r) for r in words}) == len(words)


@pytest.mark.analytic
def test_growth_and_reset_year_by_year():
    found = course(lip(), np.array([[0, 0], [AT[LIP_CUT], 0], [0, AT[LIP_CUT]]], np.int8), FLAT, 10.0)
    assert found.level[:, :, 0] == pytest.approx(np.array([[27.5, 32.5], [8.0, 13.0], [27.5, 8.0]]))
    assert found.sigma[0, :, 0] == pytest.approx([np.hypot(4, 1.5), np.hypot(4, 2.5)])
    assert found.sigma[1, :, 0] == pytest.approx([np.hypot(3, 1), np.hypot(3, 2)])


@pytest.mark.analytic
def test_levelling_takes_its_share_of_hollows_and_unevenness_and_of_nothing_else():
    parts = {LIP: Component(20, 1, 0, 0, 25, 25), PLANARITY: Component(10, 1, 0, 0, 13, 13), RING: Component(30, 1, 0, 0, 20, 20)}
    found = course(State("f", 1, 0, parts), np.array([[AT[LEVEL]]], np.int8), FLAT, 10.0)
    assert found.level[0, 0] == pytest.approx([20.0, 10 * np.exp(-0.2), 30 * np.exp(-0.2)])


@pytest.mark.analytic
def test_cost_rises_holds_contingency_and_mix_follows_what_is_missing():
    state = State("f", 1, 0, {MIX: Component(10.0, 1.0, 5.0, 0.5, 0.0, 75.0)})
    words = np.array([[AT[MIX_ADD], 0], [0, AT[MIX_ADD]], [AT[LIP_CUT], 0]], np.int8)
    prices = {MIX_ADD: Price(100.0, 3.0, 50.0, 0.0, 2.0), LIP_CUT: Price(200.0, 1.0)}
    money, hours, tonnes = means(words, course(state, words, FLAT, 0.0), prices, 0.10, 0.20)
    assert tonnes == pytest.approx(np.array([[2 * 25, 0], [0, 2 * 30], [0, 0]]))  # 15 mm beyond the least; 5 mm more is gone a year later
    assert money == pytest.approx(np.array([[(100 + 2500) * 1.2, 0], [0, (100 + 3000) * 1.2 * 1.1], [240, 0]]))
    assert hours.sum(axis=1) == pytest.approx([3.0, 3.0, 1.0])


@pytest.mark.analytic
def test_a_schedule_with_a_treatment_that_has_no_price_has_no_cost():
    words = np.array([[0], [AT[REBUILD]]], np.int8)
    money, _, _ = means(words, course(lip(), words, FLAT, 0.0), {}, 0.0, 0.0)
    assert money[0, 0] == 0 and np.isnan(money[1, 0])


@pytest.mark.analytic
def test_a_lip_surely_over_the_trip_limit_must_be_mended_in_the_first_year():
    words = table(2)
    must = lip(level=70.0)
    assert forced(must) == (LIP,) and forced(lip()) == () and forced(lip(level=48.0, rate=0.0)) == ()
    ok = remedied(must, words, course(must, words, FLAT, 10.0))
    assert {TREATMENTS[w] for w in words[ok, 0]} == {LIP_CUT, REBUILD}


@pytest.mark.invariant
def test_use_and_discount_weigh_a_year():
    words = np.array([[0, 0]], np.int8)
    one = losses(lip(), course(lip(), words, FLAT, 0.0), 1.0)
    busy = State("moth", 2.0, 0.5, lip().components)
    assert losses(busy, course(busy, words, FLAT, 0.0), 0.9) == pytest.approx(one * 2 * np.array([1, 0.9])[None, :, None])


@pytest.mark.analytic
def test_levelling_is_assumed_until_five_records_speak():
    few = [Visit(20.0, 1.0, 0.2)] * 4
    assert levelling(few).assumed and levelling(few).share == ASSUMED
    told = levelling([Visit(20.0, 1.0, 0.01)] * 5)
    assert not told.assumed and told.share == pytest.approx(0.05, abs=1e-3)
    assert levelling([Visit(20.0, -50.0, 0.01)] * 6).share == 0.0
