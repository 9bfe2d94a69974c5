"""Which surveys stand around a work, what it changed, and what the crew's hours between two surveys did."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from pipeline.works.around import Seen, around, between
from pipeline.works.record import GAP, HEIGHT, LIP, LIP_OVER, PLANARITY, RING, VOLUME, changes
from pipeline.works.spans import spans
from report.scene import row

DAY = dt.date.fromisoformat
APRIL, BEFORE, DURING, AFTER, SPRING = (
    Seen("april", DAY("2025-04-08")), Seen("before", DAY("2025-11-04"), "before_work"), Seen("during", DAY("2025-11-11")),
    Seen("after", DAY("2025-11-25"), "after_work"), Seen("spring", DAY("2026-04-07")),
)  # fmt: skip
ALL = [APRIL, BEFORE, AFTER, SPRING]


def work(kind: str, on: str, until: str | None = None, name: str = "w", **given) -> dict:
    return {"work_id": name, "work": kind, "done_on": DAY(on), **({"ended_on": DAY(until)} if until else {}), **given}


@pytest.mark.analytic
def test_a_work_lies_between_the_newest_survey_before_it_and_the_first_that_shows_all_of_it():
    drag = around(work("drag", "2025-07-01"), ALL, ())
    assert (drag.before, drag.after) == (APRIL, BEFORE)
    graded = work("laser_grade", "2025-11-10", "2025-11-12")
    assert around(graded, ALL, ()).after == AFTER
    assert (around(graded, [APRIL, BEFORE, DURING, SPRING], ()).before, around(graded, [APRIL, DURING, SPRING], ()).after) == (BEFORE, SPRING)
    assert around(work("drag", "2025-04-01"), ALL, ()).before is None and not around(work("drag", "2026-05-01"), ALL, ()).both


@pytest.mark.analytic
def test_ordered_work_takes_the_survey_flown_for_it_and_upkeep_the_nearest():
    routine = Seen("routine", DAY("2025-11-08"))
    surveys = [APRIL, BEFORE, routine, AFTER, SPRING]
    assert around(work("lip_cut", "2025-11-10"), surveys, ()).before == BEFORE
    assert around(work("drag", "2025-11-10"), surveys, ()).before == routine


@pytest.mark.analytic
def test_a_survey_of_the_same_day_shows_the_work_unless_it_was_flown_before_it():
    same, first = Seen("same", DAY("2025-11-10")), Seen("first", DAY("2025-11-10"), "before_work")
    assert around(work("drag", "2025-11-10"), [APRIL, same], ()).after == same
    assert around(work("drag", "2025-11-10"), [first, AFTER], ()).before == first


@pytest.mark.analytic
def test_works_that_share_a_pair_are_named():
    works = [work("laser_grade", "2025-11-10", "2025-11-12", "a"), work("lip_cut", "2025-11-13", name="b"), work("drag", "2026-03-30", name="c")]
    assert around(works[0], ALL, works).shares == ("b",) and [w["work_id"] for w in between(works, AFTER, SPRING)] == ["c"]


def tables() -> dict[str, list[dict]]:
    at = lambda s, **given: row("zones", survey_id=s, zone="skin", **given)
    spot = lambda s, name, depth: row("low_spots", survey_id=s, low_spot_id=name, ring_depth_mm=depth, ring_depth_sigma_mm=2.0)
    pair = {"from_survey": "before", "to_survey": "after"}
    station = lambda s, k, h: row("lip", survey_id=s, edge_id="outer", station_m=k + 0.5, kind="lip", height_mm=h, height_sigma_mm=6.0)
    return {
        "zones": [at("before", planarity_mm=7.0, planarity_sigma_mm=0.5, straightedge_mm=6.0, straightedge_sigma_mm=0.5),
                  at("after", planarity_mm=2.0, planarity_sigma_mm=1.2, straightedge_mm=5.5, straightedge_sigma_mm=0.5)],
        "low_spots": [spot("before", "first", 30.0), spot("after", "first", 2.0), spot("before", "second", 4.0), spot("after", "second", 3.0), spot("before", "pond-1", 9.0)],
        "low_spot_change": [row("low_spot_change", **pair, low_spot_id="first", depth_change_mm=-27.0, depth_change_sigma_mm=2.5)],
        "change": [row("change", **pair, zone="skin", mean_mm=5.0, mean_sigma_mm=3.0, net_m3=4.0, net_sigma_m3=2.4)],
        "lip": [row("lip", survey_id="before", edge_id="outer", height_mm=30.0, height_sigma_mm=8.0), row("lip", survey_id="after", edge_id="outer", height_mm=5.0, height_sigma_mm=8.0)]
        + [station("before", k, 20.0 + k) for k in range(20)] + [station("after", k, 5.0) for k in range(20)],
        "lip_change": [row("lip_change", **pair, edge_id="outer", growth_mm=-26.0, growth_sigma_mm=2.0)],
    }  # fmt: skip


def changed(kind: str, tolerance: float | None = 25.0, **given) -> dict:
    one = work(kind, "2025-11-10", **given)
    return {(c.measure, c.place): c for c in changes(one, around(one, ALL, ()), tables(), tolerance)}


@pytest.mark.analytic
def test_the_direct_change_is_taken_and_not_the_difference_of_two_figures():
    lip = changed("lip_cut")[LIP, "outer"]
    assert (lip.before, lip.after, lip.change, lip.change_sigma, lip.detected) == (30.0, 5.0, -26.0, 2.0, True)
    ring = changed("level", zone="first")[RING, "first"]
    assert (ring.change, ring.change_sigma) == (-27.0, 2.5)


@pytest.mark.analytic
def test_where_there_is_none_both_figures_uncertainties_are_in_the_change():
    found = changed("laser_grade")
    assert found[PLANARITY, "skin"].change_sigma == pytest.approx(1.3) and found[PLANARITY, "skin"].detected
    assert found[GAP, "skin"].change == -0.5 and not found[GAP, "skin"].detected
    assert found[RING, "second"].change_sigma == pytest.approx(np.hypot(2, 2)) and (RING, "pond-1") not in found
    assert found[HEIGHT, "skin"].change == 5.0 and np.isnan(found[HEIGHT, "skin"].before) and found[VOLUME, "skin"].unit == "m3"


@pytest.mark.analytic
def test_length_over_the_tolerance_carries_the_error_that_all_of_an_edge_shares():
    over = changed("lip_cut")[LIP_OVER, "outer"]  # 20-39 mm by 1 mm: 14 over 25; 20 with 6 mm more, 8 with 6 mm less
    assert (over.before, over.before_sigma, over.after, over.change, over.unit) == (14.0, 6.0, 0.0, -14.0, "m")
    assert (LIP_OVER, "outer") not in changed("lip_cut", None)


@pytest.mark.analytic
def test_a_pair_that_was_not_compared_says_why_there_is_no_height():
    one = work("mix_add", "2025-06-01")
    found = {c.measure: c for c in changes(one, around(one, ALL, ()), {**tables(), "change": []}, None)}
    assert np.isnan(found[HEIGHT].change) and "not compared directly" in found[HEIGHT].reason and found[HEIGHT].detected is None


HOURS = [work("drag", "2025-11-20", name="d", zone="skin", hours=2.0, by="crew"), work("level", "2025-11-20", name="l", zone="first", hours=1.5, by="crew")]


def rows_of(works: list[dict]) -> dict:
    return {(r["zone"], r["measure"]): r for r in spans(works, ALL, tables(), {"outer": 40.0}, lambda some: 0.5 * len(some))}


@pytest.mark.analytic
def test_hours_between_two_surveys_are_counted_where_the_work_was():
    found = rows_of(HOURS)
    skin, first = found["skin", PLANARITY], found["first", RING]
    assert (skin["visits"], skin["hours"], skin["mm_per_hour"]) == (1, 2.0, pytest.approx(2.5)) and skin["mix_t"] == 0.5
    assert (first["hours"], first["mm_per_hour"]) == (1.5, pytest.approx(18.0)) and set(found) == {("skin", PLANARITY), ("skin", GAP), ("first", RING)}
    assert skin["mm_per_hour_low95"] == pytest.approx(2.5 - 1.96 * 1.3 / 2, abs=1e-3)


@pytest.mark.analytic
def test_a_machine_or_a_visit_without_hours_leaves_mm_an_hour_empty_and_says_why():
    graded = rows_of([*HOURS, work("laser_grade", "2025-11-21", name="g", by="contractor")])["skin", PLANARITY]
    assert np.isnan(graded["mm_per_hour"]) and "by machine" in graded["reason"] and graded["change_mm"] == -5.0
    unsaid = rows_of([work("drag", "2025-11-20", zone="skin")])["skin", PLANARITY]
    assert np.isnan(unsaid["mm_per_hour"]) and unsaid["reason"] == "a visit without hours"


@pytest.mark.analytic
def test_edge_work_is_held_against_all_edges_by_their_length():
    found = rows_of([work("edge_clean", "2025-11-20", hours=2.0, by="crew")])["edges", LIP]
    assert (found["change_mm"], found["mm_per_hour"]) == (-26.0, pytest.approx(13.0))
