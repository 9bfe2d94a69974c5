"""pipeline/heights.py: what heights count from, and heights no ball field can have."""

from __future__ import annotations

import pytest
from pyproj import CRS

from pipeline import heights
from pipeline.units import FOOT_M, US_SURVEY_FOOT_M


@pytest.mark.independent  # EPSG registry: 6360 is NAVD88 in US survey feet, 8228 in feet; 5702 and 7968 are NGVD29
@pytest.mark.parametrize(
    "text, datum",
    [("EPSG:5703", "EPSG:5703"), ("EPSG:6360", "EPSG:5703"), ("epsg:8228", "EPSG:5703"), ("EPSG:5702", "EPSG:7968"),
     ("EPSG:5709", "EPSG:5709"), ("ellipsoidal", "ellipsoidal"), (" Local ", "local")],
)  # fmt: skip
def test_a_height_reference_names_its_datum_whatever_the_unit(text, datum):
    assert heights.normal_reference(text) == datum


@pytest.mark.invariant
@pytest.mark.parametrize("text", ["EPSG:6565", "EPSG:6357", "NAVD", "", "EPSG:4979"])
def test_what_names_no_upward_vertical_datum_is_refused(text):
    with pytest.raises(ValueError, match="expected"):
        heights.normal_reference(text)


@pytest.mark.independent  # EPSG registry, the axes of these codes
@pytest.mark.parametrize(
    "text, vertical",
    [("EPSG:6565", None), ("EPSG:4326", None), ("EPSG:4978", None), ("EPSG:6565+5703", ("EPSG:5703", 1.0)),
     ("EPSG:6565+6360", ("EPSG:5703", US_SURVEY_FOOT_M)), ("EPSG:6565+8228", ("EPSG:5703", FOOT_M)),
     ("EPSG:7415", ("EPSG:5709", 1.0)), ("EPSG:4979", ("ellipsoidal", 1.0))],
)  # fmt: skip
def test_only_a_crs_with_a_height_axis_says_anything_about_heights(text, vertical):
    found = heights.vertical_of(CRS.from_user_input(text))
    if vertical is None:
        assert found is None
    else:
        assert (found.reference, found.unit_m) == (vertical[0], pytest.approx(vertical[1], rel=1e-15))


@pytest.mark.invariant
def test_depths_are_no_heights():
    with pytest.raises(ValueError, match="downward"):
        heights.vertical_of(CRS.from_user_input("EPSG:6565+6357"))


@pytest.mark.analytic
@pytest.mark.parametrize(
    "low, high, unit_m, likely",
    [(100.0, 249.0, 1.0, None), (100.0, 251.0, 1.0, "international feet"), (-400.0, -390.0, 1.0, None),
     (20_000.0, 20_010.0, 1.0, "millimetres"), (7000.0, 7020.0, 1.0, "international feet"),
     (7000.0, 7020.0, FOOT_M, None),
     (-1200.0, -1190.0, 1.0, "international feet"), (float("nan"), 3.0, 1.0, "expected numbers")],
)  # fmt: skip
def test_heights_outside_a_ball_field_s_are_named_with_the_unit_they_would_fit(low, high, unit_m, likely):
    problem = heights.heights_problem(low, high, unit_m)
    assert (problem is None) if likely is None else (likely in problem)


@pytest.mark.invariant
def test_heights_and_their_unit_may_change_together():
    for low, high in [(100, 240), (100, 260), (-460, -440), (5990, 6010)]:
        in_metres = heights.heights_problem(low, high, 1.0)
        in_feet = heights.heights_problem(low / FOOT_M, high / FOOT_M, FOOT_M)
        assert (in_metres is None) == (in_feet is None)


@pytest.mark.invariant
def test_each_reference_has_words_of_its_own():
    words = {heights.reference_words(r) for r in (None, "ellipsoidal", "local", "EPSG:5703", "Maple datum")}
    assert len(words) == 5
