"""Hazards over time: opened by evidence, closed by evidence or by hand, never by silence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from report.scene import LIMITS, edge, hazards_of, seen, spot, station

HOLE, SHALLOW, GONE = spot("second", 70.0), spot("second", 59.0), spot("second", 30.0)


def at(survey: str, *spots: dict, lips: list[dict] | None = None):
    return seen(spots, lips or (), survey=survey)


def states(found) -> list[tuple[str, str, str]]:
    return [(h.hazard_id, h.state, h.found_on) for h in found]


@pytest.mark.invariant
def test_a_hazard_is_opened_by_the_first_survey_that_shows_it_and_keeps_its_name():
    found = hazards_of(at("one", HOLE), at("two", HOLE), at("three", HOLE))
    assert states(found) == [("mill-pond-second-low-spot", "open", "2025-04-07")]
    assert (found[0].source, found[0].first.value_mm, found[0].last_on) == ("one", 70.0, "2026-04-07")


@pytest.mark.invariant
def test_a_survey_that_cannot_tell_closes_nothing():
    for later in (spot("second", None), SHALLOW, spot("first", 2.0)):
        assert [h.state for h in hazards_of(at("one", HOLE), at("two", later))] == ["open"]


@pytest.mark.invariant
def test_a_survey_that_shows_it_gone_closes_it_and_a_new_one_gets_a_new_name():
    found = hazards_of(at("one", HOLE), at("two", GONE), at("three", HOLE))
    assert states(found) == [("mill-pond-second-low-spot", "closed", "2025-04-07"), ("mill-pond-second-low-spot-2", "open", "2026-04-07")]
    assert (found[0].action, found[0].action_on) == ("not over the limit in two", "2025-10-06")


@pytest.mark.invariant
def test_a_stretch_of_edge_that_wanders_is_the_same_hazard_one_elsewhere_is_not():
    tall = {range(8, 12): 62.0}
    found = hazards_of(at("one", lips=edge(tall)), at("two", lips=edge({range(10, 15): 62.0})))
    assert [(h.hazard_id, h.state, h.stretch.from_m) for h in found] == [("mill-pond-outer-8-lip", "open", 10.0)]
    found = hazards_of(at("one", lips=edge(tall)), at("two", lips=edge({range(13, 16): 62.0})))
    assert [(h.hazard_id, h.stretch.from_m) for h in found] == [("mill-pond-outer-8-lip", 13.0)]
    found = hazards_of(at("one", lips=edge(tall)), at("two", lips=edge({range(25, 30): 62.0})))
    assert [(h.hazard_id, h.state) for h in found] == [("mill-pond-outer-8-lip", "closed"), ("mill-pond-outer-25-lip", "open")]


@pytest.mark.invariant
def test_a_lip_told_to_be_low_skin_later_is_still_the_same_hazard():
    found = hazards_of(at("one", lips=edge({range(8, 12): 62.0})), at("two", lips=edge({range(8, 12): 62.0}, kind="low_skin")))
    assert [(h.hazard_id, h.state, h.last.kind) for h in found] == [("mill-pond-outer-8-lip", "open", "low_skin")]


@pytest.mark.invariant
def test_a_lip_that_was_not_seen_stays_open():
    hidden = [station(k + 0.5, None, None) if 8 <= k < 12 else station(k + 0.5, 5.0) for k in range(40)]
    for later in (hidden, edge(edge="home", length=9)):  # under the tarp, or the whole edge not measured
        assert [h.state for h in hazards_of(at("one", lips=edge({range(8, 12): 62.0})), at("two", lips=later))] == ["open"]


@pytest.mark.invariant
@pytest.mark.parametrize("action, state", [("closed", "open"), ("marked_off", "open"), ("repaired", "closed"), ("accepted", "closed")])
def test_keeping_people_away_leaves_a_hazard_open_mending_and_accepting_close_it(action, state):
    (found,) = hazards_of(at("three", HOLE), walks=({"action": action},))
    assert (found.state, found.action, found.action_on) == (state, action, "2026-04-09")


@pytest.mark.invariant
@pytest.mark.parametrize("place", ["second", "Second base", "the second base"])
def test_a_place_is_found_under_the_names_people_use(place):
    assert [h.state for h in hazards_of(at("three", HOLE), walks=({"action": "repaired", "place": place, "item": "hole"},))] == ["closed"]


@pytest.mark.invariant
def test_mending_something_else_at_the_same_place_does_not_close_the_hole():
    found = hazards_of(at("three", HOLE), walks=({"action": "repaired", "item": "protruding anchor"},))
    assert [(h.measure, h.state) for h in found] == [("low_spot", "open"), ("protruding-anchor", "closed")]


@pytest.mark.invariant
def test_a_look_without_an_action_changes_nothing_and_a_walk_before_the_survey_cannot_mend_it():
    assert [h.state for h in hazards_of(at("three", HOLE), walks=({},))] == ["open"]
    found = hazards_of(at("three", HOLE), walks=({"action": "repaired", "walked_on": "2026-04-01"},))
    assert [(h.source, h.state) for h in found] == [("walk-0", "closed"), ("three", "open")]


@pytest.mark.invariant
def test_a_walks_own_hazard_is_closed_by_a_later_walk_at_the_same_thing():
    glass = {"item": "glass", "place": "home", "finding": "broken bottle", "action": "marked_off"}
    (found,) = hazards_of(at("three", spot("second", 2.0)), walks=(glass,))
    assert (found.hazard_id, found.state, found.finding) == ("mill-pond-home-glass", "open", "broken bottle")
    (found,) = hazards_of(at("three", spot("second", 2.0)), walks=(glass, {**glass, "walked_on": "2026-04-10", "action": "repaired"}))
    assert (found.state, found.action_on) == ("closed", "2026-04-10")


@pytest.mark.invariant
def test_without_a_trip_limit_nothing_is_opened():
    assert hazards_of(seen([HOLE], limits=replace(LIMITS, low_spot_trip=None)), limits=replace(LIMITS, low_spot_trip=None)) == ()


# ---- what the eye sees -----------------------------------------------------------------------------------------


def by_eye(value: str, place: str = "second", on: str = "2026-03-30", **more) -> dict:
    return {"read_on": on, "value": value, "place": place, **more}


@pytest.mark.invariant
@pytest.mark.parametrize("value", ("trip", "hole"))
def test_a_trip_or_a_hole_that_is_seen_opens_a_hazard_at_once_and_other_words_do_not(value):
    found = hazards_of(at("two", GONE), read=(by_eye(value),))
    assert [(h.hazard_id, h.state, h.found_on, h.source) for h in found] == [(f"mill-pond-second-{value}", "open", "2026-03-30", "r0")]
    for word in ("puddle", "soft", "weeds"):
        assert hazards_of(at("two", GONE), read=(by_eye(word),)) == ()


@pytest.mark.invariant
def test_a_survey_that_measures_it_over_the_limit_takes_it_over_and_one_that_does_not_closes_nothing():
    taken = hazards_of(at("two", GONE), at("three", HOLE), read=(by_eye("hole"),))
    assert [(h.hazard_id, h.state, h.found_on, h.source, h.last_on) for h in taken] == [("mill-pond-second-low-spot", "open", "2026-03-30", "r0", "2026-04-07")]
    kept = hazards_of(at("two", GONE), at("three", GONE), read=(by_eye("hole"),))
    assert [(h.measure, h.state) for h in kept] == [("hole", "open")]


@pytest.mark.invariant
def test_what_a_survey_has_open_already_is_not_opened_twice_but_another_kind_is():
    assert len(hazards_of(at("two", HOLE), read=(by_eye("hole"), by_eye("hole", on="2026-03-31")))) == 1
    assert [h.measure for h in hazards_of(at("two", HOLE), read=(by_eye("trip"),))] == ["low_spot", "trip"]
    lip = at("two", lips=edge({range(8, 12): 62.0}))
    assert [h.measure for h in hazards_of(lip, read=(by_eye("trip", "outer"),))] == ["lip"]


@pytest.mark.invariant
@pytest.mark.parametrize("item", ("hole", "low spot"))
def test_a_walk_that_mends_it_closes_it_and_one_that_marks_it_off_does_not(item):
    walk = {"walk_id": "w1", "walked_on": "2026-04-02", "item": item, "place": "second base", "finding": "filled"}
    closed = hazards_of(read=(by_eye("hole"),), walks=({**walk, "action": "repaired"},))
    assert [(h.state, h.action, h.action_on) for h in closed] == [("closed", "repaired", "2026-04-02")]
    marked = hazards_of(read=(by_eye("hole"),), walks=({**walk, "action": "marked_off"},))
    assert [(h.state, h.action) for h in marked] == [("open", "marked_off")]
    again = hazards_of(read=(by_eye("hole"), by_eye("hole", on="2026-04-09")), walks=({**walk, "action": "repaired"},))
    assert [(h.hazard_id, h.state) for h in again] == [("mill-pond-second-hole", "closed"), ("mill-pond-second-hole-2", "open")]


@pytest.mark.invariant
def test_a_place_that_was_only_tapped_on_the_plan_has_its_metres_for_a_name():
    found = hazards_of(read=({"read_on": "2026-03-30", "value": "trip", "e": "507003.4", "n": "175010.2"},))
    assert [(h.place_id, h.e, h.n) for h in found] == [("at-507003-175010", 507003.4, 175010.2)]
