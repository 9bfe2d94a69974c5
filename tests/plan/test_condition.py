"""Condition: expected excess, growth shrunk, schedules, what they reset and cost."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from pipeline.plan.condition import Component, State, aged, excess, shrunk
from pipeline.plan.level_rate import ASSUMED, Visit, levelling
from pipeline.plan.offer import spaced
from pipeline.plan.schedules import Levelling, Price, course, forced, losses, means, remedied, table
from pipeline.plan.treatments import LASER_GRADE, LEVEL, LIP, LIP_CUT, MIX, MIX_ADD, NONE, PLANARITY, REBUILD, RING, TREATMENTS

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
    mean, sd = shrunk([5.0] * 40 + [np.nan], [2.0] * 40 + [np.nan])
    assert mean == pytest.approx([5.0] * 41)
    b = 37 / 39
    assert sd[:-1] == pytest.approx([(4 * (1 - b) + b * b * 4 / 40) ** 0.5] * 40)  # nothing between places: nearly the mean's own
    assert sd[-1] == pytest.approx((4 / 40 + 78**0.5 / (10 - 0.25)) ** 0.5)
    assert shrunk([2.0, 8.0, 5.0], [1.0, 1.0, 1.0])[0] == pytest.approx([2.0, 8.0, 5.0])  # three tell nothing of how places differ
    assert np.isnan(shrunk([np.nan], [np.nan])[0]).all()


@pytest.mark.analytic
def test_a_rate_goes_to_the_mean_by_how_little_it_says_and_never_below_zero():
    (a, b, *_, c), _ = shrunk([2.0, 20.0, 8.0, 14.0, -5.0], [0.1, 0.1, 0.1, 0.1, 50.0])
    assert a == pytest.approx(2.0, abs=0.05) and b == pytest.approx(20.0, abs=0.05) and 0 < c < 11
    assert shrunk([-5.0, -5.0], [1.0, 1.0])[0] == pytest.approx([0.0, 0.0])


@pytest.mark.analytic
def test_the_number_of_schedules():
    assert len(table(5, tuple(w for w in TREATMENTS if w != LEVEL))) == 453  # counted by hand rules in the method's notes
    words = table(4)
    sound = []
    for row in product(TREATMENTS, repeat=4):  # the rules, said again over all 1,296
        pairs = list(zip(row, row[1:]))
        few = sum(w not in (NONE, LEVEL) for w in row) <= 3 and row.count(REBUILD) <= 1
        if few and all(not (a == b and a not in (NONE, LEVEL)) and not (a == REBUILD and b != NONE) for a, b in pairs):
            sound.append(tuple(AT[w] for w in row))
    assert not words[0].any() and sorted(tuple(int(w) for w in r) for r in words) == sorted(sound)
    assert (AT[LEVEL],) * 4 in sound  # yearly work


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


@pytest.mark.analytic
def test_a_place_that_wears_like_no_other_is_not_talked_down():
    rates, sigmas = [0.0] * 30 + [40.0], [4.0] * 30 + [3.0]
    mean, sd = shrunk(rates, sigmas)
    assert mean[-1] == pytest.approx(37.0) and sd[-1] == pytest.approx(3.0)  # by its own s.d. and no more
    assert (mean[:-1] < 4.0).all()


@pytest.mark.independent  # of a simulation with known rates
@pytest.mark.parametrize("between", [0.5, 4.0])
def test_rates_drawn_to_their_mean_are_nearer_and_no_less_covered_than_as_measured(between):
    rng = np.random.default_rng([3, int(between * 10)])
    near, raw, held, bare, wide, unseen = [], [], [], [], [], []
    for _ in range(150):
        true = np.maximum(rng.normal(6.0, between, 20), 0.0)
        s = rng.uniform(2.0, 8.0, 20)
        seen = rng.normal(true, s)
        mean, sd = shrunk([*seen, np.nan], [*s, np.nan])
        unseen.append(abs(mean[-1] - max(rng.normal(6.0, between), 0.0)) <= 1.96 * sd[-1])
        mean, sd = mean[:-1], sd[:-1]
        near.append(((mean - true) ** 2).mean()), raw.append(((np.maximum(seen, 0.0) - true) ** 2).mean())
        held.append((np.abs(mean - true) <= 1.96 * sd).mean()), bare.append((np.abs(seen - true) <= 1.96 * s).mean())
        wide.append((sd / s).mean())
    assert np.mean(near) < 0.75 * np.mean(raw) and np.mean(wide) < 0.9
    assert np.mean(unseen) >= 0.92  # of 150
    assert 0.93 <= np.mean(held) <= 0.995 and np.mean(held) >= np.mean(bare) - 0.01


@pytest.mark.independent  # of a simulation of the same field
def test_level_and_spread_by_year_are_those_of_a_simulated_field():
    part = Component(30.0, 4.0, 6.0, 2.0, 20.0, 20.0)
    state = State("f", 1.0, 0.5, {RING: part})
    words = np.array([[0, AT[LEVEL], AT[LASER_GRADE], AT[LEVEL]]], np.int8)
    found = course(state, words, Levelling(0.02, 0.0, False), 20.0)
    rng = np.random.default_rng(5)
    rate, share = rng.normal(6.0, 2.0, 200_000), np.exp(-0.02 * 20.0)
    x, want = rng.normal(30.0, 4.0, len(rate)) + 0.5 * rate, []
    for word in words[0]:
        x = share * x if word == AT[LEVEL] else rng.normal(*state.left[RING], len(rate)) if word == AT[LASER_GRADE] else x
        x = x + rate
        want.append((x.mean(), x.std()))
    assert found.level[0, :, 0] == pytest.approx([m for m, _ in want], abs=0.05) and found.sigma[0, :, 0] == pytest.approx([s for _, s in want], rel=0.01)


@pytest.mark.analytic
def test_an_old_survey_is_less_well_known():
    part = Component(30.0, 4.0, 6.0, 2.0, 20.0, 20.0)
    assert aged(part, 1.5).sigma == 4.0 and aged(part, 3.0).sigma == 8.0 and aged(part, -0.5).sigma == 4.0


@pytest.mark.analytic
def test_years_between_two_treatments_are_kept_and_a_rebuild_counts():
    words = table(4)
    at = lambda done, exempt=(False,) * 4: words[spaced({LASER_GRADE: 3}, done, words, np.array(exempt))]
    laser = lambda rows: [np.flatnonzero(r == AT[LASER_GRADE]).tolist() for r in rows]
    assert {tuple(k) for k in laser(at({}))} == {(), (0,), (1,), (2,), (3,), (0, 3)}
    assert {tuple(k) for k in laser(at({LASER_GRADE: -1}))} == {(), (2,), (3,)} and {tuple(k) for k in laser(at({REBUILD: -1}))} == {(), (2,), (3,)}
    assert not any(r[0] == AT[REBUILD] and AT[LASER_GRADE] in r[:3] for r in at({}))
    assert (1,) in {tuple(k) for k in laser(at({LASER_GRADE: 0}, (False, True, False, False)))}  # pinned


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
    unsure = levelling([Visit(20.0, 1.0, 20.0)] * 5)
    assert unsure.assumed and unsure.share == pytest.approx(ASSUMED, abs=1e-3)  # five records that say nothing
