"""Cards of works: what was wrong, what was done, what changed, as built in three words, how it held; hours in one line."""

from __future__ import annotations

import pytest

from pipeline.report.works_block import pooled_rows, works_block
from report.scene import FIELD, given, reads, row, sayer, tables

HELD = {"rate": None, "sigma": None, "settled": None, "settled_sigma": None, "so_far": None, "so_far_sigma": None, "months": None, "since": 0, "reason": ""}
NOTHING = dict.fromkeys(("before", "before_sigma", "after", "after_sigma", "change", "change_sigma", "detected"))


def measure(name: str, place: str, held: dict | None = None, **figures) -> dict:
    return {"measure": name, "place": place, "unit": "mm", "reason": "", **NOTHING, **figures, "held": None if held is None else HELD | held}


def record(*measures: dict, **over) -> dict:
    side = lambda s, on: {"survey_id": s, "flown_on": on}
    return {
        "work_id": "w1", "work": "laser_grade", "done_on": "2025-11-10", "ended_on": "2025-11-12", "zone": None, "by": "contractor", "machine": None, "hours": 11.0, "cost": 5200.0,
        "sod_m2": None, "documents": "invoice 118", "notes": None, "tonnes": None, "placed_m3": None, "before": side("two", "2025-10-06"), "after": side("three", "2026-04-07"),
        "shares": [], "measures": list(measures), "as_built": {}, "hand_levels": {}, **over,
    }  # fmt: skip


def block(*records: dict, units: str = "metric", progress=(), **cells) -> dict:
    works = reads("works", *(
        {"work_id": r["work_id"], "field_id": FIELD, "done_on": r["done_on"], "work": r["work"], "by": "contractor", **cells} for r in records
    ), {"work_id": "other", "field_id": FIELD, "done_on": "2025-11-17", "work": "roll"})  # fmt: skip
    made = given(units, works=works, worked={"works": list(records)}, tables=tables(progress=list(progress)))
    return works_block(made, sayer(units))


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u2060", "").replace("\u2212", "-")


def lines(*records: dict, units: str = "metric") -> str:
    (card,) = block(*records, units=units)["cards"]
    return plain(" ".join([card["title"], *card["lines"], card["shares"], *card["levels"]]))


PLANE = measure("planarity", "skin", before=7.0, before_sigma=0.5, after=2.0, after_sigma=1.2, change=-5.0, change_sigma=1.3, detected=True)
LOW = measure("ring_depth", "first", before=1.0, before_sigma=2.0, after=2.0, after_sigma=2.0, change=1.0, change_sigma=2.5, detected=False)
HEIGHT = measure("mean_height", "skin", change=4.0, change_sigma=3.0, detected=False)


@pytest.mark.analytic
def test_a_card_says_what_was_wrong_done_and_changed_in_the_readers_units():
    said = lines(record(PLANE, LOW))
    assert said.startswith("10 November 2025: laser-graded, by a contractor, until 12 November 2025.")
    assert "What was wrong (6 October 2025): unevenness of the skin as a whole 7 mm ± 1." in said
    assert "What was done: 11 hours, USD 5 200 and papers: invoice 118." in said
    assert "What changed by 7 April 2026: unevenness of the skin as a whole -5 mm ± 3 (from 7 mm to 2 mm)." in said
    assert "No change is shown of: low spot at first base +1 mm ± 5." in said
    assert "-0.20 in ± 0.10" in lines(record(PLANE), units="us")


@pytest.mark.analytic
def test_what_is_no_more_than_noise_is_no_change_and_other_works_between_are_named():
    said = lines(record(HEIGHT, LOW, shares=["other"], hours=None, cost=None, documents=None))
    assert "nothing that is more than the surveys’ noise" in said and "nothing that the survey is sure of" in said and "neither hours nor mix nor cost" in said
    assert "One other work lies between the two surveys (17 November 2025: rolled): what changed is that of both together." in said


@pytest.mark.analytic
def test_mix_on_the_ticket_stands_beside_what_the_surveys_show():
    assert "the surveys show +4 mm ± 6" in lines(record(HEIGHT, work="mix_add", tonnes=11.0, placed_m3=6.5)) and "11.00 t of mix" in lines(record(HEIGHT, tonnes=11.0))


BUILT = {"against": "form", "form": "plane", "note": "form_later", "tolerance_mm": 6.35, "word": "cannot_tell", "reason": "", "survey": "three", "sigma_mm": 2.5,
         "places_within": 10, "places_outside": 0, "places_cannot_tell": 61, "share": {"value": 0.972, "low95": 0.93, "high95": 1.0, "reason": ""}}  # fmt: skip


@pytest.mark.analytic
def test_as_built_is_said_in_three_words_with_what_they_rest_on():
    said = lines(record(as_built=BUILT), units="us")
    assert "As built, against 0.25 in: cannot tell of every place." in said and "10 are within, 0 outside, 61 cannot be told" in said
    assert "97 % of such squares (93–100 %) are within 0.25 in" in said and "its level nobody fixed" in said and "written down after the work" in said
    for word, words in (("within", "within 0.25 in everywhere"), ("outside", "outside 0.25 in in places")):
        assert words in lines(record(as_built=BUILT | {"word": word}), units="us")
    assert "As built: cannot tell (no tolerance)." in lines(record(as_built=BUILT | {"reason": "no tolerance"}))
    assert "over 99 %" in lines(record(as_built=BUILT | {"share": {"value": 0.999, "low95": 0.93, "high95": 1.0, "reason": ""}}))


@pytest.mark.analytic
def test_hand_levels_are_listed_and_judged_or_asked_for():
    places = [{"name": "w1-01", "e": 507003.0, "n": 175008.0, "design_m": None, "east": 507003.0, "north": 175008.0, "design": None}]
    levels = {"places": places, "tolerance_mm": 6.35, "result": None, "reason": ""}
    (card,) = block(record(hand_levels=levels))["cards"]
    assert card["places"][0][0] == "01" and card["places"][0][2:] == ("507003.00", "175008.00") and "None is read yet" in card["levels"][0]
    found = {"read": 30, "within": 29, "share": 0.967, "low95": 0.828, "high95": 0.999, "off_m": [], "reason": ""}
    assert "29 of 30 are within 6.35 mm: of the ground 83–100 % at 95 %." in lines(record(hand_levels=levels | {"result": found}))
    assert "12 of 30 places are read" in lines(record(hand_levels=levels | {"result": found | {"reason": "12 of 30 places are read: all are needed"}}))


@pytest.mark.analytic
def test_how_it_held_is_a_rate_only_when_enough_surveys_tell_and_settling_stands_apart():
    assert "no survey since" in lines(record(PLANE | {"held": HELD}))
    few = {"since": 1, "so_far": 2.0, "so_far_sigma": 1.0, "reason": "not enough"}
    assert "not enough surveys yet, 1 since. So far, worse positive: unevenness of the skin as a whole +2 mm ± 2." in lines(record(PLANE | {"held": HELD | few}))
    rate = lambda r, **more: lines(record(PLANE | {"held": HELD | {"since": 3, "rate": r, "sigma": 0.1, **more}}))
    assert "goes back by 0.50 mm ± 0.20 a month" in rate(0.5).replace("0.5 mm ± 0.2", "0.50 mm ± 0.20") and "shows no loss" in rate(0.1) and "still gets better" in rate(-0.5)
    assert "after the fresh mix had settled by +3 mm ± 2 first" in rate(0.5, settled=3.0, settled_sigma=1.0)


def span(measure_: str, value: float, half: float, **over) -> dict:
    return row("progress", zone="skin", from_survey="one", to_survey="two", measure=measure_, visits=3, hours=2.0, mm_per_hour=value, mm_per_hour_low95=value - half,
               mm_per_hour_high95=value + half, **over)  # fmt: skip


@pytest.mark.analytic
def test_hours_are_pooled_and_small_progress_is_shown_only_when_it_is():
    said = [plain(t) for t in block(progress=[span("planarity", 2.0, 1.0)])["progress"]]
    assert said == ["Crew work shows: unevenness of the skin gets better by 2.0 mm ± 1.0 an hour of it, wear meanwhile taken off (3 visits, 2 hours, 1 span between two surveys)."]
    assert "No effect shown yet" in block(progress=[span("planarity", 0.5, 1.0)])["progress"][0]
    assert "does not keep up" in block(progress=[span("planarity", -2.0, 1.0)])["progress"][0]
    ((_, found, visits, hours),) = pooled_rows([span("planarity", 0.8, 1.0)] * 9 + [row("progress", measure="planarity")])
    assert (found.word, visits, hours) == ("better", 27, 18.0)


@pytest.mark.invariant
def test_upkeep_and_work_without_both_surveys_have_no_card():
    assert block(record(work="drag"))["cards"] == [] and block(record(before=None))["cards"] == []


@pytest.mark.analytic
@pytest.mark.parametrize("moisture, measures, said", [("smears", (PLANE,), "in which this work is not done as it is."), ("dust", (HEIGHT,), "the poor result may be the day’s"), ("holds", (HEIGHT,), None)])
def test_a_handful_that_forbids_the_work_is_named_beside_what_came_of_it(moisture, measures, said):
    (card,) = block(record(*measures), moisture=moisture)["cards"]
    told = " ".join(card["lines"])
    assert ("handful" in told) == (said is not None) and (said or "") in told
