"""Grass come in and weeds on the page: what is judged, what is to do, what the block says."""

from __future__ import annotations

from dataclasses import replace

import pytest
from report.scene import DAYS, LIMITS, TOLERANCES, WORDS, config, given, grass, sayer, seen, stood, tables, zone

from pipeline.report.field_page import field_page
from pipeline.report.figures import NBSP
from pipeline.report.findings import CREPT, crept, shown
from pipeline.report.grass_block import grass_block
from pipeline.report.todo import tasks

OWN = replace(LIMITS, encroachment=50.0)
SIGNED = TOLERANCES | {"encroachment_mm": {"value": 50, "set_by": "Board of Nowhere", "set_on": "2025-03-03"}}


def plain(text: str) -> str:
    return text.replace(NBSP, " ").replace("\u2060", "")


def now(rows: list[dict], zones: list[dict] | None = None):
    made = seen(zones=zones, limits=OWN)
    return stood(shown("three", DAYS["three"], made.rows | {"grass_edge": rows}, OWN, {"outer": 40.0}), limits=OWN)


def weedy(share: float, area: float, told_by: str = "colour", **more) -> dict:
    return zone(covered_by_weeds_pct=share, covered_m2=area, covered_told_by=told_by, covered_low95_pct=0.8 * share, covered_high95_pct=1.2 * share, **more)


@pytest.mark.analytic
def test_neighbouring_segments_over_the_tolerance_are_one_stretch_with_its_area():
    rows = [r for at, mm in ((None, 60.0), (2.5, 20.0), (7.5, 80.0), (12.5, 95.0), (22.5, 90.0)) for r in grass(at, mm)]
    found = crept(rows, OWN, {})
    assert [(f.stretch.from_m, f.stretch.to_m, f.value_mm) for f in found] == [(5.0, 15.0, 95.0), (20.0, 25.0, 90.0)]
    assert found[0].row["area_m2"] == pytest.approx(0.4 + 0.475) and all(f.kind == CREPT and f.word == "work" for f in found)


@pytest.mark.invariant
def test_a_layouts_edge_is_judged_by_what_came_in_since_the_first_survey_a_drawn_one_against_itself():
    (layout,) = [r for r in grass(2.5, 90.0)]
    assert crept([layout | {"encroached_mm": 400.0, "since_baseline_mm": 10.0}], OWN, {}) == []
    assert len(crept([layout | {"encroached_mm": 10.0}], OWN, {})) == 1
    (drawn,) = grass(2.5, 90.0, against="drawn")
    assert len(crept([drawn], OWN, {})) == 1 and crept([drawn], LIMITS, {}) == []


@pytest.mark.invariant
def test_grass_over_the_tolerance_is_work_and_a_thing_to_do_with_its_area():
    standing = now([*grass(None, 40.0), *grass(12.5, 100.0)])
    (task,) = [t for t in tasks(standing, sayer("metric", tolerances=SIGNED), config().material, {}) if t.findings]
    assert standing.verdict == "work" and plain(task.title) == "Re-cut the outer edge: 0.5 m² ± 0.1 of grass back to skin"
    said = plain(" ".join(task.lines))
    assert "10–15 m: up to 100 mm ± 16 come in, 0.5 m² ± 0.1 of skin lost" in said and "Where nobody has drawn the edge" in said
    assert "edge where grass has come in" in sayer(tolerances=SIGNED).headline(standing)


@pytest.mark.invariant
def test_weeds_are_a_thing_to_do_once_there_are_enough_of_them_or_they_hide_a_place():
    def titles(*zones):
        return [plain(t.title) for t in tasks(now([], list(zones)), sayer("metric"), config().material, {})]

    assert titles(weedy(0.05, 0.4)) == [] and titles(weedy(3.0, 20.0)) == ["Weed the skin: 20.0 m²"]
    hidden = zone("second", None, None, "not_enough_evidence", covered_by_weeds_pct=60.0, reason="weeds cover 60 %: clear the weeds, then fly")
    found = tasks(now([], [weedy(0.2, 0.9), hidden]), sayer("metric"), config().material, {})
    assert "second base" in " ".join(found[0].lines) and "Clear the weeds, then fly" in " ".join(found[0].lines)
    assert titles(weedy(3.0, 20.0, "roughness")) == ["Look at 20.0 m² of the skin for weeds"]


@pytest.mark.invariant
@pytest.mark.parametrize("told_by, said", [("colour", "Dead, brown plants do not show"), ("intensity", "less sure than colour"), ("roughness", "cannot see low weeds")])
def test_the_block_says_the_share_and_what_would_not_be_seen(told_by, said):
    found = grass_block(given("metric"), now(grass(None, 40.0), [weedy(3.0, 20.0, told_by)]), sayer("metric"))
    assert said in " ".join(found["weeds"]) and "3.0" in found["weeds"][0]


@pytest.mark.invariant
def test_a_survey_that_shows_neither_says_so():
    walked = grass_block(given("metric"), now(grass(None, None)), sayer("metric"))
    assert "does not show weeds" in walked["weeds"][0] and "does not show where the grass begins" in walked["unseen"]
    assert walked["stretches"] == []


@pytest.mark.invariant
def test_the_page_draws_the_patches_and_folds_the_block():
    from shapely import box

    layout = given().layout
    patch = box(layout.centre[0], layout.centre[1], layout.centre[0] + 1, layout.centre[1] + 1)
    made = field_page(given("metric", weeds=(patch,), tables=tables(zones=[weedy(3.0, 20.0)])), WORDS)
    assert 'class="weeds"' in made["map"]["svg"] and made["map"]["weeds"] == WORDS("map_weeds")
    assert len(made["grass"]["edges"]) == 2 and len(made["grass"]["stretches"]) == 1
    assert field_page(given("metric"), WORDS)["map"]["weeds"] == ""


@pytest.mark.invariant
def test_a_skin_without_weeds_is_said_so_with_the_most_there_may_be():
    found = grass_block(given("metric"), now(grass(None, 40.0), [weedy(0.0, 0.0) | {"covered_high95_pct": 0.4}]), sayer("metric"))
    assert found["weeds"][0].startswith("No weeds were seen on the skin for sure; up to ")
    none = grass_block(given("metric"), now(grass(None, 40.0), [weedy(0.0, 0.0) | {"covered_high95_pct": 0.0}]), sayer("metric"))
    assert none["weeds"][0] == "No weeds were seen on the skin."
