"""What the page of a day says: which field first, what fits, which games cannot be had and why."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import pytest

from pipeline.plan.day import had_if_struck, plan_day
from pipeline.plan.day_asks import Asked, Crew, Game
from pipeline.plan.roads import NoRoads
from pipeline.report.day_page import Day, FieldDay, by_readiness, day_page, day_rows, first_to_play
from pipeline.store import tables as store
from report.scene import WORDS, field_seen, seen, stood
from report.season_scene import BAD, day_said

CREW = Crew("", 390, 1200, NoRoads(), 60, 5)


def day_of(name: str, water: float | None, starts: int, bad: bool = False, wet: bool = False) -> FieldDay:
    shown = BAD if bad else field_seen(stood(seen()), name, name.lower())
    return FieldDay(shown, (Game(shown.field_id, starts, starts + 90),), water, "", False, wet)


def laid(days, rain=8.0, minutes=None, crew=CREW) -> Day:
    asked = [Asked(d.seen.field_id, "", d.games, minutes or {"open_up": 60, "drag": 30, "bases": 15}, d.before, d.wet, d.seen is BAD, k) for k, d in enumerate(days)]
    return Day(dt.date(2026, 4, 18), rain, True, rain >= 6, tuple(days), plan_day(asked, crew), crew)


@pytest.mark.analytic
def test_unsafe_fields_are_last_then_wet_ones_then_later_games():
    days = [day_of("Late", 0.0, 700), day_of("Bad", 0.0, 500, True), day_of("Wet", 0.3, 500), day_of("Unknown", None, 500), day_of("Early", 0.0, 540)]
    assert [d.seen.name for d in first_to_play(days)] == ["Early", "Late", "Wet", "Unknown", "Mill Pond Field"]


@pytest.mark.analytic
def test_fields_stand_in_the_order_in_which_they_are_ready_and_what_is_not_had_last():
    days = [day_of("Soon", 0.3, 430, wet=True), day_of("Wet", 0.3, 700, wet=True), day_of("Dry", 0.0, 640), day_of("Bad", 0.0, 640, True)]
    assert [d.seen.name for d in by_readiness(laid(days))] == ["Dry", "Wet", "Soon", "Mill Pond Field"]


@pytest.mark.analytic
def test_a_game_that_cannot_be_had_a_swap_and_a_closed_field_are_said():
    page = day_said()
    assert len(page["lost"]) == 1 and "13:05, on the 55 ft bases" in page["lost"][0] and "takes 15 min, and 0 min" in page["lost"][0] and "From 13:20 on" in page["lost"][0]
    assert any(row[3] == "60 ft bases" and row[2] == "Swap the bases" for row in page["rows"])
    assert "stays closed" in page["first"][0] and "See that the 55 ft bases stand" in page["first"][0] and "cu yd of water" in page["first"][0]
    assert page["lead"][0].startswith("After 0.31") and "Every skin counts as wet" in page["lead"][1] and "is off" in page["lead"][2]
    assert [row[3] for row in page["games"]] == ["25", "0", ""] and page["games"][0][4].startswith("Swap the bases")


@pytest.mark.analytic
def test_each_reason_for_a_lost_game_is_said_and_the_rows_can_be_written(tmp_path):
    unstated = laid([day_of("A", 0.1, 640, wet=True)], minutes={"open_up": None, "drag": 30, "bases": 15})
    assert "costs.open_up" in day_page(unstated, "", WORDS)["lost"][0] and "cannot get it ready" in day_page(unstated, "", WORDS)["first"][0]
    late = laid([day_of("A", 0.1, 430, wet=True)])
    assert "loosened, dried and dragged by then" in day_page(late, "", WORDS)["lost"][0]
    short = laid([day_of("A", 0.0, 410)], rain=0.0)
    assert day_page(short, "", WORDS)["lost"] == [] and "No time to drag it" in day_page(short, "", WORDS)["first"][0] and "15 min free, it takes 30" in day_page(short, "", WORDS)["missed"][0]
    for day in (unstated, late, short):
        store.write(tmp_path / "d.csv", "day", day_rows(day, WORDS))
        assert len(store.read(tmp_path / "d.csv", "day")) == len(day.laid.placed) + len(day.laid.missed)


@pytest.mark.invariant
def test_no_sentence_of_the_day_says_that_a_field_is_safe_or_may_be_played():
    said = " ".join(phrase for key, phrase in WORDS.phrases.items() if key.startswith("day_"))
    assert not re.search(r"\bsafe\b|\bcleared?\b|\bapproved\b", said, re.I)


@pytest.mark.analytic
def test_a_day_without_games_says_so_and_names_the_next():
    page = day_page(Day(dt.date(2026, 4, 18), 0.0, True, False, (), plan_day([], CREW), CREW, dt.date(2026, 4, 22)), "", WORDS)
    assert page["games"] == [] and "No games stand" in " ".join(page["lead"]) and "22\u00a0April 2026" in page["lead"][1]


@pytest.mark.analytic
def test_lost_games_of_one_field_stand_in_one_line_and_what_striking_the_first_would_give_is_said():
    shown = field_seen(stood(seen()), "Twice", "twice")
    twice = FieldDay(shown, (Game("twice", 430, 500), Game("twice", 515, 560)), 0.3, "", False, True)
    day = laid([twice])
    assert len(day_page(day, "", WORDS)["lost"]) == 1 and "07:10 and 08:35: wet" in day_page(day, "", WORDS)["lost"][0]
    asked = [Asked("twice", "", twice.games, {"open_up": 20, "drag": 30, "bases": 15}, "", True)]
    crew = Crew("", 390, 1200, NoRoads(), 60, 5)
    first = plan_day(asked, crew)
    could = had_if_struck(asked, first, crew)
    assert first.lost == twice.games and could == twice.games[1:]
    assert "Twice 08:35" in day_page(replace(day, if_struck=could), "", WORDS)["struck"]
