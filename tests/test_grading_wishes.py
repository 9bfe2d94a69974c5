"""Wishes for a graded surface that cannot stand: named before anything runs."""

from __future__ import annotations

import pytest

from pipeline.grading import faults
from pipeline.settings import Config

SIGNED = {"set_by": "Board of Nowhere", "set_on": "2025-03-03"}


def found(grading: dict, ratio: float | None = 1.15, known: bool = True) -> list[tuple[str, str]]:
    material = {} if ratio is None else {"cut_fill_ratio": ratio, **SIGNED}
    config = Config(grading={**SIGNED, **grading}, material=material)
    return [(".".join(at), what) for at, what, _, _ in faults(config.grading, config.material, {"moth": True, "meadow": False}, known)]


@pytest.mark.analytic
def test_sound_wishes_have_no_fault():
    assert found({"form": "plane", "slope_min_pct": 0.5, "slope_max_pct": 1.2, "fields": {"moth": {"fall_bearing_deg": 360, "form": "crown", **SIGNED}}}) == []
    assert found({}, None) == []


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("grading", "where", "says"),
    [
        ({"slope_min_pct": 1.5, "slope_max_pct": 1.2}, "grading.slope_max_pct", "least 1.5, most 1.2 %"),
        ({"slope_min_pct": 0.5, "fields": {"moth": {"slope_max_pct": 0.4, **SIGNED}}}, "grading.fields.moth.slope_max_pct", "least 0.5, most 0.4 %"),
        ({"slope_max_pct": 83}, "grading.slope_max_pct", "83"),
        ({"fall_bearing_deg": 361}, "grading.fall_bearing_deg", "361"),
        ({"fields": {"mothh": {"form": "plane"}}}, "grading.fields.mothh", "'mothh'"),
        ({"form": "crown"}, "grading.form", "crown on meadow"),
        ({"fields": {"meadow": {"form": "two_planes"}}}, "grading.fields.meadow.form", "two_planes on meadow"),
    ],
)
def test_each_fault_is_named_where_it_stands(grading, where, says):
    assert found(grading) == [(where, says)]


@pytest.mark.analytic
@pytest.mark.parametrize("ratio", [0.87, 115.0])
def test_a_ratio_the_wrong_way_round_or_in_per_cent_is_named(ratio):
    assert found({}, ratio) == [("material.cut_fill_ratio", f"{ratio:g}")]


@pytest.mark.invariant
def test_fields_that_could_not_be_read_are_not_called_unknown():
    assert found({"fields": {"mothh": {"form": "plane"}}}, known=False) == []
