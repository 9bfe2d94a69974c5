"""Taped distances: which item a reading is of, how long it speaks, how well it is known."""

from __future__ import annotations

import datetime as dt

import pytest
from pytest import approx

from pipeline.surface.rulebook_tape import TAPE_SIGMA_M, taped

FLOWN = dt.date(2026, 4, 8)


def reading(place: str, value: str = "60.02", on: dt.date = dt.date(2026, 3, 30), unit: str = "ft", kind: str = "distance") -> dict:
    return {"kind": kind, "place": place, "value": value, "unit": unit, "read_on": on}


def work(word: str, on: dt.date) -> dict:
    return {"work": word, "done_on": on}


def of(*readings, works=(), other: str | None = "softball-60") -> dict:
    return taped(readings, works, FLOWN, "softball-65", other)


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("place", "layout", "item"),
    [
        ("first", "softball-65", "home-first"), ("third", "softball-65", "third-home"), ("Second-60", "softball-60", "home-second"),
        ("first second-60", "softball-60", "first-second"), ("pitchers plate", "softball-65", "pitching-distance"), ("first-third", "softball-65", "first-third"),
    ],
)  # fmt: skip
def test_a_place_names_an_item_of_its_base_set(place, layout, item):
    assert {k: list(v) for k, v in of(reading(place)).items()} == {layout: [item]}


@pytest.mark.analytic
def test_a_distance_is_read_in_its_unit_and_known_no_better_than_it_was_written():
    """A figure written in steps of q has an s.d. of q / sqrt 12 from that alone (GUM, JCGM 100:2008, 4.3.7)."""
    value, sigma = of(reading("first", "65.0"))["softball-65"]["home-first"]
    assert (value, sigma) == approx((65 * 0.3048, (TAPE_SIGMA_M**2 + 0.03048**2 / 12) ** 0.5))
    assert of(reading("first", "65"))["softball-65"]["home-first"][1] > 0.08
    assert of(reading("first", "19812", unit="mm"))["softball-65"]["home-first"] == approx((19.812, TAPE_SIGMA_M), abs=1e-5)


@pytest.mark.invariant
def test_the_newest_reading_counts_and_none_that_is_old_late_or_before_the_bases_were_moved():
    old, new = reading("first", "65.30", dt.date(2025, 9, 1)), reading("first", "65.01")
    assert of(new, old)["softball-65"]["home-first"][0] == approx(65.01 * 0.3048)
    assert of(reading("first", on=dt.date(2025, 3, 1))) == {}
    assert of(reading("first", on=dt.date(2026, 5, 30))) == {}
    assert of(old, new, works=[work("bases", dt.date(2026, 4, 1))]) == {}
    assert of(new, works=[work("bases", dt.date(2026, 3, 1))]) != {}
    assert of(new, works=[work("drag", dt.date(2026, 4, 1))]) != {}


@pytest.mark.invariant
def test_what_is_no_distance_or_names_no_item_is_left_alone():
    assert of(reading("short-stop"), reading(""), reading("first", kind="level")) == {}
    assert of(reading("first-60"), other=None) == {}
