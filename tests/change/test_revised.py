"""Figures of an earlier report that are otherwise now: same quantity, same survey, another value."""

from __future__ import annotations

import pytest

from pipeline.change.revised import COUNTS, Key, Told, figures, revised, same, surveys
from report.scene import edge, grown, mix, quality, row, spot, station, zone


def tables(survey: str = "two", **given) -> dict:
    lips = edge({range(8, 14): 62.0}, survey=survey) + [station(None, 9.0, survey=survey)]
    made = {"survey_quality": [quality("one"), quality("two")], "lip": lips, "low_spots": [spot("second", 70.0, survey=survey)], "zones": [zone(survey=survey)], "mix_depth": [mix(survey=survey)],
            "lip_change": [grown(2.5, 3.0), grown(None, 1.0)], "low_spot_change": [], "change": []}  # fmt: skip
    return made | given


FIELD = {"last_survey": "two", "verdict": "work", "lip_max_mm": 62.0, "lip_over_tolerance_m": 6.0, "low_spots_over_tolerance": 1, "mix_needed_tonnes": 0.1}


@pytest.mark.analytic
def test_of_an_edge_the_highest_metre_counts_and_of_its_growth_the_whole():
    found = figures(tables(), FIELD)
    assert found[Key("lip", "two", "", "outer")] == Told(62.0, pytest.approx(1.96 * 4), "mm")
    assert found[Key("growth", "three", "two", "outer")].value == 1.0 and found[Key("mix_missing", "two", "", "skin")].half == pytest.approx((19.5 - 8.7) / 2)
    assert found[Key("verdict", "two")] == Told("work", None, "word") and len([k for k in found if k.measure == "lip"]) == 1


@pytest.mark.analytic
def test_another_value_of_the_same_survey_is_a_revision_and_nothing_else_is():
    before, now = figures(tables(), FIELD), figures(tables(low_spots=[spot("second", 64.0, survey="two")]), {**FIELD, "verdict": "watch"})
    assert [(r.key.measure, r.was.value, r.now.value) for r in revised(before, now, ["one", "two"])] == [("verdict", "work", "watch"), ("low_spot", 70.0, 64.0)]
    assert revised(before, before, ["one", "two"]) == []


@pytest.mark.invariant
def test_a_new_survey_revises_nothing():
    later = {k: v + [{**r, "survey_id": "three"} for r in v] if k in ("lip", "low_spots", "zones", "mix_depth") else v for k, v in tables().items()}
    later["low_spots"][-1]["depth_mm"] = 99.0
    now = figures(later, {**FIELD, "last_survey": "three", "verdict": "unsafe", "lip_max_mm": 99.0})
    assert revised(figures(tables(), FIELD), now, ["one", "two"]) == []


@pytest.mark.invariant
@pytest.mark.parametrize("unit, count", [(u, c) for u, c in COUNTS.items() if c])
def test_one_count_of_the_last_decimal_is_rounding_and_two_are_not(unit, count):
    told = lambda v: Told(round(v, 4), None, unit)
    assert same(told(12.3), told(12.3 + count)) and same(told(12.3), told(12.3 - count)) and not same(told(12.3), told(12.3 + 2 * count))
    assert not same(told(12.3), Told(None, None, unit)) and same(Told(None, None, unit), Told(float("nan"), None, unit))


@pytest.mark.analytic
def test_a_range_that_changed_and_a_place_that_vanished_are_told():
    before, now = figures(tables()), figures(tables(low_spots=[], zones=[zone(sigma=3.0, survey="two")]))
    found = {r.key.measure: r for r in revised(before, now, ["two"])}
    assert set(found) == {"low_spot", "fill", "planarity"} and found["low_spot"].now.value is None and found["planarity"].was.value == found["planarity"].now.value


@pytest.mark.analytic
def test_surveys_that_came_were_refused_or_are_gone():
    before = [quality("one"), quality("two"), row("survey_quality", survey_id="zero", flown_on="2025-01-01", verdict="absolute")]
    found = surveys(before, [quality("one"), quality("two", "refused", "too little stable ground"), quality("three")])
    assert (found.new, found.turned_away, found.refused, found.gone, found.both) == (("three",), (), ("two",), ("zero",), ("one",))
    again = surveys([quality("one", "refused")], [quality("one"), quality("two", "refused")])
    assert again.new == ("one",) and again.turned_away == ("two",) and again.both == ()


@pytest.mark.invariant
def test_a_pair_that_a_late_survey_came_between_is_no_revision_and_one_that_moved_is():
    apart = {Key("growth", "three", "one", "outer"): Told(3.0, 1.0, "mm"), Key("growth", "three", "two", "outer"): Told(2.0, 1.0, "mm")}
    now = {Key("growth", "three", "two", "outer"): Told(9.0, 1.0, "mm")}  # one and three are no longer beside one another
    assert [(r.key.earlier, r.now.value) for r in revised(apart, now, ["one", "two", "three"])] == [("two", 9.0)]
