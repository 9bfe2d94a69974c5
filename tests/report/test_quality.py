"""What the page says of checkpoints, of patches that moved, and of cells that chance would colour."""

from __future__ import annotations

import re

import numpy as np
import pytest
from report.scene import DAYS, WORDS, changed, given, record, sayer

from pipeline.report import quality
from pipeline.report.change_block import by_chance
from pipeline.report.changed import Pair
from pipeline.report.quality import HELD
from pipeline.report.saying import EDGE_LIMITS, LIMITS
from pipeline.survey.stable.checkpoints import MIN_1998, MIN_2023, accuracy


def figures(count: int, sigma_mm: float | None = 2.0, mean_mm: float = 3.0) -> dict:
    """The figures of survey.json for residuals that scatter by 10 mm about a mean."""
    spread = np.where(np.arange(count) % 2, 10.0, -10.0) if count > 1 else np.zeros(count)
    found = accuracy((mean_mm + spread) / 1000, None if sigma_mm is None else np.full(count, sigma_mm / 1000))
    mm = {"mean": found.mean_m, "sd": found.sd_m, "rmse": found.rmse_m, "sigma": found.checkpoint_sigma_m, "nssda_95": found.nssda_95_m, "rmse_v": found.rmse_v_m}
    return {f"checkpoint_{k}_mm": None if np.isnan(v) else 1000 * v for k, v in mm.items()} | {
        "checkpoints": found.count, "checkpoint_biased": found.biased, "checkpoint_enough_1998": found.enough_1998,
        "checkpoint_enough_2023": found.enough_2023, "checkpoints_asked_1998": MIN_1998, "checkpoints_asked_2023": MIN_2023,
    }  # fmt: skip


def said(**of) -> str:
    return " ".join(quality.checkpoint_notes({"one": record("one", figures=figures(**of))}, sayer("metric"))).replace("\u00a0", " ")


@pytest.mark.analytic
def test_both_standards_figures_stand_under_their_own_names_with_the_points_they_ask_for():
    """1.96 RMSE is FGDC-STD-007.3-1998; RMSE with the points' own error in quadrature is ASPRS edition 2, 2023 (from memory)."""
    text = said(count=36)
    rmse = np.hypot(3.0, 10.0)
    assert f"RMSE {rmse:.0f} mm" in text and "s.d. 10 mm" in text and "mean +3 mm" in text
    assert f"1998 form (NSSDA, FGDC-STD-007.3): {1.96 * rmse:.0f} mm" in text and "36 points of at least 20 asked" in text
    assert f"2023 form (ASPRS, edition 2): vertical RMSE {np.hypot(rmse, 2):.0f} mm" in text and "36 points of at least 30 asked" in text
    assert "fewer points than asked" not in text and "common shift" in text


@pytest.mark.analytic
def test_too_few_points_an_unknown_error_of_the_points_and_one_point_are_said():
    few = said(count=5, mean_mm=1.0)
    assert "5 points of at least 20 asked" in few and "no accuracy may be stated" in few and "common shift" not in few
    assert "no figure" in said(count=36, sigma_mm=None) and "2023 form" in said(count=36, sigma_mm=None)
    assert "one independent point" in said(count=1) and "s.d." not in said(count=1)


def day(survey: str) -> str:
    return WORDS.date(DAYS[survey]).replace("\u00a0", " ")


def moved(**over) -> dict:
    return {"patch_id": "home-plate", "form": "step", "since": "two", "earliest": "two", "latest": "two", "moved_mm": 15.0, "sigma_mm": 4.0, "p_holm": 0.01,
            "surveys": [{"survey_id": "two", "skin_mm": -3.2}, {"survey_id": "three", "skin_mm": 0.2}], **over}  # fmt: skip


@pytest.mark.analytic
def test_a_patch_that_moved_is_named_with_day_size_and_what_it_did():
    records = {s: record(s) for s in DAYS}
    (text,) = quality.moved_over_all([moved()], records, sayer("metric"))
    text = text.replace("\u00a0", " ")
    assert text.startswith(f"Home plate stands 15 mm ± 8 higher since {day('two')}")
    assert "\u22123 mm on" in text and day("three") not in text  # 0.2 mm is not worth a word
    (unsure,) = quality.moved_over_all([moved(earliest="two", latest="three", moved_mm=-15.0)], records, sayer("metric"))
    assert "lower since" in unsure and f"from {day('two')} to {day('three')}" in unsure.replace("\u00a0", " ")
    (drift,) = quality.moved_over_all([moved(form="drift", surveys=[])], records, sayer("metric"))
    assert "has risen by" in drift and "lies off" not in drift


@pytest.mark.analytic
def test_the_reader_is_told_how_many_coloured_cells_chance_would_colour():
    page = given(units="metric")
    text = by_chance(page, Pair.of(page.tables, "two", "three"), sayer("metric"))
    zone = page.layout.grid.mask(page.layout.skin)  # the skin is among the zones that changed
    inside = zone | page.layout.grid.mask(page.layout.zones["second"])
    shown = int((page.detected == -1).sum())
    numbers = [int(n.replace("\u00a0", "")) for n in re.findall(r"\d[\d\u00a0]*(?= cells| \()", text)]
    assert shown in numbers and int((inside & (page.detected != -128)).sum()) in numbers
    assert min(round(0.05 * int(inside.sum())), shown) in numbers
    none = given(units="metric", detected=np.zeros_like(page.detected))
    assert by_chance(none, Pair.of(none.tables, "two", "three"), sayer("metric")) == ""
    assert changed("skin", 1.0)["detected"]


@pytest.mark.invariant
def test_every_limit_that_a_finding_may_stand_on_has_a_name_and_a_row():
    names = {n for pair in (*LIMITS.values(), EDGE_LIMITS) for n in pair if n} | {"slope_max_pct"}
    assert names <= set(HELD)
    for name in HELD:
        assert WORDS(f"tolerance_{name}")
