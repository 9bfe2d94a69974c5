"""What else a board could do, how firm a choice is, and why a line stands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.small_plan import hand_case, random_plan

from pipeline.plan import firmness, rivals
from pipeline.plan.board import board, pruned
from pipeline.plan.choose import choose
from pipeline.plan.condition import Component, State
from pipeline.plan.lines import lines
from pipeline.plan.offer import Field, Terms, Wanted, obeyed
from pipeline.plan.outcome import Promise, in_band, score
from pipeline.plan.programme import Choice, Means, Programme, Sharing
from pipeline.plan.reasons import BOUGHT, FORCED, LATER, NOT_NEEDED, NOT_NOW, RESTS, given_up, instead
from pipeline.plan.schedules import Levelling, Price, table
from pipeline.plan.treatments import LASER_GRADE, LEVEL, LIP, LIP_CUT, NONE, REBUILD, RING, TREATMENTS


def worst(scores):
    return lambda i, s, t: [(LIP, scores[i])]


def holds(i, s, t, name):
    return -1.0  # every remedy holds


@pytest.mark.analytic
def test_worst_first_takes_the_worst_that_the_purse_reaches():
    programme = hand_case(4, 4)
    assert rivals.worst_first(programme, [0, 0, 0], worst([1.0, 2.0, 3.0]), holds) == [0, 2, 1]  # C, then no money for B; B in year 2
    assert rivals.worst_first(hand_case(0, 0), [0, 0, 0], worst([1.0, 2.0, 3.0]), holds) == [0, 0, 0]
    assert rivals.worst_first(programme, [0, 0, 0], worst([0.0, 0.0, 0.0]), holds) == [0, 0, 0]


@pytest.mark.analytic
def test_every_field_in_turn_goes_on_where_it_stopped():
    assert rivals.in_turn(hand_case(4, 4), [0, 0, 0], worst([1.0, 2.0, 3.0]), holds) == [1, 2, 0]  # A, then B
    assert rivals.in_turn(hand_case(6, 4), [0, 0, 0], worst([1.0, 2.0, 3.0]), holds) == [1, 2, 1]  # B is passed over in year 1


@pytest.mark.analytic
def test_no_field_comes_twice_before_each_has_come():
    """One a year, three years: A, then B, then C; the worst first would go on with C as long as it is the worst."""
    words = np.array([w for w in np.ndindex(2, 2, 2)], np.int8) * TREATMENTS.index(LIP_CUT)
    choice = lambda f: Choice(f, "s", np.zeros(8), (words > 0) * 1.0, np.zeros((8, 3)), words, np.ones(8, bool))
    programme = Programme(tuple(map(choice, "abc")), Means(np.ones(3), np.zeros(3)))
    at = lambda picks: [words[s].nonzero()[0].tolist() for s in picks]
    assert at(rivals.in_turn(programme, [0, 0, 0], worst([1.0, 1.0, 9.0]), holds)) == [[0], [1], [2]]
    assert at(rivals.worst_first(programme, [0, 0, 0], worst([1.0, 1.0, 9.0]), holds)) == [[], [], [0, 1, 2]]


@pytest.mark.analytic
def test_a_remedy_that_does_not_bring_it_back_gives_way_to_one_that_does():
    words = np.array([[0], [TREATMENTS.index(LEVEL)], [TREATMENTS.index(LASER_GRADE)]], np.int8)
    choice = Choice("a", "s", np.zeros(3), np.array([[0.0], [0.0], [5.0]]), np.zeros((3, 1)), words, np.ones(3, bool))
    over = lambda i, s, t, name: {1: 4.0, 2: -3.0}[s]
    ring = lambda i, s, t: [(RING, 2.0)]
    of = lambda money: rivals.worst_first(Programme((choice,), Means(np.array([money]), np.zeros(1))), [0], ring, over)
    assert of(5.0) == [2] and of(4.0) == [1]


@pytest.mark.invariant
@pytest.mark.parametrize("seed", range(8))
def test_no_rival_breaks_a_budget_or_beats_the_plan(seed):
    programme = random_plan(seed)
    best = choose(programme, gap=1e-9).loss
    start = rivals.least_asked(programme)
    for way in (rivals.worst_first, rivals.in_turn):
        picks = way(programme, start, worst([1.0, 2.0, 3.0]), holds)
        assert programme.within(picks) and programme.loss(picks) >= best - 1e-7


LEVELLING = Levelling(0.02, 0.01, True)


def fields() -> list[Field]:
    """Three fields with a lip: none to speak of, over tolerance, over the trip limit."""
    parts = {"heron": 4.0, "kettle": 33.0, "moth": 70.0}
    states = [State(f, 1.0, 0.2, {LIP: Component(v, 3.0, 2.0, 0.5, 25.0, 25.0, 50.0, "outer")}) for f, v in parts.items()]
    return [Field(s, "otterlamp", {LIP_CUT: Price(1000.0, 5.0), REBUILD: Price(30000.0)}) for s in states]


def asked(money: float = 1500.0, **more) -> Terms:
    return Terms(2026, Means(np.full(3, money), np.full(3, 20.0)), Sharing({REBUILD: np.full(3, 1500.0)}), (), LEVELLING, **more)


@pytest.mark.analytic
def test_a_board_of_three_fields_reads_as_it_should():
    made = board(fields(), asked(), 30)
    found = {(r["field_id"], r["year"]): (r, why) for r, why in lines(made)}
    assert found["moth", 2026][1].code == FORCED and found["moth", 2026][0]["treatment"] == LIP_CUT and found["moth", 2026][0]["firmness"] == "firm"
    assert found["kettle", 2026][1].code == LATER and found["kettle", 2027][1].code == BOUGHT  # the purse holds one a year
    assert found["moth", 2027][1].code == RESTS and found["heron", 2026][1].code == NOT_NEEDED
    row, why = found["kettle", 2027]
    assert row["loss_without"] - row["loss"] == pytest.approx(why.saved) and why.per_1000 == pytest.approx(why.saved)  # it costs 1,000
    assert row["promised_low95_mm"] < row["promised_mm"] < row["promised_high95_mm"]
    assert made.others["worst_first"].loss >= made.chosen.floor - 1e-9 and made.tenth["more"].loss <= made.chosen.loss + 0.01
    assert made.untreated > made.chosen.loss and made.chosen.gap <= 1e-3
    assert made.drops[0] > 0.05 and made.drops[2] == 0  # money in year 1 would bring Kettle forward


@pytest.mark.analytic
def test_a_pin_that_hurts_has_a_price_and_a_purse_too_small_leaves_a_field_waiting():
    made = board(fields(), replace(asked(), pins=(Wanted("kettle", LIP_CUT, 2028, None),)), 10)
    ((pin, price),) = made.pins
    assert pin.field_id == "kettle" and price > 0.1
    poor = board(fields(), replace(asked(), means=Means(np.array([1000.0, 0.0, 0.0]), np.full(3, 20.0))), 10)
    codes = {(r["field_id"], r["year"]): why.code for r, why in lines(poor)}
    assert codes["kettle", 2026] == NOT_NOW


@pytest.mark.invariant
def test_shares_are_shares_and_a_certain_state_is_kept_by_every_draw():
    sure = [replace(f, state=replace(f.state, components={n: replace(c, sigma=1e-9, rate_sigma=1e-9) for n, c in f.state.components.items()})) for f in fields()]
    made = board(sure, replace(asked(), cost_sd=0.0), 5)
    assert made.share == pytest.approx(np.ones((3, 3)))
    loose = board(fields(), asked(), 20).share
    assert ((loose >= 0) & (loose <= 1)).all()
    assert [firmness.word(s) for s in (0.8, 0.79, 0.5, 0.49)] == ["firm", "likely", "likely", "survey_first"]


@pytest.mark.analytic
def test_next_to_nothing_is_not_planned():
    programme = hand_case(100, 100)
    trifle = replace(programme, choices=tuple(replace(c, loss=np.array([1.0, 0.999, 0.9995])) for c in programme.choices))
    assert pruned(trifle, choose(trifle)).picks == (0, 0, 0)


@pytest.mark.analytic
def test_what_is_given_up_is_the_best_of_the_other_fields():
    programme = hand_case(4, 4)
    assert given_up(programme, (1, 2, 0), 0, 0) == ("c", REBUILD, pytest.approx(1000 * 2 / 2))
    assert {(w.treatment, w.saved) for w in instead(programme, (1, 2, 0), 0, 0)} == {(NONE, -8.0)}


@pytest.mark.analytic
def test_pins_leave_what_they_say():
    words = table(2)
    at = lambda *pins: words[obeyed(pins, "moth", words, 2026)]
    cut = TREATMENTS.index(LIP_CUT)
    assert (at(Wanted("moth", LIP_CUT, 2027, None))[:, 1] == cut).all()
    assert (at(Wanted("moth", None, 2026, None))[:, 0] != 0).all()
    assert not (at(Wanted("moth", LIP_CUT, None, 2027))[:, 0] == cut).any()
    assert (at(Wanted("moth", LIP_CUT, None, None)) == cut).any(axis=1).all()
    assert (at(Wanted("moth", NONE, 2026, None))[:, 0] == 0).all()
    assert len(at(Wanted("heron", LIP_CUT, 2027, None))) == len(words)


@pytest.mark.analytic
def test_a_promise_is_kept_within_both_bands():
    promise = Promise(2026, "moth", LIP_CUT, 5.0, 5 - 1.959964 * 3, 5 + 1.959964 * 3, 100.0)
    assert in_band(promise, 5 + 1.95 * 5, 4.0) is True and in_band(promise, 5 + 1.97 * 5, 4.0) is False and in_band(promise, None, None) is None
    assert score([True, True, True, True, False, None]).trusted is True and score([True, False]).trusted is False and score([None]).share is None
