"""Rows of forecast.csv: which days, which series, what is said where there are too few surveys."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.forecast import KINDS, tried
from pipeline.settings import Config
from pipeline.steps.history_forecast import forecasts

DAYS = [dt.date(2025, 4, 1) + dt.timedelta(days=91 * k) for k in range(5)]


def run(depths, works=(), use=(), cores=()):
    names = [f"s{k}" for k in range(len(depths))]
    surveys = {s: {"flown_on": DAYS[k].isoformat(), "baseline": "s0"} for k, s in enumerate(names)}
    low = [{"survey_id": s, "low_spot_id": "second", "ring_depth_mm": d, "ring_depth_sigma_mm": 3.0} for s, d in zip(names, depths)]
    mix = [{"survey_id": s, "zone": "skin", "basis": b, "depth_mm": 90.0 - k, "depth_sigma_mm": 4.0} for k, (s, b) in enumerate(zip(names, cores))]
    rows = {"lip": [], "low_spots": low, "zones": [], "change": [], "lip_change": [], "mix_depth": mix}
    return forecasts(SimpleNamespace(settings=Config(), rows={"works": list(works), "use": list(use)}), surveys, rows)


@pytest.mark.analytic
def test_four_quarters_and_two_years_from_the_newest_survey_on_the_line():
    found = run([20.0, 22.0, 24.0, 26.0, 28.0])
    assert [r["on"] for r in found] == ["2026-06-30", "2026-09-30", "2026-12-30", "2027-03-31", "2028-03-30"]
    assert [r["value_mm"] for r in found] == pytest.approx([30.0, 32.0, 34.0, 36.0, 44.1], abs=0.1)
    assert all(r["low95_mm"] < r["value_mm"] < r["high95_mm"] for r in found) and found[0]["last_inside"] is True and found[0]["surveys"] == 5


@pytest.mark.analytic
def test_work_begins_a_series_anew_and_too_few_surveys_are_said():
    level = {"work": "level", "done_on": dt.date(2025, 10, 20), "zone": "second"}
    [row] = run([20.0, 22.0, 24.0, 5.0, 7.0], works=[level])
    assert "on" not in row and row["reason"] == "not enough surveys yet: 2 of 3" and row["surveys"] == 2


@pytest.mark.analytic
def test_a_last_survey_far_off_the_line_is_outside_its_band():
    assert run([20.0, 22.0, 24.0, 26.0, 90.0])[0]["last_inside"] is False


@pytest.mark.analytic
def test_only_mix_that_cores_speak_for_is_carried_on():
    found = {r["measure"]: r for r in run([1.0, 1.0, 1.0, 1.0], cores=["stated", "cores", "cores", "cores"])}
    assert found["mix_depth"]["surveys"] == 3
    assert "mix_depth" not in {r["measure"] for r in run([1.0, 1.0, 1.0, 1.0], cores=["stated"] * 4)}


@pytest.mark.invariant
@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 80), min_size=3, max_size=5))
def test_bands_hold_their_value_and_widen(depths):
    found = run(depths)
    widths = [r["high95_mm"] - r["low95_mm"] for r in found]
    assert len(found) == 5 and all(a <= b + 1e-9 for a, b in zip(widths[:-1], widths[1:]))


@pytest.mark.analytic
def test_the_skins_fall_is_carried_on_in_mm_over_a_metre_and_levelling_begins_it_and_the_gap_anew():
    names = [f"s{k}" for k in range(5)]
    surveys = {s: {"flown_on": DAYS[k].isoformat(), "baseline": "s0"} for k, s in enumerate(names)}
    zones = [{"survey_id": s, "zone": "skin", "slope_pct": 1.0 + 0.02 * k, "slope_sigma_pct": 0.05, "straightedge_mm": 12.0, "straightedge_sigma_mm": 1.5} for k, s in enumerate(names)]
    job = lambda works: SimpleNamespace(settings=Config(), rows={"works": works, "use": []})
    rows = {"lip": [], "low_spots": [], "zones": zones, "change": [], "lip_change": []}
    found = [r for r in forecasts(job([]), surveys, rows) if r["measure"] == "slope"]
    assert [r["value_mm"] for r in found] == pytest.approx([11.0, 11.2, 11.4, 11.6, 12.4], abs=0.05) and found[0]["low95_mm"] < 10.5
    level = [{"work": "level", "done_on": DAYS[3], "zone": "skin"}]
    assert {r["measure"]: r["surveys"] for r in forecasts(job(level), surveys, rows) if r["measure"] in ("slope", "straightedge")} == {"slope": 2, "straightedge": 2}


@pytest.mark.analytic
def test_added_mix_begins_the_depth_of_the_mix_anew():
    spread = [{"work": "mix_add", "done_on": DAYS[3], "zone": "skin"}]
    found = {r["measure"]: r for r in run([1.0] * 5, works=spread, cores=["cores"] * 5)}
    assert found["mix_depth"]["surveys"] == 2 and "not enough" in found["mix_depth"]["reason"]


@pytest.mark.analytic
def test_bands_hold_90_to_98_of_a_hundred_last_surveys_of_whole_fields():
    """benchmarks/forecast.py, small: heights that share a tie, wear by use, wear in lumps, work two thirds of the way."""
    for number, (name, count) in enumerate((("steady", 5), ("use", 6), ("lumps", 8), ("reset", 8), ("epoch", 12))):
        rng = np.random.default_rng(number)
        held = [hit for _ in range(40) for _, hit in tried(rng, count, KINDS[name])]
        assert len(held) > 300 and 0.90 <= np.mean(held) <= 0.98
