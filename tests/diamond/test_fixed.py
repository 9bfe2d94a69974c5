"""Fixed levels that no design could meet are named before anything runs."""

from __future__ import annotations

import pytest
from shapely.geometry import Point, box

from pipeline.diamond.fixed import fixed_faults
from pipeline.diamond.layout import Feature


def level(name: str, x: float, height: float | None, role: str = "fixed_grade", **props) -> Feature:
    return Feature(role, name, Point(x, 0.0), {"height_m": height, **props})


def said(*features, most: float | None = 1.2) -> list[str]:
    return [str(p) for p in fixed_faults("moth.geojson", features, most)]


@pytest.mark.analytic
def test_a_level_without_a_height_and_one_where_no_blade_goes_are_named():
    assert "fixed_grade 'rim' without a height" in said(level("rim", 0, None))[0]
    (inside,) = said(level("rim", 0, 10.0), Feature("keep_out", "drain", box(-1, -1, 1, 1), {}))
    assert "0.00 m from keep_out 'drain'" in inside and "Move the point" in inside
    assert not said(level("rim", 0, 10.0), Feature("irrigation_head", "h1", Point(0.31, 0), {}))
    assert said(level("rim", 0, 10.0), Feature("irrigation_head", "h1", Point(0.29, 0), {}))


@pytest.mark.analytic
def test_two_levels_steeper_than_the_most_fall_are_named_and_their_tolerances_count():
    """20 m apart 1.2 % is 0.240 m; 5 mm of spare on each side: 0.250 m just goes."""
    assert not said(level("a", 0, 10.0), level("b", 20, 10.2499))
    (steep,) = said(level("a", 0, 10.0), level("b", 20, 10.2520))
    assert "'a' and fixed_grade 'b': 1.21 % between them" in steep and "1.2 % or less" in steep
    assert not said(level("a", 0, 10.0, tolerance_mm=8), level("b", 20, 10.2520))
    assert said(level("a", 0, 10.0), level("drain", 20, 10.30, role="inlet")) and not said(level("a", 0, 10.0), level("b", 20, 12.0), most=None)


@pytest.mark.analytic
def test_an_inlet_in_its_own_keep_out_is_no_fault():
    assert not said(level("drain", 0, 10.0, role="inlet"), Feature("keep_out", "drain box", box(-1, -1, 1, 1), {}))
