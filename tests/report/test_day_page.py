"""What the page of a day says: which field first, what fits, what does not and why."""

from __future__ import annotations

import datetime as dt

import pytest

from pipeline.plan.day import Game
from pipeline.report.day_page import FieldDay, day_page, first_to_play
from report.scene import WORDS, field_seen, seen, stood
from report.season_scene import BAD, day_said


def day_of(name: str, water: float | None, starts: int, bad: bool = False) -> FieldDay:
    shown = BAD if bad else field_seen(stood(seen()), name, name.lower())
    return FieldDay(shown, (Game(shown.field_id, starts, starts + 90),), water, "", False)


@pytest.mark.analytic
def test_unsafe_fields_are_last_then_wet_ones_then_later_games():
    days = [day_of("Late", 0.0, 700), day_of("Bad", 0.0, 500, True), day_of("Wet", 0.3, 500), day_of("Unknown", None, 500), day_of("Early", 0.0, 540)]
    assert [d.seen.name for d in first_to_play(days)] == ["Early", "Late", "Wet", "Unknown", "Mill Pond Field"]


@pytest.mark.analytic
def test_a_gap_too_short_a_swap_and_a_closed_field_are_said():
    page = day_said()
    assert any("swap the bases" in line and "the gap of 0 min is too short, it takes 15 min" in line for line in page["missed"])
    assert any(row[4] == "60 ft bases" and row[3] == "Swap the bases" for row in page["rows"])
    assert "stays closed" in page["first"][0] and "See that the 55 ft bases stand" in page["first"][0] and "cu yd of water" in page["first"][0]
    assert page["lead"][0].startswith("After 0.31") and "does not work on this day" in page["lead"][1]
    assert [row[4] for row in page["games"]] == ["25", "0", ""]


@pytest.mark.analytic
def test_a_day_without_games_says_so():
    page = day_page(dt.date(2026, 4, 18), 0.0, True, [], [], [], 5, "", WORDS)
    assert page["games"] == [] and "No games stand" in " ".join(page["lead"])
