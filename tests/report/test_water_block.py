"""What the page says of rain, of a string and of the fall."""

from __future__ import annotations

import numpy as np
import pytest
from report.scene import HOME, TOLERANCES, WORDS, config, given, layout, sayer, seen, spot, stood, water, zone

from pipeline.report import palette
from pipeline.report.limits_named import held_against
from pipeline.report.todo import tasks
from pipeline.report.unsettled import unsettled
from pipeline.report.water_block import lip_holds, pools, puddle_lines, rained, water_block
from pipeline.report.water_map import shaded
from pipeline.surface.puddles import Puddle

SIGNED = {"set_by": "Board of Nowhere", "set_on": "2025-03-03"}
SLOPES = {"slope_min_pct": {"value": 0.5, **SIGNED}, "slope_max_pct": {"value": 1.5, **SIGNED}}


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u2060", "")


def block(*spots: dict, units: str = "metric", **over) -> dict:
    made = given(units, **over)
    return water_block(made, stood(seen(list(spots))), sayer(units))


@pytest.mark.invariant
def test_the_deepest_water_is_opened_first_and_noise_is_left_out():
    found = block(
        spot("second", 20.0, **water(9.0, 0.02)), spot("first", 30.0, **water(26.0, 0.05)), spot("third", 4.0),
        spot("home", 5.0, **water(8.0, 0.01) | {"ponded_sigma_m3": 0.02}),
    )  # fmt: skip
    assert [(r[0], r[1]) for r in found["rows"]] == [("P1", "First base"), ("P2", "Second base")]
    assert plain(found["rows"][0][2]) == "26 mm ± 8" and plain(found["rows"][0][3]) == "0.05 m³ ± 0.01"
    assert "Full after" not in found["heads"] and "All of them are full after 2 mm" in plain(found["said"][1])
    assert 'class="pour"' in found["svg"] and "P1" in found["svg"] and 'class="runs unsure"' in found["svg"]


@pytest.mark.invariant
@pytest.mark.parametrize("places", [1, 2, 5, 60])
def test_a_path_of_any_length_is_drawn_up_to_its_end(places):
    run = {"e": [HOME[0] + 0.2 * k for k in range(places)], "n": [HOME[1] + 8.0] * places, "share": [0.9] * places}
    drawn = block(spot("first", 30.0, **water(26.0, 0.05)), water_paths=(run,))["svg"].count('class="runs"')
    assert drawn == (2 if places > 1 else 0)


@pytest.mark.invariant
def test_pools_that_fill_slowly_are_told_rain_by_rain():
    slow = water(26.0, 0.05, full=12.0) | {"ponded_2mm_m3": 0.01, "ponded_5mm_m3": 0.02, "ponded_m3": 0.04}
    found = block(spot("first", 30.0, **slow), units="us")
    assert "Full after" in found["heads"] and plain(found["rows"][0][4]) == "0.5 in"
    assert [plain(s).split(":")[0] for s in found["said"][1:4]] == ["After 0.08 in", "After 0.2 in", "After 1.0 in"]
    assert (plain(rained(10, sayer())), plain(rained(2, sayer("metric")))) == ("0.4 in", "2 mm")


@pytest.mark.invariant
def test_without_pools_the_page_does_not_say_that_none_stands():
    found = block(spot("first", 3.0, pond_depth_sigma_mm=5.0))
    assert "does not say that no water stands" in found["none"] and "about 10 mm" in plain(found["none"]) and found["rows"] == []
    assert block(standing_water=None) == {}


@pytest.mark.analytic
@pytest.mark.parametrize(
    "held, sigma, said",
    [(0.03, 0.004, "60 % of it (0.03 m³ ± 0.01)"), (0.001, 0.001, "none"), (0.02, 0.02, "cannot tell"), (None, None, "cannot tell")],
)
def test_the_lip_s_share_is_a_figure_none_or_not_told(held, sigma, said):
    assert plain(lip_holds(water(20.0, 0.05, lip_held_m3=held, lip_held_sigma_m3=sigma), sayer("metric"))) == said


@pytest.mark.invariant
def test_many_pools_are_not_a_wall():
    spots = [spot(f"pond-{k}", 10.0 + k, e=HOME[0] + k, n=HOME[1] + 20, **water(10.0 + k, 0.02)) for k in range(9)]
    found = block(*spots)
    assert len(found["rows"]) == 6 and found["more"] == "3 shallower pools stand in low_spots.csv."
    assert [r["ponded_depth_mm"] for r in pools(seen(spots))] == sorted((10.0 + k for k in range(9)), reverse=True)


@pytest.mark.invariant
def test_deeper_water_is_darker_and_what_was_not_measured_is_paper():
    depth = np.array([[0.0, 0.004, 0.015, 0.030, np.nan]])
    cells = shaded(depth, np.ones(depth.shape, bool))
    assert cells[0, 0, 3] == 0
    assert [tuple(int(v) for v in c[:3]) for c in cells[0, 1:]] == [palette.rgb(c) for c in (*palette.WATER, palette.GROUND)]
    dark = [0.3 * r + 0.59 * g + 0.11 * b for r, g, b in map(palette.rgb, palette.WATER)]
    assert dark == sorted(dark, reverse=True) and min(a - b for a, b in zip(dark, dark[1:])) > 40  # told apart in grey


NOISY = zone(straightedge_mm=0.0, straightedge_sigma_mm=9.0, straightedge_noise_mm=22.0, straightedge_verdict="not_enough_evidence",
             verdict="not_enough_evidence")  # fmt: skip


@pytest.mark.invariant
def test_where_noise_exceeds_the_limit_the_page_says_how_a_string_settles_it():
    now, at = stood(seen(zones=[NOISY])), next(p for p in layout().places if p.place_id == "second")
    assert now.verdict == "not_enough_evidence"
    (group,) = [g for g in unsettled(now, sayer(), {}, [{"e": at.e, "n": at.n, "bearing_deg": 30.0, "gap_mm": 25.0}]) if "string" in g.lead]
    assert "noise alone shows gaps of 0.87 in, more than the limit of 20 mm" in plain(group.lead) and "over 10 ft" in plain(group.lead)
    assert [plain(line) for line in group.lines] == ["At second base, the string from home plate outward"]
    assert "how even the skin is" in sayer().headline(now)


@pytest.mark.invariant
def test_a_gap_over_the_limit_is_work_and_said_once_beside_planarity():
    gap = {"straightedge_mm": 30.0, "straightedge_sigma_mm": 3.0, "straightedge_noise_mm": 9.0, "straightedge_verdict": "work", "verdict": "work"}
    for planarity, number in ((5.0, 1), (30.0, 1)):
        now = stood(seen(zones=[zone(planarity=planarity, **gap)]))
        found = tasks(now, sayer("metric"), config().material, {})
        assert now.verdict == "work" and len(found) == number
    assert "nineteen gaps in twenty are below 30 mm ± 6, over the tolerance of 20 mm" in plain(tasks(stood(seen(zones=[zone(**gap)])), sayer("metric"), config().material, {})[0].lines[0])


@pytest.mark.analytic
def test_a_fall_that_is_too_flat_says_against_what_and_where_it_would_turn():
    """0.5 - 0.8416 x 0.05 = 0.46 %."""
    speaks = sayer("metric", tolerances=TOLERANCES | SLOPES)
    flat = zone("part-first-second", verdict="work", fall_along_pct=0.2, fall_along_sigma_pct=0.05, fall_verdict="too_flat", slope_pct=0.2)
    now = stood(seen(zones=[zone(), flat]))
    (task,) = tasks(now, speaks, config().material, {})
    assert plain(task.title) == "Look at the fall of the skin between first and second base"
    assert plain(task.lines[0]) == (
        "The skin between first and second base falls 0.20 % ± 0.10 (6 ± 3 mm per 3 m), less than the 0.5 % (15 mm per 3 m) wanted. "
        "With the same ±, it would be watch from 0.46 % (14 mm per 3 m)."
    )
    assert plain(held_against(now, speaks)).startswith("Held against: fall, least wanted 0.5 %") and "Board of Nowhere on 3 March 2025" in plain(held_against(now, speaks))
    assert "the fall of the skin between first and second base" in speaks.headline(now)


@pytest.mark.invariant
def test_a_fall_near_a_limit_says_the_nearer_one():
    speaks = sayer("us", tolerances=TOLERANCES | SLOPES)
    near = zone("skin", verdict="watch", fall_along_pct=1.49, fall_along_sigma_pct=0.05, fall_verdict="near", slope_pct=1.49)
    now = stood(seen(zones=[near]))
    assert now.verdict == "watch" and "it would be work from 1.54 % (1.9 in per 10 ft)" in plain(speaks.headline(now))
    unsure = zone("skin", fall_along_pct=1.0, fall_along_sigma_pct=0.7, fall_verdict="cannot_tell", fall_reason="known to 0.70 % only", verdict="not_enough_evidence")
    assert any("a level and a rod" in g.lead for g in unsettled(stood(seen(zones=[unsure])), speaks, {}))


@pytest.mark.invariant
def test_a_verdict_names_the_limit_it_stands_on_with_owner_and_date():
    now = stood(seen([spot("second", 70.0), spot("first", 30.0)]))
    assert plain(held_against(now, sayer("metric"))) == "Held against: low spot, unsafe above 60 mm, set by Board of Nowhere on 3 March 2025."
    assert held_against(stood(seen()), sayer()) == "" and WORDS("limits_named", what="x") == "Held against: x."


@pytest.mark.analytic
def test_puddles_seen_are_scored_misses_named_and_the_ranges_stretched():
    hit, miss = (Puddle("2026-04-20", place, HOME[0], HOME[1] + 20.0, "three", drawn) for place, drawn in (("second", True), ("first", False)))
    lines, wider = puddle_lines(given(puddles=(hit, hit, hit, miss)), sayer("metric"))
    assert lines[0].startswith("3 of 4 puddles that were seen by eye had been drawn in advance") and "first base" in lines[1] and "stretched by 12" in lines[2].replace("\u00a0", " ")
    assert wider == pytest.approx(1.25**0.5) and puddle_lines(given(puddles=(hit,)), sayer())[1] == 1.0 and puddle_lines(given(), sayer()) == ([], 1.0)
