"""Cores of the mix that cannot be right are named: figure, sign, unit, day, place."""

from __future__ import annotations

import datetime as dt

import pytest
import shapely

from pipeline.diamond.cores import depth_problem, drawn_off_skin, read_problems
from pipeline.diamond.days import day_of
from pipeline.diamond.features import read
from pipeline.diamond.layout import Feature
from pipeline.diamond.places import Place
from pipeline.tables import TABLES, Rows
from pipeline.tables import read as read_table

SKIN = shapely.box(0, 0, 30, 30)
PLACES = (Place("first", "first base", 20.0, 10.0, 0.9, 1.5, 2.7), Place("second", "second base", 20.0, 20.0, 0.9, 1.5, 2.7))


def drawn(**props):
    return read("cores.gpkg", [(3, {"role": "mix_core", "name": "a", **props}, shapely.Point(10, 10))])


def readings(*rows: dict):
    header = tuple(f.name for f in TABLES["readings"])
    usual = {"field_id": "f", "read_on": "2026-04-01", "kind": "mix_depth", "unit": "mm"}
    cells = [{"reading_id": f"r{k}", **usual, **r} for k, r in enumerate(rows)]
    found, problems = read_table("readings", Rows("readings.csv", header, tuple(enumerate(cells, start=2))))
    assert not problems
    return read_problems("readings.csv", found, PLACES, SKIN, 1.0)


@pytest.mark.analytic
def test_a_core_with_depth_and_day_passes_as_does_bare_base():
    for props in ({"depth_mm": 71.0, "taken_on": "2026-04-01"}, {"depth_mm": 0, "taken_on": "2026-04-01"}, {"depth_mm": "110", "taken_on": "2026-04-01T00:00:00"}):
        features, problems = drawn(**props)
        assert not problems and features[0].role == "mix_core"
    assert day_of(dt.date(2026, 4, 1)) == day_of("2026-04-01 00:00:00") == dt.date(2026, 4, 1) and day_of("April") is None


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("props", "column", "words"),
    [
        ({"depth_mm": -71, "taken_on": "2026-04-01"}, "depth_mm", "without the sign"),
        ({"depth_mm": 4.1, "taken_on": "2026-04-01"}, "depth_mm", "Check the unit"),  # inches
        ({"depth_mm": 7100, "taken_on": "2026-04-01"}, "depth_mm", "Check the unit"),
        ({"depth_mm": "71 mm", "taken_on": "2026-04-01"}, "depth_mm", "bare figure"),
        ({"taken_on": "2026-04-01"}, "depth_mm", "bare figure"),
        ({"depth_mm": 71}, "taken_on", "Write the date"),
        ({"depth_mm": 71, "taken_on": "spring"}, "taken_on", "Write the date"),
        ({"depth_mm": 71, "taken_on": "0202-04-01"}, "taken_on", "Write the date"),
    ],
)
def test_a_drawn_core_that_cannot_be_right_names_row_column_and_remedy(props, column, words):
    features, problems = drawn(**props)
    assert not features
    (problem,) = problems
    assert (problem.file, problem.row, problem.column) == ("cores.gpkg", 3, column) and words in problem.todo


@pytest.mark.analytic
def test_what_is_one_depth_in_any_unit_is_judged_alike():
    """2.8 in = 71.1 mm, 7.1 cm, 0.233 ft: an inch is 25.4 mm, exact."""
    for value, unit_mm, unit in ((2.8, 25.4, "in"), (7.1, 10.0, "cm"), (0.233, 304.8, "ft"), (0.071, 1000.0, "m")):
        assert depth_problem("t", 1, "value", value, unit_mm, unit) is None
        assert depth_problem("t", 1, "value", -value, unit_mm, unit) is not None
    assert "10 to 600 mm" in depth_problem("t", 1, "value", 2.8, 1.0, "mm").expected


@pytest.mark.analytic
def test_a_core_off_the_skin_is_of_another_field():
    cores = [Feature("mix_core", "near", shapely.Point(30.8, 10)), Feature("mix_core", "far", shapely.Point(44, 10)), Feature("inlet", "i", shapely.Point(90, 90))]
    (problem,) = drawn_off_skin("f.gpkg", cores, SKIN)
    assert "'far' 14.0 m off the skin" in problem.found


@pytest.mark.analytic
def test_a_reading_must_stand_somewhere_on_this_field():
    assert readings({"value": "71", "place": "Second base"}, {"value": "71", "e": "5", "n": "5"}) == []
    wrong = readings({"value": "71"}, {"value": "71", "place": "secnd"}, {"value": "71", "e": "90", "n": "5"}, {"value": "2.8", "place": "first"}, {"value": "-71", "place": "first"})
    assert [(p.row, p.column) for p in wrong] == [(2, "place"), (3, "place"), (4, "e"), (5, "value"), (6, "value")]
    assert "second" in wrong[1].todo and "60.0 m off the skin" in wrong[2].found
