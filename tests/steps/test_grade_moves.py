"""Hauls and edge work as a step hands them on: the owner's figures go in, what is lacking is named."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from pipeline.frame import Grid
from pipeline.jobs import Job
from pipeline.settings import Config
from pipeline.steps.grade_moves import edge_work_of, moves_of, works_since
from pipeline.works.design import NO_MIX_BOUGHT, Design
from pipeline.works.grading.touch_up import Hollow
from report.scene import CRS, FIELD, SIGNED, layout, reads

MATERIAL = {"loose_t_per_m3": 1.5, "placed_t_per_m3": 1.8, "cut_fill_ratio": 1.2, **SIGNED}
MACHINES = {"grader": {"width_m": 2.0, "blade_load_m3": 0.3, "max_cut_mm": 10, **SIGNED}}


def job(**given) -> Job:
    return Job("mill-pond", "", Config(**given), {}, (), ".")


def design() -> Design:
    """A heap of 1.2 m3, 30 mm high, and a hollow of 1 m3, on the field's skin."""
    west, south, *_ = layout().skin.bounds
    u = np.zeros((80, 80))
    u[40:48, 40:60], u[20:30, 40:50] = -0.030, 0.040
    return Design(NO_MIX_BOUGHT, Grid(CRS, int(west / 0.5), int(south / 0.5) + 80, 0.5, 80, 80), np.zeros((80, 80)), u)


@pytest.mark.analytic
def test_loads_follow_from_densities_and_blade():
    found = moves_of(job(material=MATERIAL, machines=MACHINES), layout(), design(), "grader")
    lines = found["lines"]
    assert found["reason"] == "" and sum(h["cut_m3"] for h in lines) == pytest.approx(1.2) and sum(h["fill_m3"] for h in lines) == pytest.approx(1.0)
    assert all(h["passes"] == 3 and h["loose_m3"] == pytest.approx(1.2 * h["cut_m3"]) and h["loads"] == int(np.ceil(h["loose_m3"] / 0.3)) for h in lines)
    assert [h["order"] for h in lines] == list(range(1, len(lines) + 1))
    json.dumps(found)


@pytest.mark.invariant
def test_what_the_owner_has_not_stated_is_named_and_not_made_up():
    found = moves_of(job(), layout(), design(), "")
    assert found["reason"].startswith("not stated: material.cut_fill_ratio") and "machines.blade_load_m3" in found["reason"]
    assert all(h["loads"] is None and h["passes"] is None and np.isnan(h["loose_m3"]) for h in found["lines"])
    assert moves_of(job(), layout(), None, "") == {"machine": "", "lines": [], "reason": "no design"}


@pytest.mark.analytic
def test_edge_work_is_held_against_the_owners_tolerance_and_its_mix_goes_where_filling_is_wanted():
    nan = float("nan")
    lip = [
        {"edge_id": "outer", "station_m": k + 0.5, "e": 10.0 + k, "n": 0.0, "kind": "lip", "height_mm": nan if k == 4 else 40.0, "height_sigma_mm": 2.0,
         "width_mm": 400.0, "crest_offset_mm": 100.0, "section_m2": 0.01}
        for k in range(5)
    ]  # fmt: skip
    settings = {"tolerances": {"lip_mm": {"value": 25, **SIGNED}}}
    (work,) = edge_work_of(job(**settings), layout(), lip, [{"low_spot_id": "second", "volume_m3": 0.1}], [Hollow("second", 12.0, 3.0, 1.0, 1.5, 2.5)])
    assert (work["length_m"], work["goes_to"], work["remedy"]) == (4.0, "second", "wash") and work["out_m3"] == pytest.approx(0.04)
    assert edge_work_of(job(), layout(), lip, [], []) == []


@pytest.mark.analytic
def test_work_after_the_survey_is_named_and_upkeep_is_not():
    rows = reads("works", *({"work_id": i, "field_id": FIELD, "done_on": day, "work": work} for i, day, work in (
        ("old", "2026-04-06", "level"), ("same", "2026-04-07", "mix_add"), ("drag", "2026-05-01", "drag"), ("cut", "2026-05-02", "lip_cut"))))  # fmt: skip
    made = replace(job(), rows={"works": rows})
    assert works_since(made, "2026-04-07") == ["same", "cut"]
