"""What the page says of hand-offs: who decides, by how much, in the reader's units, and what nobody can tell."""

from __future__ import annotations

import pytest

from pipeline.report.handoffs_block import handoffs_block
from pipeline.works.handoffs import ACCESS, DRAINAGE, IRRIGATION
from report.scene import HOME, given, row, sayer, spot, tables

PLACE = {"e": HOME[0] + 12, "n": HOME[1] + 20}


def item(kind: str, name: str, measure: str, verdict: str, who: str, **over) -> dict:
    return row("handoffs", kind=kind, id=name, measure=measure, verdict=verdict, who_decides=who, note="",
               **({**PLACE, "difference_mm": 0.0, "sigma_mm": 1.0, "variant": "touch_up", "chosen": True, "before": 0.0, "after": 0.0, "change_sigma": 1.0} | over))  # fmt: skip


HEAD = item("irrigation_head", "h-1", "level_mm", "raise", IRRIGATION, difference_mm=25.4, sigma_mm=3.0, after=25.4)


def block(*rows: dict, units: str = "metric", looked=None, chosen: str = "touch_up", survey: str = "three") -> dict:
    record = {"survey": survey, "variants": [{}], "chosen": chosen, "handoffs": list(rows), "handoffs_looked": {"irrigation_head": 2, "gate": 1} if looked is None else looked}
    made = given(units, tables=tables(low_spots=[spot("second", 40.0)]), designs=record)
    return handoffs_block(made, made.standing, sayer(units))


def plain(cells) -> list[str]:
    return [c.replace("\u00a0", " ") for c in cells]


@pytest.mark.analytic
def test_a_head_to_raise_is_told_with_its_range_and_who_decides():
    us, metric = (plain(block(HEAD, units=u)["rows"][0]) for u in ("us", "metric"))
    assert metric[0] == "Fill the low spots" and metric[1] == "Irrigation head h 1" and metric[3] == "raise by 25 mm ± 6" and metric[4] == "irrigation designer or contractor"
    assert us[3] == "raise by 1.00 in ± 0.23"


@pytest.mark.analytic
def test_every_measure_names_its_values_before_and_after():
    rows = [
        item("valve_box", "v", "level_mm", "lower", IRRIGATION, difference_mm=-12.0, after=-12.0), item("inlet", "i", "level_mm", "look", DRAINAGE, difference_mm=9.0, after=9.0),
        item("inlet", "i", "catchment_m2", "look", DRAINAGE, before=100.0, after=160.0, change_sigma=10.0), item("outlet", "o", "fall_pct", "look", DRAINAGE, before=-0.5, after=0.6, change_sigma=0.1),
        item("edge", "outer-20", "outflow_m2", "look", DRAINAGE, before=2.0, after=60.0, change_sigma=10.0), item("gate", "g", "step_mm", "look", ACCESS, before=2.0, after=14.0),
        item("accessible_route", "r", "slope_pct", "look", ACCESS, before=1.0, after=5.6, change_sigma=0.1), item("accessible_route", "r", "cross_slope_pct", "look", ACCESS, before=1.0, after=2.5, change_sigma=0.1),
    ]  # fmt: skip
    made = block(*rows)
    said = [plain(r)[3] for r in made["rows"]]
    assert said == [
        "lower by 12 mm ± 2", "the ground at it comes up by 9 mm ± 2", "ground that drains into it: 100.0 m² now, 160.0 m² after (± 19.6 m²)", "fall toward it −0.50 % now, 0.60 % after (± 0.20)",
        "ground whose water leaves the skin here: 2.0 m² now, 60.0 m² after (± 19.6 m²)", "step where it meets the skin: 2 mm now, 14 mm after",
        "steepest along it 5.60 % (± 0.20), now 1.00 %", "steepest across it 2.50 % (± 0.20), now 1.00 %",
    ]  # fmt: skip
    assert made["rows"][4][1] == "The outer edge" and made["rows"][5][4] == "licensed designer; local law decides" and made["untold"] == []


@pytest.mark.analytic
def test_what_noise_hides_is_one_sentence_a_design_and_the_chosen_design_comes_first():
    laser = {"variant": "laser_plane", "chosen": False}
    rows = [item("valve_box", "v-2", "level_mm", "raise", IRRIGATION, **laser, difference_mm=20.0, after=20.0), HEAD, item("irrigation_head", "h-2", "level_mm", "cannot_tell", IRRIGATION, **laser),
            item("gate", "g", "step_mm", "cannot_tell", ACCESS, **laser)]  # fmt: skip
    made = block(*rows)
    assert [r[0] for r in made["rows"]] == ["Fill the low spots", "Laser grade"] and made["lead"] == ["Looked at: 1 gate and 2 irrigation heads."] or made["lead"] == ["Looked at: 2 irrigation heads and 1 gate."]
    assert made["untold"] == ["Laser grade: the survey’s noise hides whether anything is to be settled of irrigation head h 2; gate g."]
    assert block(rows[0])["lead"][1] == "The design the crew works to (fill the low spots) touches none of them."


@pytest.mark.invariant
def test_nothing_drawn_and_nothing_touched_are_said_and_an_older_surveys_designs_are_not():
    made = block(looked={}, chosen="")
    assert made["lead"][0].startswith("No head, box") and made["lead"][1] == "No design changes anything here for others." and made["rows"] == []
    assert block(HEAD, survey="two") == {}
