"""A day around the games: nothing on a field that is played, never two things at once, a game that cannot be had is said."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.plan.day import Laid, plan_day, times
from pipeline.plan.day_asks import CREW_AWAY, GAP_SHORT, NO_ROAD, NO_TIME_STATED, NOT_OPENED, OPEN_UP, Asked, Crew, Game, first_drag, gaps, musts, options
from pipeline.plan.rain import standing_m3
from pipeline.plan.roads import Roads

ROADS = Roads({("yard", "east"): 20, ("yard", "west"): 10, ("east", "west"): 15}, {"yard": 5})
CREW = Crew("yard", 6 * 60, 20 * 60, ROADS, 0, 5)
MINUTES = {"drag": 30, "bases": 15, "open_up": 60}


def at(hour: int, minute: int = 0) -> int:
    return hour * 60 + minute


def asked(games, site="east", minutes=MINUTES, **more):
    return Asked(games[0].field_id, site, tuple(games), minutes, **more)


@pytest.mark.analytic
def test_a_field_with_two_games_on_two_base_sets_by_hand():
    games = [Game("a", at(9), at(10, 30), "s60"), Game("a", at(11, 30), at(13), "s65")]
    laid = plan_day([asked(games, before="s65", wet=True)], CREW)
    said = {(p.task.task, p.task.why, p.starts, p.ends) for p in laid.placed}
    assert not laid.missed and not laid.lost and len(laid.placed) == 6 and laid.placed[0].road == 25 and laid.placed[0].starts == at(6, 25)
    assert {(t, w) for t, w, _, _ in said} == {("open_up", "wet"), ("drag", "before"), ("bases", "swap"), ("drag", "between"), ("drag", "after")}
    assert sorted(p.starts for p in laid.placed if p.task.task != "open_up" and p.task.why in ("between", "swap"))[-2:] in ([at(10, 30), at(10, 45)], [at(10, 30), at(11)])
    assert [p.task.base_set for p in laid.placed if p.task.task == "bases"] == ["s60", "s65"] and max(p.ends for p in laid.placed) == at(13, 30)


@pytest.mark.analytic
def test_a_gap_too_short_for_a_swap_loses_the_game_and_the_set_that_stands_stays():
    games = [Game("a", at(9), at(10), "s60"), Game("a", at(10, 10), at(11), "s65"), Game("a", at(11, 25), at(12), "s60")]
    laid = plan_day([asked(games, before="s60")], CREW)
    assert laid.lost == (games[1],) and {(m.task.task, m.task.base_set, m.why) for m in laid.missed if m.task.game is not None} == {("bases", "s65", GAP_SHORT)}
    assert not [p for p in laid.placed if p.task.task == "bases"]
    assert [g for _, _, g in gaps(games, 5)] == [5, 20] and gaps([games[0], Game("b", at(11), at(12))], 5) == []


@pytest.mark.analytic
def test_sites_are_taken_in_the_order_in_which_all_first_games_can_be_had():
    """The yard's own fields could be dragged at once, but then the two across the road would come too late."""
    yard = [asked([Game(f, at(10), at(11))], "yard", turn=k) for k, f in enumerate("ab")]
    west = [asked([Game(f, at(7, 30), at(9))], "west", turn=2 + k) for k, f in enumerate("cd")]
    laid = plan_day([*yard, *west], CREW)
    assert [p.task.field_id for p in laid.placed[:2]] == ["c", "d"] and not laid.lost
    assert {p.task.field_id for p in laid.placed if p.task.why == "before"} == set("abcd")


@pytest.mark.analytic
def test_a_wet_field_is_loosened_left_to_dry_and_dragged_while_the_crew_is_elsewhere():
    crew = Crew("yard", at(6), at(20), ROADS, 60, 5)
    wet = asked([Game("a", at(9), at(10))], "west", wet=True)
    dry = asked([Game("b", at(9), at(10))], "west", turn=1)
    laid = plan_day([wet, dry], crew)
    assert not laid.missed and [(p.task.field_id, p.task.task) for p in laid.placed[:3]] == [("a", "open_up"), ("b", "drag"), ("a", "drag")]
    opened, _, dragged = laid.placed[:3]
    assert dragged.starts - opened.ends >= 60


@pytest.mark.analytic
def test_a_wet_field_that_comes_too_late_for_its_first_game_is_opened_for_its_second_and_never_loosened_for_nothing():
    games = [Game("a", at(7), at(8)), Game("a", at(10), at(11))]
    laid = plan_day([asked(games, wet=True)], CREW)
    assert laid.lost == (games[0],) and [(p.task.task, p.task.game) for p in laid.placed[:2]] == [("open_up", 1), ("drag", 1)]
    assert {m.why for m in laid.missed if m.task.game == 0} == {GAP_SHORT, CREW_AWAY} or {m.why for m in laid.missed if m.task.game == 0} == {GAP_SHORT}
    slow = plan_day([asked(games[:1], wet=True)], CREW)
    assert not slow.placed and (slow.missed[-1].task.why, slow.missed[-1].why) == ("after", NOT_OPENED)


@pytest.mark.analytic
def test_what_is_closed_comes_after_all_others():
    both = [asked([Game(f, at(8), at(9))], "yard", {"open_up": 80, "drag": 20, "bases": 1}, wet=True, closed=f == "a", turn=f == "b") for f in "ab"]
    laid = plan_day(both, CREW)
    assert [g.field_id for g in laid.lost] == ["a"] and {p.task.field_id for p in laid.placed if p.task.game is not None} == {"b"}


@pytest.mark.analytic
def test_each_reason_for_not_being_done():
    one = lambda field, minutes, site="east", starts=at(8): asked([Game(field, starts, at(9))], site, {**MINUTES, "drag": minutes})
    laid = plan_day([one("a", None), one("b", 5, "north"), one("c", 30, starts=at(6, 50)), one("d", 60, starts=at(6, 30))], CREW)
    assert {m.task.field_id: m.why for m in laid.missed if m.task.why == "before"} == {"a": NO_TIME_STATED, "b": NO_ROAD, "c": CREW_AWAY, "d": GAP_SHORT}
    assert plan_day([], CREW) == Laid((), (), ())


@pytest.mark.analytic
def test_water_is_straight_between_the_rains_told_and_unknown_where_none_is():
    spots = [{"ponded_2mm_m3": 0.1, "ponded_5mm_m3": 0.4, "ponded_m3": 0.5, "ponded_25mm_m3": 0.8}, {"ponded_2mm_m3": None, "ponded_m3": 0.02}]
    assert [standing_m3(spots, mm) for mm in (0, 1, 3.5, 10, 60)] == pytest.approx([0.0, 0.05, 0.25, 0.5, 0.8])
    assert standing_m3(spots[1:], 5) == 0.0 and standing_m3([{"ponded_m3": None}], 5) is None


@st.composite
def days(draw, most_fields=4, most_games=3, early=12):
    """Fields with games that do not overlap, on two base sets, wet or not."""
    out, drag, opening = [], draw(st.integers(5, 60)), draw(st.one_of(st.none(), st.integers(5, 120)))
    for k in range(draw(st.integers(1, most_fields))):
        now, games = at(draw(st.integers(7, early))), []
        for _ in range(draw(st.integers(1, most_games))):
            length = draw(st.integers(30, 150))
            games.append(Game(f"f{k}", now, now + length, draw(st.sampled_from(("", "s60", "s65")))))
            now += length + draw(st.integers(0, 90))
        site = draw(st.sampled_from(("east", "west", "yard", "north")))
        out.append(Asked(f"f{k}", site, tuple(games), {"drag": drag, "bases": 15, "open_up": opening}, "s60", draw(st.booleans()), draw(st.booleans()), k))
    return out


@pytest.mark.invariant
@settings(max_examples=120, deadline=None)
@given(days(), st.integers(0, 15), st.integers(0, 90))
def test_no_task_overlaps_a_game_or_another_task_and_every_game_is_had_or_said_to_be_lost(fields, clear, dry):
    crew = Crew("yard", 6 * 60, 20 * 60, ROADS, dry, clear)
    laid = plan_day(fields, crew)
    games = {f.field_id: f.games for f in fields}
    for p in laid.placed:
        assert p.ends - p.starts == p.task.minutes and p.task.opens <= p.starts and p.ends <= p.task.due and crew.starts <= p.starts and p.ends <= crew.ends
        for game in games[p.task.field_id]:
            assert p.ends <= game.starts - clear or game.ends <= p.starts
        if p.task.opened:
            assert any(q.task.task == OPEN_UP and q.task.field_id == p.task.field_id and q.ends + dry <= p.starts for q in laid.placed)
    for one, two in zip(laid.placed, laid.placed[1:]):
        assert two.starts >= one.ends + ROADS.hours(one.task.site, two.task.site) * 60 - 1e-6
    for f in fields:
        had = tuple(k for k, g in enumerate(f.games) if g not in laid.lost)
        done = [p.task for p in laid.placed if p.task.field_id == f.field_id]
        assert sorted(t.game for t in done if t.game is not None) == sorted(t.game for t in musts(f, had, crew))
        assert len([t for t in done if t.task == OPEN_UP]) == (f.wet and bool(had))  # never loosened without a game that it is for
        for k in {0, 1, 2} & (set(range(len(f.games))) - set(had)):
            assert any(m.task.field_id == f.field_id and m.task.game == k for m in laid.missed)


def fewest_lost(fields, crew) -> int:
    """By every choice of games and every order of what they hang on."""
    best = sum(len(f.games) for f in fields)
    for had in product(*(options(f) for f in fields)):
        tasks = [t for f, h in zip(fields, had) for t in musts(f, h, crew)]
        lost = sum(len(f.games) - len(h) for f, h in zip(fields, had))
        if lost < best and all(t.minutes is not None for t in tasks) and any(times(order, crew) is not None for order in permutations(tasks)):
            best = lost
    return best


@pytest.mark.independent
def test_a_small_day_has_as_many_games_as_the_best_of_all_orders():
    """Every choice of games and every order of up to seven tasks, 30 drawn days of two or three fields."""
    rng, behind = np.random.default_rng(12), 0
    for _ in range(30):
        fields, drag, opening = [], int(rng.integers(5, 60)), int(rng.integers(5, 120))
        for k in range(rng.integers(2, 4)):
            now, games = at(7) + int(rng.integers(0, 120)), []
            for _ in range(rng.integers(1, 3)):
                games.append(Game(f"f{k}", now, now + int(rng.integers(30, 150)), str(rng.choice(["", "s60", "s65"]))))
                now = games[-1].ends + int(rng.integers(0, 90))
            fields.append(Asked(f"f{k}", str(rng.choice(["east", "west", "yard"])), tuple(games), {"drag": drag, "bases": 15, "open_up": opening}, "s60", bool(rng.uniform() < 0.7), False, k))
        crew = Crew("yard", 6 * 60, 20 * 60, ROADS, int(rng.choice([0, 30, 60])), 5)
        behind += len(plan_day(fields, crew).lost) - fewest_lost(fields, crew)
    assert 0 <= behind <= 1


@pytest.mark.invariant
@settings(max_examples=30, deadline=None)
@given(days(3), st.randoms())
def test_the_order_in_which_fields_are_told_does_not_matter(fields, rng):
    mixed = list(fields)
    rng.shuffle(mixed)
    assert plan_day(fields, CREW) == plan_day(mixed, CREW)
    assert all(first_drag(f, (0,), CREW) == () for f in fields if f.wet)
