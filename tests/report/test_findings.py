"""What one survey shows, judged against the owner's limits; the verdict of a field is the worst of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.owner import Tolerances
from pipeline.report.findings import CANNOT_TELL_KIND, LOW_SPOT, PLANARITY, STEP, Limits
from pipeline.surface.ring import BY_HAND
from report.scene import LIMITS, TOLERANCES, edge, seen, spot, station, zone

NONE = Limits(None, None, None, None, None)


def words(shown) -> dict[str, str]:
    return {f.place_id: f.word for f in shown.findings}


@pytest.mark.analytic
def test_a_low_spot_is_judged_by_its_probability_over_each_limit():
    """P(x > limit) with one s.d. of 2 mm: 0.8 lies 0.842 s.d. over it (normal quantile), so at 61.7 of 60 mm and at 21.7 of 20."""
    depths = {"second": 61.7, "first": 61.6, "third": 21.6, "landing": 18.2, "home": None}
    found = words(seen([spot(p, d) for p, d in depths.items()]))
    assert [found[p] for p in depths] == ["unsafe", "work", "watch", "good", "not_enough_evidence"]


@pytest.mark.invariant
def test_the_worst_wins_and_a_lack_of_evidence_hides_nothing_worse():
    blind, low, hole, fine = spot("home", None), spot("first", 30.0), spot("second", 70.0), spot("third", 5.0)
    assert seen([fine]).verdict == "good"
    assert seen([fine, blind]).verdict == "not_enough_evidence"
    assert seen([fine, blind, spot("landing", 20.0)]).verdict == "watch"
    assert seen([fine, blind, low]).verdict == "work"
    assert seen([fine, blind, low, hole]).verdict == "unsafe"
    assert seen([fine], zones=[zone(), zone("second", verdict="unsafe")]).verdict == "unsafe"


@pytest.mark.invariant
def test_nothing_is_good_without_a_tolerance_and_nothing_is_invented():
    shown = seen([spot("second", 200.0)], edge(base=200.0), limits=NONE)
    assert shown.verdict == "not_enough_evidence" and {f.word for f in shown.findings} == {"not_enough_evidence"}
    only_trip = replace(NONE, low_spot_trip=60.0)
    assert words(seen([spot("second", 70.0)], limits=only_trip))["second"] == "unsafe"


@pytest.mark.invariant
def test_a_field_whose_edges_were_not_measured_is_not_called_good():
    from pipeline.report.findings import shown

    rows = {"low_spots": [spot("first", 2.0)], "lip": [], "zones": [zone()]}
    assert shown("three", "2026-04-07", rows, LIMITS, {}).verdict == "not_enough_evidence"


@pytest.mark.analytic
def test_stations_over_the_tolerance_become_one_stretch_and_the_part_over_the_trip_limit_is_named():
    shown = seen(lips=edge({range(8, 20): 34.0, range(10, 13): 62.0}))
    (found,) = [f for f in shown.findings if f.stretch is not None]
    assert (found.kind, found.word, found.value_mm) == ("lip", "unsafe", 62.0)
    assert (found.stretch.from_m, found.stretch.to_m, found.trip.from_m, found.trip.to_m) == (8.0, 20.0, 10.0, 13.0)
    assert shown.edges[0].over_m == 12 and shown.edges[0].told == 40


@pytest.mark.invariant
def test_low_skin_counts_as_work_but_never_as_metres_of_lip():
    shown = seen(lips=edge({range(8, 20): 34.0}, kind="low_skin"))
    (found,) = [f for f in shown.findings if f.stretch is not None]
    assert (found.kind, found.word, shown.edges[0].over_m) == ("low_skin", "work", 0)


@pytest.mark.invariant
def test_a_rise_of_unknown_kind_is_unsafe_over_the_trip_limit_and_not_enough_evidence_below_it():
    tall = seen(lips=edge(base=70.0, kind="not_enough_evidence")).findings[0]
    assert (tall.kind, tall.word) == (STEP, "unsafe")
    between = seen(lips=edge(base=34.0, kind="not_enough_evidence")).findings[0]
    assert (between.word, between.verdict.why) == ("not_enough_evidence", CANNOT_TELL_KIND)
    assert seen(lips=edge(base=2.0, kind="not_enough_evidence")).verdict == "good"


@pytest.mark.invariant
def test_an_edge_seen_to_less_than_six_tenths_is_not_measured():
    half = [station(k + 0.5, 3.0 if k < 20 else None, 4.0 if k < 20 else None) for k in range(40)]
    assert seen(lips=half).edges[0].verdict == "not_enough_evidence"
    most = [station(k + 0.5, 3.0 if k < 24 else None, 4.0 if k < 24 else None) for k in range(40)]
    assert seen(lips=most).edges[0].verdict == "good"


@pytest.mark.analytic
def test_a_walks_mean_stands_for_the_whole_edge():
    shown = seen(lips=[station(None, 34.0)])
    (found,) = [f for f in shown.findings if f.stretch is not None]
    assert (found.word, found.stretch.length_m, shown.edges[0].over_m) == ("work", 40.0, 40)
    assert seen(lips=[station(None, 3.0)]).verdict == "good" and not [f for f in seen(lips=[station(None, 3.0)]).findings if f.stretch]


@pytest.mark.invariant
def test_a_found_pond_is_judged_by_its_own_probability():
    """Noise makes ponds too: the depth alone proves nothing."""
    def word(depth, probability, **more):
        return words(seen([spot("pond-1", depth, probability=probability, **more)]))["pond-1"]

    assert [word(70.0, 0.9), word(70.0, 0.5), word(30.0, 0.9), word(12.0, 0.1)] == ["unsafe", "watch", "work", "good"]
    assert word(30.0, None, reason="noise alone makes so deep a pond") == "not_enough_evidence"


@pytest.mark.invariant
def test_a_place_no_survey_can_judge_is_named_but_not_held_against_the_survey():
    by_hand = spot("first", None, None, reason=f"{BY_HAND}there is skin on 120 degrees of the ring around it")
    shown = seen([by_hand, spot("second", 2.0)])
    assert shown.verdict == "good" and [f.by_hand for f in shown.of("not_enough_evidence")] == [True]
    mound = seen(lips=edge() + [station(0.5, None, None, "not_enough_evidence", edge="home", edge_source="layout") | {"edge_id": "mound"}])
    assert mound.verdict == "good" and mound.edges[1].by_hand


@pytest.mark.invariant
def test_findings_stand_worst_first_single_places_before_the_skin_as_a_whole():
    shown = seen([spot("first", 30.0), spot("second", 70.0), spot("third", 40.0)], zones=[zone(planarity=19.0)])
    assert [(f.kind, f.place_id) for f in shown.findings[:4]] == [
        (LOW_SPOT, "second"), (LOW_SPOT, "third"), (LOW_SPOT, "first"), (PLANARITY, "skin"),
    ]  # fmt: skip


@pytest.mark.analytic
def test_a_limit_of_one_field_stands_over_the_general_one():
    tolerances = Tolerances(**{**TOLERANCES, "lip_mm": {**TOLERANCES["lip_mm"], "fields": {"mill-pond": 30}}})
    assert Limits.of(tolerances, "mill-pond") == replace(LIMITS, lip=30.0) and Limits.of(tolerances, "other") == LIMITS
    assert Limits.of(Tolerances(), "mill-pond") == NONE
