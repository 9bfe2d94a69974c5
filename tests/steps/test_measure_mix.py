"""Depth of mix of one survey's day, from the operator's rows: cores used and not, rows, orders, where to core next."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest

from pipeline.steps.measure_mix import STATED_SD_M, mix_of
from report.scene import CRS, FIELD, MATERIAL, SIGNED, TOLERANCES, config, layout, reads

AT = ("home", "first", "second", "third", "short-stop", "lead-off-first", "slide-third", "lead-off-second", "box-left")
LEAST = {"mix_depth_min_mm": {"value": 75, **SIGNED}}
DAY = dt.date(2026, 4, 7)


def job(depths: dict[str, float], works=(), tolerances=TOLERANCES | LEAST, on: str = "2026-04-01", **field):
    readings = reads("readings", *(
        {"reading_id": f"r-{name}", "field_id": FIELD, "read_on": on, "kind": "mix_depth", "value": str(mm), "unit": "mm", "place": name} for name, mm in depths.items()
    ))  # fmt: skip
    row = reads("fields", {"field_id": FIELD, "crs": CRS, "layout": "softball-55", **field})[0]
    worked = reads("works", *({"work_id": f"w{k}", "field_id": FIELD, **w} for k, w in enumerate(works)))
    settings = config(tolerances=tolerances, material=MATERIAL | {"reserve_mm": 25})
    return SimpleNamespace(field=FIELD, survey="s", settings=settings, field_row=row, rows={"readings": readings, "works": worked}, survey_row={"flown_on": DAY}, tables_dir=".")


def found(*args, of: str = "softball-55", **given):
    return mix_of(job(*args, **given), layout(of), np.random.default_rng(1))


def skin(mix) -> dict:
    return next(r for r in mix.rows if r["zone"] == "skin")


@pytest.mark.analytic
def test_cores_all_of_50_mm_want_the_missing_25_over_all_that_they_speak_for():
    mix = found(dict.fromkeys(AT, 50.0))
    row = skin(mix)
    area = mix.fine.told_m2
    assert row["basis"] == "cores" and row["cores"] == len(AT) and row["verdict"] == "work" and row["depth_mm"] == pytest.approx(50.0, abs=0.1)
    assert row["tonnes"] == pytest.approx(0.025 * area * 1.7, rel=0.06)  # and some for what is not known
    assert row["tonnes_low95"] < 0.025 * area * 1.7 < row["tonnes_high95"] and row["loose_m3"] == pytest.approx(row["tonnes"] / 1.55)
    assert row["thin_m2"] > 0.8 * area and row["probability"] > 0.999
    assert 0 < row["blade_mm"] < 25.0  # 50 less the reserve of 25, less what is not known
    assert row["oldest_core"] == row["newest_core"] == "2026-04-01"


@pytest.mark.analytic
def test_enough_mix_is_good_and_a_least_that_nobody_set_judges_nothing():
    assert skin(found(dict.fromkeys(AT, 120.0)))["verdict"] == "good"
    row = skin(found(dict.fromkeys(AT, 50.0), tolerances=TOLERANCES))
    assert row["verdict"] == "not_enough_evidence" and "mix_depth_min_mm" in row["reason"] and np.isnan(row["tonnes"]) and np.isnan(row["thin_m2"])
    assert row["depth_mm"] == pytest.approx(50.0, abs=0.1)


@pytest.mark.analytic
def test_no_core_no_figure_no_blade_no_order_and_places_are_asked_for():
    mix = found({})
    row = skin(mix)
    assert row["basis"] == "none" and row["verdict"] == "not_enough_evidence" and "nothing is assumed" in row["reason"]
    assert all(np.isnan(row[k]) for k in ("depth_mm", "blade_mm", "tonnes", "probability")) and len(mix.wanted) >= 8
    assert np.isnan(mix.fine.depth_m).all()


@pytest.mark.analytic
def test_a_stated_depth_is_shown_with_what_it_is_worth_and_nothing_rests_on_it():
    """4.5 in = 114.3 mm, exact."""
    row = skin(found({}, mix_depth="4.5", mix_depth_unit="in"))
    assert row["basis"] == "stated" and row["depth_mm"] == pytest.approx(114.3) and row["depth_sigma_mm"] == pytest.approx(STATED_SD_M * 1000)
    assert row["verdict"] == "not_enough_evidence" and np.isnan(row["blade_mm"]) and np.isnan(row["tonnes"])
    assert skin(found(dict.fromkeys(AT, 50.0), mix_depth="4.5", mix_depth_unit="in"))["depth_mm"] == pytest.approx(50.0, abs=0.1)


@pytest.mark.analytic
def test_cores_from_before_the_mix_was_renewed_are_named_with_the_day():
    mix = found(dict.fromkeys(AT[:3], 50.0), [{"done_on": "2026-04-03", "ended_on": "2026-04-05", "work": "mix_add"}])
    assert "2026-04-05" in skin(mix)["reason"] and not any(c["used"] for c in mix.cores) and all("renewed 2026-04-05" in c["why"] for c in mix.cores)


@pytest.mark.analytic
def test_the_mound_s_clay_is_no_depth_of_mix():
    mix = found({"landing": 250.0, "second": 60.0}, of="baseball-60")
    assert {c["core_id"]: c["used"] for c in mix.cores} == {"r-landing": False, "r-second": True}
    assert "mound" in next(c["why"] for c in mix.cores if not c["used"])


@pytest.mark.invariant
def test_older_cores_say_less_and_the_order_of_the_rows_does_not_matter():
    depths = {name: 60.0 + 3 * k for k, name in enumerate(AT)}
    fresh, old = (skin(found(depths, on=on)) for on in ("2026-04-07", "2023-04-07"))
    assert old["depth_mm"] == pytest.approx(fresh["depth_mm"]) and old["depth_sigma_mm"] > fresh["depth_sigma_mm"] + 5
    turned = skin(found(dict(reversed(depths.items())), on="2026-04-07"))
    assert turned == fresh or {k: v for k, v in turned.items() if v == v} == {k: v for k, v in fresh.items() if v == v}
