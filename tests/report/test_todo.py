"""What to do next: in which order, with what, and what would settle what is not known."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from pipeline.owner import Material
from pipeline.report.figures import NBSP
from pipeline.report.todo import filling, next_steps, remedy, tasks, watched
from pipeline.report.unsettled import unsettled
from pipeline.surface.ring import BY_HAND
from report.scene import LIMITS, TOLERANCES, config, edge, layout, sayer, seen, spot, station, stood, zone

MATERIAL = config().material


def made(*spots, lips=None, zones=None, keys=None, material=MATERIAL, **given):
    now = stood(seen(spots, lips or (), zones))
    return tasks(now, sayer("metric", **given), material, keys or {})


def plain(text: str) -> str:
    return text.replace(NBSP, " ").replace("\u2060", "")


@pytest.mark.invariant
def test_unsafe_things_come_first_then_spots_edges_and_the_skin():
    lips = edge({range(3, 9): 34.0}) + edge({range(2, 8): 62.0}, length=18, edge="foul-first")
    lips += edge({range(2, 8): 33.0}, kind="low_skin", length=18, edge="foul-third")
    found = made(spot("first", 30.0), spot("second", 70.0), lips=lips, zones=[zone(planarity=19.0)])
    assert [t.title for t in found] == [
        "Fill second base", "Take the lip off the first-base foul edge", "Fill first base", "Take the lip off the outer edge",
        "Add mix along the third-base foul edge: do not cut", "Level the skin",
    ]  # fmt: skip
    assert [t.unsafe for t in found] == [True, True, False, False, False, False]
    assert next_steps(found[:2]) == "fill second base; take the lip off the first-base foul edge" and next_steps([]) == ""


@pytest.mark.invariant
def test_edges_that_want_the_same_work_are_one_task_and_every_stretch_keeps_its_figure():
    lips = edge({range(3, 9): 34.0, range(20, 24): 40.0}) + edge({range(2, 8): 30.0}, length=18, edge="foul-first")
    (task,) = made(lips=lips)
    assert task.title == "Take the lip off the outer edge and the first-base foul edge" and len(task.findings) == 3
    lines = [plain(line) for line in task.lines]
    assert lines[0] == "Over the tolerance of 25 mm:"
    assert lines[1].startswith("The outer edge, 3–9 m: up to 34 mm ± 8 high") and lines[3].startswith("The first-base foul edge, 2–8 m: up to 30 mm ± 8 high")
    assert lines[-1] == "No ruler readings stand behind these heights: the grass may hide or feign part of them."


@pytest.mark.invariant
def test_low_skin_is_never_to_be_cut_and_an_unknown_step_never_worked_before_it_is_measured():
    (low,) = made(lips=edge({range(3, 9): 34.0}, kind="low_skin"))
    assert low.title.endswith("do not cut") and "Add mix" in " ".join(low.lines) and "cut the sod" not in " ".join(low.lines)
    (step,) = made(lips=edge({range(3, 9): 70.0}, kind="not_enough_evidence"))
    assert step.title == "Measure the step along the outer edge by hand before deciding" and step.unsafe


@pytest.mark.invariant
@pytest.mark.parametrize("height, width, words", [(20.0, None, "sweep"), (26.0, 300.0, "wash"), (51.0, 300.0, "cut"), (26.0, 601.0, "wide")])
def test_the_remedy_is_the_mildest_that_height_and_width_leave(height, width, words):
    """Order of the remedies: university answers in SportsField Management, 4 November 2021; the sizes are ours."""
    assert remedy(height, width) == f"remedy_{words}"


@pytest.mark.analytic
def test_mix_is_volume_times_the_owners_density_with_the_surveys_range():
    """0.060 m3 +/- 0.010 x 1.7 t/m3."""
    (task,) = made(spot("first", 30.0, volume_m3=0.06, volume_sigma_m3=0.01, fill_tonnes=0.102, ponded_m3=0.02, ponded_sigma_m3=0.004))
    assert plain(task.lines[1]) == "Mix: 0.10 t ± 0.03 (0.06 m³ ± 0.02 placed)."
    assert plain(task.lines[2]) == "After 10 mm (0.4 in) of rain about 0.02 m³ ± 0.01 of water stands in it."
    assert "1.70 t/m³ placed, set by Board of Nowhere" in plain(" ".join(filling([task], sayer("metric"), MATERIAL)))
    assert "1.43 tons per cu yd" in plain(" ".join(filling([task], sayer(), MATERIAL)))
    assert filling([], sayer(), MATERIAL) == []


@pytest.mark.invariant
def test_no_tonnage_is_invented():
    (task,) = made(spot("first", 30.0), material=Material())
    assert plain(task.lines[1]) == "Fill: 0.06 m³ ± 0.02 placed." and "No density of the mix is set" in filling([task], sayer(), Material())[1]
    (task,) = made(spot("first", 30.0, fill_tonnes=None))
    assert "within what noise alone can make" in task.lines[1]
    (task,) = made(spot("first", 30.0, fill_tonnes=None, volume_m3=None))
    assert task.lines[1] == "The volume is not known."


@pytest.mark.invariant
def test_a_skin_off_a_plane_without_gaps_may_be_crowned_and_is_not_levelled():
    crowned = zone(planarity=19.0, straightedge_mm=2.0, straightedge_noise_mm=8.0)
    (task,) = made(zones=[crowned])
    assert task.title == "Look up what the skin was graded to" and "A skin built with a crown is so by design" in task.lines[-1]
    for other in ({"straightedge_mm": 15.0, "straightedge_noise_mm": 8.0}, {}):
        assert made(zones=[zone(planarity=19.0, **other)])[0].title == "Level the skin"
    no_limit = {"tolerances": {k: v for k, v in TOLERANCES.items() if k != "straightedge_mm"}}
    assert made(zones=[crowned], **no_limit)[0].title == "Level the skin"


@pytest.mark.invariant
def test_marks_stand_before_the_figures_they_belong_to():
    now = stood(seen(lips=edge({range(3, 9): 34.0, range(20, 24): 60.0})))
    keys = dict(zip([f for f in now.newest.findings if f.stretch], "AB"))
    (task,) = tasks(now, sayer("metric"), MATERIAL, keys)
    text = plain(" ".join(task.lines))
    assert "A: 20–24 m: up to 60 mm" in text and "B: 3–9 m: up to 34 mm" in text and text.index("A: 20") < text.index("B: 3")
    assert "A: Abrupt" in text and "B: First wash" in text


@pytest.mark.analytic
def test_what_is_near_its_tolerance_is_watched_edge_by_edge():
    now = stood(seen([spot("first", 20.0)], edge({range(3, 6): 25.0, range(20, 22): 26.0})))
    text = [plain(line) for line in watched(now, sayer("metric"))]
    assert text == [
        "First base is 20 mm ± 4 low, near the tolerance of 20 mm. With the same ±, it would be work from 22 mm.",
        "The outer edge is near the tolerance of 25 mm in places along 5 m: 3–6 m, 20–22 m.",
    ]  # fmt: skip


@pytest.mark.invariant
@pytest.mark.parametrize("units, unit", [("us", "ft"), ("metric", "m")])
def test_the_watched_length_is_the_sum_of_the_spans_as_printed(units, unit):
    """Gaps that are bridged count in both, and rounding to feet is done once."""
    now = stood(seen(lips=edge({range(3, 4): 25.0, range(6, 8): 25.0, range(14, 15): 25.0, range(20, 21): 25.0})))
    (text,) = [plain(line) for line in watched(now, sayer(units))]
    spans = [(int(a), int(b)) for a, b in re.findall(rf"(\d+)–(\d+) {unit}", text)]
    assert len(spans) == 3 and int(re.search(rf"in places along (\d+) {unit}", text)[1]) == sum(b - a for a, b in spans)


@pytest.mark.invariant
def test_what_is_worked_over_anyway_is_not_watched_as_well():
    now = stood(seen(lips=edge({range(3, 6): 34.0, range(6, 8): 25.0, range(8, 11): 34.0, range(20, 22): 25.0})))
    (text,) = [plain(line) for line in watched(now, sayer("metric"))]
    assert text.endswith("in places along 2 m: 20–22 m.")
    (whole,) = watched(stood(seen(lips=[station(None, 25.0)])), sayer("metric"))
    assert plain(whole).startswith("Lip along the outer edge, mean over all of it: 25 mm ± 8 high, near the tolerance of 25 mm. With the same ±")


@pytest.mark.invariant
def test_low_skin_is_told_as_how_far_the_skin_lies_below_the_grass():
    (task,) = made(lips=edge({range(3, 9): 34.0}, kind="low_skin"))
    line = plain(task.lines[1])
    assert line.startswith("3–9 m: the skin stands up to 34 mm ± 8 below the grass’s soil, lowest ") and " high" not in line
    (whole,) = made(lips=[station(None, 34.0, kind="low_skin")])
    assert plain(whole.lines[1]) == "The skin stands 34 mm ± 8 below the grass’s soil on average."


def groups(*spots, lips=None, wanted=None, **given):
    now = stood(seen(spots, lips or ()))
    return unsettled(now, sayer("metric", **given), wanted or {})


@pytest.mark.invariant
def test_places_that_want_the_same_tool_stand_under_one_sentence():
    reason = "noise alone makes so deep a pond"
    found = groups(spot("first", None, None, reason=reason), spot("third", None, None, reason=f"{BY_HAND}too little skin"))
    assert [(g.lead.split(":")[0], g.lines) for g in found] == [("Low spots", (f"First base: {reason}.", "Third base: too little skin."))]


@pytest.mark.invariant
def test_an_edge_asks_for_as_many_readings_as_would_halve_the_doubt_and_names_as_many_marks():
    unknown = edge({range(5, 25): 34.0}, kind="not_enough_evidence")
    (group,) = groups(lips=unknown, wanted={"outer": 4})
    assert plain(group.lines[0]) == "The outer edge, 20 m of it (lip, low skin or neither): 4 readings, first at the 6, 12, 19, 25 m marks."
    assert "opposite work" in group.lead
    (group,) = groups(lips=unknown)
    assert "15 readings" in group.lines[0]
    (group,) = groups(lips=[station(None, 34.0, kind="not_enough_evidence")], wanted={"outer": 6})
    assert plain(group.lines[0]) == "The outer edge (lip, low skin or neither): 6 readings along it."


@pytest.mark.invariant
def test_an_edge_hardly_seen_is_to_be_walked_and_a_missing_limit_to_be_set():
    half = [station(k + 0.5, 3.0 if k < 10 else None, 4.0 if k < 10 else None) for k in range(40)]
    (group,) = groups(lips=half)
    assert plain(group.lines[0]) == "The outer edge: only 10 m of its 40 m could be measured."
    no_lip = {"tolerances": {k: v for k, v in TOLERANCES.items() if k != "low_spot_mm"}}
    limits = replace(LIMITS, low_spot=None)
    now = stood(seen([spot("first", 30.0)], limits=limits), limits=limits)
    (asked,) = unsettled(now, sayer("metric", **no_lip), {})
    assert asked.lead.startswith("No tolerance is set for low_spot_mm. It is the owner’s to set") and asked.lines == ()


@pytest.mark.invariant
def test_a_mound_whose_edge_no_survey_tells_is_checked_by_hand():
    mounded = layout("baseball-70")
    assert mounded.mound is not None and all(e.edge_id != "mound" for e in mounded.edges)  # a skinned infield: the mound lies in the skin
    s = sayer("metric")
    s = replace(s, placing=replace(s.placing, layout=mounded))
    (group,) = unsettled(stood(seen()), s, {})
    assert group.lines == ("The mound’s edge: it lies in the skin, not in grass, and no figure is made of how the skin meets it.",)
    assert plain(s.headline(stood(seen()))).endswith("To be checked by hand: the mound’s edge.")
    told = seen()
    told = replace(told, edges=(*told.edges, replace(told.edges[0], edge_id="mound")))
    assert s.mound_untold(seen()) and not s.mound_untold(told) and not sayer().mound_untold(seen())


@pytest.mark.invariant
def test_a_walk_that_tells_means_only_sends_somebody_to_look_for_the_high_places():
    (group,) = groups(lips=[station(None, 3.0)])
    assert group.lead.startswith("A walk gives the mean over a whole edge only.") and "the outer edge" in group.lead
