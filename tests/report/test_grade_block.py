"""The block of designs: what a reader is told of volumes, mix, cost, and of wishes that contradict."""

from __future__ import annotations

import pytest

from pipeline.report.grade_block import grade_block
from report.scene import given, row, sayer, spot, tables

ROW = dict(cut_m3=2.0, fill_m3=1.8, noise_m3=0.4, net_m3=-0.2, net_sigma_m3=0.1, mix_tonnes=0.0, loads=0, hours=5.6, cost_low=190.0, cost_high=220.0,
           planarity_after_mm=4.3, straightedge_after_mm=2.3, mix_low95_t=0.0, mix_high95_t=0.1, mix_reserve_t=0.1, worked_m2=200.0, graded_m2=690.0, feasible=True, reason="")  # fmt: skip


def record(*rows: dict, conflicts=(), survey: str = "three", **over) -> dict:
    wishes = {"form": "plane", "slope_min_pct": 0.5, "slope_max_pct": 1.2, "fall_bearing_deg": 58.0}
    return {"survey": survey, "variants": list(rows), "conflicts": list(conflicts), "wishes": wishes, "depth_from": "stated", "relative": False, "chosen_why": "low_spots"} | over


def variant(name: str, **over) -> dict:
    return row("quantities", variant=name, **(ROW | over))


def block(*rows: dict, units: str = "us", **over) -> dict:
    made = given(units, tables=tables(low_spots=[spot("second", 40.0)]), designs=record(*rows, **over))
    return grade_block(made, made.standing, sayer(units))


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u2060", "")


@pytest.mark.analytic
def test_a_row_speaks_the_readers_units_and_rounds_money_to_what_is_known():
    cells = [plain(c) for c in block(variant("no_mix_bought"))["rows"][0]]
    assert cells == ["Level, no mix bought", "2.62 cu yd", "2.35 cu yd", "± 0.52 cu yd", "0", "5.6", "USD 190–220", "0.17 in / 0.09 in"]
    assert plain(block(variant("no_mix_bought"), units="metric")["rows"][0][1]) == "2.00 m³"


@pytest.mark.analytic
def test_mix_to_buy_has_its_range_its_loads_and_a_reserve():
    made = block(variant("laser_plane", mix_tonnes=26.5, mix_low95_t=23.4, mix_high95_t=29.6, mix_reserve_t=2.6, loads=2, planarity_after_mm=0.0, straightedge_after_mm=0.0), units="metric")
    assert plain(made["rows"][0][4]) == "26.5 t ± 3.1, 2 loads"
    assert made["rows"][0][7] == "as finished"
    assert plain(made["reserve"][0]).startswith("Laser grade: keep 2.60 t more")


@pytest.mark.analytic
def test_what_is_not_known_is_said_and_why():
    made = block(variant("touch_up", mix_tonnes=None, loads=None, hours=None, cost_low=None, cost_high=None, reason="no density: placed_t_per_m3"))
    assert made["rows"][0][4:7] == ["not known"] * 3 and any("no density" in line for line in made["lines"])
    none = block(row("quantities", variant="no_mix_bought", feasible=False, reason="no depth of mix known"))
    assert none["rows"] == [] and "no such design, no depth of mix known" in none["lines"][0]


@pytest.mark.analytic
def test_a_contradiction_names_wish_place_asked_and_possible():
    told = [
        {"variant": "laser_plane", "family": "grass_edge", "place": "foul-first 17 m", "asked": 6.0, "possible": 26.6, "unit": "mm", "alone": True},
        {"variant": "no_mix_bought", "family": "least_fall", "place": "1 2", "asked": 0.5, "possible": 0.41, "unit": "pct", "alone": True},
        {"variant": "no_mix_bought", "family": "direction", "place": "1 2", "asked": 0.0, "possible": 0.1, "unit": "pct", "alone": True},
        {"variant": "no_mix_bought", "family": "curvature", "place": "", "asked": 0.004, "possible": 0.01, "unit": "per_m", "alone": True},
    ]
    lines = [plain(line) for line in block(variant("laser_plane"), conflicts=told, units="metric")["lines"]]
    assert "56 m" not in lines[0] and "at the first-base foul edge, 17 m" in lines[0] and "27 mm" in lines[0] and "6 mm are allowed" in lines[0]
    assert "0.50 % of fall are asked, 0.41 % are possible" in lines[1] and "0.10 %" in lines[2] and "0.01" in lines[3]


@pytest.mark.analytic
def test_a_volume_that_is_mostly_noise_is_not_to_be_ordered_by():
    assert any("do not order by it" in line for line in block(variant("laser_plane", noise_m3=1.3))["lines"])
    assert not any("do not order by it" in line for line in block(variant("laser_plane", noise_m3=0.3))["lines"])


@pytest.mark.invariant
def test_designs_of_an_older_survey_are_not_shown():
    assert block(variant("touch_up"), survey="two") == {}
