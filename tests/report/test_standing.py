"""One verdict and one sentence for a field over all its surveys and walks."""

from __future__ import annotations

import pytest

from pipeline.report.standing import leading, over_tolerance, standing
from pipeline.report.unsafe_block import first_act, unsafe_block
from report.scene import reads, LIMITS, WORDS, edge, given, quality, sayer, seen, spot, stood

HOLE, LOW, FINE = spot("second", 70.0), spot("first", 30.0), spot("third", 2.0)


def at(survey: str, *spots: dict):
    return seen(spots, survey=survey)


def blind():
    return at("three", spot("second", None))


@pytest.mark.invariant
def test_the_newest_survey_speaks_and_an_open_hazard_outweighs_it():
    assert stood(at("one", HOLE), at("two", FINE)).verdict == "unsafe"  # the place was not looked at again
    assert stood(at("one", HOLE), at("two", spot("second", 5.0))).verdict == "good"
    now = stood(at("two", HOLE), blind())
    assert now.verdict == "unsafe" and now.lingering == now.open and not now.fresh(now.open[0])
    assert "no survey since shows it gone" in sayer().headline(now)


@pytest.mark.invariant
def test_a_refused_survey_is_kept_beside_and_judges_nothing():
    rows = {"survey_quality": [quality("one"), quality("two", "refused", "it misses the field")], "lip": edge(survey="one"), "low_spots": [], "zones": []}
    now = standing("mill-pond", rows, ["one", "two"], (), LIMITS, {"outer": 40.0})
    assert [s.survey_id for s in now.surveys] == ["one"] and [r["reason"] for r in now.refused] == ["it misses the field"]
    nothing = standing("mill-pond", {**rows, "survey_quality": rows["survey_quality"][1:]}, ["one", "two"], (), LIMITS, {})
    assert (nothing.verdict, nothing.newest, nothing.before, nothing.open) == ("not_enough_evidence", None, None, ())
    assert sayer().headline(nothing) == WORDS("headline_nothing")
    hole = reads("readings", {"reading_id": "r1", "field_id": "mill-pond", "read_on": "2026-04-10", "kind": "seen", "value": "hole", "place": "second"})
    seen_only = standing("mill-pond", {**rows, "survey_quality": rows["survey_quality"][1:]}, ["one", "two"], (), LIMITS, {}, hole)
    assert seen_only.verdict == "unsafe" and sayer().headline(seen_only).startswith("A hole: second base, seen on ") and sayer().headline(seen_only).endswith(WORDS("headline_nothing"))


@pytest.mark.invariant
@pytest.mark.parametrize("more, verdict", [((), "watch"), ((LOW,), "work")])
def test_what_a_walk_has_mended_is_no_longer_unsafe_and_not_yet_good(more, verdict):
    now = stood(at("three", HOLE, *more), walks=({"action": "repaired"},))
    assert (now.verdict, now.open, [h.place_id for h in now.mended]) == (verdict, (), ["second"])
    assert "second base" not in [f.place_id for f in leading(now)] and all(f.place_id != "second" for f in leading(now))
    assert sayer().headline(now).endswith("Mended since the newest survey, and not surveyed since: second base.")
    block = unsafe_block(given(), now, sayer(), {})
    assert block["items"] == [] and block["none"] == WORDS("all_mended") and "repaired" in block["closed"][0]
    assert first_act(now, WORDS) == ""


@pytest.mark.invariant
def test_the_next_survey_says_whether_mending_held():
    walks = ({"action": "repaired", "walked_on": "2025-12-01"},)
    assert stood(at("two", HOLE), at("three", spot("second", 3.0)), walks=walks).verdict == "good"
    again = stood(at("two", HOLE), at("three", HOLE), walks=walks)
    assert again.verdict == "unsafe" and [h.state for h in again.hazards] == ["closed", "open"] and again.mended == ()


@pytest.mark.invariant
def test_a_walk_alone_can_make_a_field_unsafe():
    now = stood(at("three", FINE), walks=({"walked_on": "2026-04-07", "item": "glass", "place": "home", "finding": "broken bottle", "action": "marked_off"},))
    assert now.verdict == "unsafe" and sayer().headline(now) == "Walked: glass at home, broken bottle."
    (item,) = unsafe_block(given(), now, sayer(), {})["items"]
    assert item["text"] == "Walked: glass at home, broken bottle." and item["lines"] == ["First seen on 7\u00a0April 2026.", "marked off, 7\u00a0April 2026."]
    assert first_act(now, WORDS) == WORDS("keep_off")


@pytest.mark.invariant
def test_what_to_do_at_once_counts_the_open_places():
    assert first_act(stood(at("three", HOLE)), WORDS) == "Close it or mark it off."
    assert first_act(stood(at("three", HOLE, spot("first", 80.0))), WORDS) == "Close the 2 places or mark them off."


@pytest.mark.analytic
def test_low_spots_over_the_tolerance_are_those_unsafe_or_for_work():
    assert [f.place_id for f in over_tolerance(at("three", HOLE, LOW, FINE))] == ["second", "first"]
