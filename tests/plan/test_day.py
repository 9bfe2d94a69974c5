"""A day around the games: nothing on a field that is played, never two things at once, a gap too short says so."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.plan.day import CREW_AWAY, GAP_SHORT, NO_ROAD, NO_TIME_STATED, NOT_OPENED, Crew, Game, Task, field_tasks, gaps, plan_day
from pipeline.plan.rain import standing_m3
from pipeline.plan.roads import Roads

ROADS = Roads({("yard", "east"): 20, ("yard", "west"): 10, ("east", "west"): 15}, {"yard": 5})
CREW = Crew("yard", 6 * 60, 20 * 60, ROADS)
MINUTES = {"drag": 30, "bases": 15, "open_up": 60}


def at(hour: int, minute: int = 0) -> int:
    return hour * 60 + minute


def of_field(games, site="east", before="", wet=False, minutes=MINUTES):
    return field_tasks(games, site, minutes, CREW, 5, before, wet)


@pytest.mark.analytic
def test_a_field_with_two_games_on_two_base_sets_by_hand():
    games = [Game("a", at(9), at(10, 30), "s60"), Game("a", at(11, 30), at(13), "s65")]
    placed, missed = plan_day(of_field(games, before="s65", wet=True), CREW)
    said = {(p.task.task, p.task.why, p.starts, p.ends) for p in placed}
    assert ("bases", "swap", at(10, 30), at(10, 45)) in said and ("drag", "between", at(10, 45), at(11, 15)) in said
    assert not missed and len(placed) == 6 and placed[0].road == 25 and placed[0].starts == at(6, 25)
    assert [p.task.base_set for p in placed if p.task.task == "bases"] == ["s60", "s65"]
    assert max(p.ends for p in placed) == at(13, 30)


@pytest.mark.analytic
def test_a_gap_too_short_says_so_and_the_minutes_of_a_gap_keep_some_free():
    games = [Game("a", at(9), at(10), "s60"), Game("a", at(10, 10), at(11), "s65"), Game("a", at(11, 25), at(12), "s65")]
    _, missed = plan_day(of_field(games), CREW)
    assert {(m.task.task, m.task.opens, m.why) for m in missed} == {("bases", at(10), GAP_SHORT), ("drag", at(10), GAP_SHORT), ("drag", at(11), GAP_SHORT)}
    assert [g for _, _, g in gaps(games, 5)] == [5, 20] and gaps([games[0], Game("b", at(11), at(12))], 5) == []


@pytest.mark.analytic
def test_what_a_game_hangs_on_is_not_put_off_for_what_could_begin_sooner():
    nice = Task("a", "east", "drag", 60, at(6), at(20), False)
    must = Task("b", "west", "drag", 30, at(6, 30), at(7, 40), True)
    placed, missed = plan_day([nice, must], CREW)
    assert [p.task.field_id for p in placed] == ["b", "a"] and not missed


@pytest.mark.analytic
def test_a_wet_field_is_loosened_before_it_is_dragged_and_otherwise_not_dragged_for_its_first_game():
    games = [Game("a", at(9), at(10))]
    placed, _ = plan_day(of_field(games, wet=True), CREW)
    assert [p.task.task for p in placed] == ["open_up", "drag", "drag"]
    placed, missed = plan_day(of_field(games, wet=True, minutes={**MINUTES, "open_up": 170}), CREW)
    assert {(m.task.task, m.why) for m in missed} == {("open_up", GAP_SHORT), ("drag", NOT_OPENED)} or [p.task.why for p in placed] == ["after"]


@pytest.mark.analytic
def test_where_not_all_fields_can_be_opened_the_first_in_turn_is():
    wet = [t for k, f in enumerate("ba") for t in field_tasks([Game(f, at(8), at(9))], "yard", {"open_up": 80, "drag": 20, "bases": 1}, CREW, 5, "", True, k)]
    placed, missed = plan_day(wet, CREW)
    assert [p.task.field_id for p in placed[:2]] == ["b", "b"] and {(m.task.field_id, m.why) for m in missed} == {("a", CREW_AWAY), ("a", NOT_OPENED)}


@pytest.mark.analytic
def test_each_reason_for_not_being_done():
    tasks = [Task("a", "east", "drag", None, at(6), at(20), True), Task("b", "north", "drag", 5, at(6), at(20), True), Task("c", "east", "drag", 30, at(6), at(6, 30), True)]
    assert {m.task.field_id: m.why for m in plan_day(tasks, CREW)[1]} == {"a": NO_TIME_STATED, "b": NO_ROAD, "c": CREW_AWAY}
    assert field_tasks([], "east", MINUTES, CREW, 5, "", False) == []


@pytest.mark.analytic
def test_water_is_straight_between_the_rains_told_and_unknown_where_none_is():
    spots = [{"ponded_2mm_m3": 0.1, "ponded_5mm_m3": 0.4, "ponded_m3": 0.5, "ponded_25mm_m3": 0.8}, {"ponded_2mm_m3": None, "ponded_m3": 0.02}]
    assert [standing_m3(spots, mm) for mm in (0, 1, 3.5, 10, 60)] == pytest.approx([0.0, 0.05, 0.25, 0.5, 0.8])
    assert standing_m3(spots[1:], 5) == 0.0 and standing_m3([{"ponded_m3": None}], 5) is None


@st.composite
def days(draw):
    """Fields with games that do not overlap, on two base sets, wet or not."""
    out = {}
    for k in range(draw(st.integers(1, 5))):
        now, games = at(draw(st.integers(7, 12))), []
        for _ in range(draw(st.integers(1, 4))):
            length = draw(st.integers(30, 150))
            games.append(Game(f"f{k}", now, now + length, draw(st.sampled_from(("", "s60", "s65")))))
            now += length + draw(st.integers(0, 90))
        out[f"f{k}"] = games, draw(st.sampled_from(("east", "west", "yard", "north"))), draw(st.booleans())
    return out


@pytest.mark.invariant
@settings(max_examples=250, deadline=None)
@given(days(), st.integers(1, 90), st.integers(0, 15), st.one_of(st.none(), st.integers(5, 150)))
def test_no_task_overlaps_a_game_or_another_task_and_none_is_lost(fields, drag, clear, opening):
    minutes = {"drag": drag, "bases": 15, "open_up": opening}
    tasks = [t for games, site, wet in fields.values() for t in field_tasks(games, site, minutes, CREW, clear, "s60", wet)]
    placed, missed = plan_day(tasks, CREW)
    assert sorted(map(id, dict.fromkeys(tasks))) == sorted([id(p.task) for p in placed] + [id(m.task) for m in missed])
    for p in placed:
        assert p.ends - p.starts == p.task.minutes and p.task.opens <= p.starts and p.ends <= p.task.due and CREW.starts <= p.starts and p.ends <= CREW.ends
        for game in fields[p.task.field_id][0]:
            assert p.ends <= game.starts or game.ends <= p.starts
        assert not p.task.opened or any(q.task.task == "open_up" and q.task.field_id == p.task.field_id and q.ends <= p.starts for q in placed)
    for one, two in zip(placed, placed[1:]):
        assert two.starts >= one.ends + ROADS.hours(one.task.site, two.task.site) * 60 - 1e-6
