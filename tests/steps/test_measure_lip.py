"""Which ruler readings speak for a survey, and where; an edge round a mound."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import pytest
from shapely.geometry import LineString, Point

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Mound
from pipeline.steps.measure_lip import _ruled_at, readings, round_mound, unseen
from pipeline.steps.tie_record import edge_notes
from pipeline.tables import Read

DAY = dt.date(2026, 4, 7)


def job(read_on, works=()):
    reading = Read(2, {"kind": "lip_rise", "read_on": read_on, "value": "20"}, {})
    rows = {"readings": (reading,), "works": tuple(Read(2, w, {}) for w in works)}
    return SimpleNamespace(survey_row={"flown_on": DAY}, rows=rows)


@pytest.mark.analytic
@pytest.mark.parametrize(
    "read_on, works, speaks",
    [
        (DAY, (), True),
        (DAY - dt.timedelta(21), (), True),
        (DAY - dt.timedelta(22), (), False),
        (DAY - dt.timedelta(10), ({"work": "drag", "done_on": DAY - dt.timedelta(5)},), True),
        (DAY - dt.timedelta(10), ({"work": "lip_cut", "done_on": DAY - dt.timedelta(5)},), False),
        (DAY + dt.timedelta(10), ({"work": "sod", "done_on": DAY + dt.timedelta(5)},), False),
        (DAY - dt.timedelta(10), ({"work": "lip_cut", "done_on": DAY - dt.timedelta(11)},), True),
        (DAY - dt.timedelta(10), ({"work": "lip_cut", "done_on": DAY - dt.timedelta(30), "ended_on": DAY - dt.timedelta(3)},), False),
    ],
)
def test_a_reading_speaks_for_three_weeks_but_not_across_work_on_the_edge(read_on, works, speaks):
    assert len(readings(job(read_on, works))) == speaks


@pytest.mark.analytic
def test_a_reading_placed_by_coordinates_is_the_nearest_edge_s():
    edges = [Edge("a", LineString([(0, 0), (20, 0)]), True, "drawn"), Edge("b", LineString([(0, 10), (20, 10)]), True, "drawn")]
    assert _ruled_at(Read(2, {"e": 7.0, "n": 9.6}, {}), edges, 1.0) == (1, 7.0)
    feet = _ruled_at(Read(2, {"e": 7.0 / 0.3048, "n": 0.4 / 0.3048}, {}), edges, 0.3048)
    assert feet == (0, pytest.approx(7.0))
    assert _ruled_at(Read(2, {"e": 7.0, "n": 5.0}, {}), edges, 1.0) is None
    assert _ruled_at(Read(2, {"edge_id": "b", "station_m": 3.0}, {}), edges, 1.0) == (1, 3.0)
    assert _ruled_at(Read(2, {"edge_id": "c", "station_m": 3.0}, {}), edges, 1.0) is None


@pytest.mark.analytic
def test_the_edge_round_a_mound_is_known_by_its_place():
    mound = Mound(100.0, 200.0, 2.74, 0.25)
    ring = Edge("m", LineString(Point(100.1, 200.1).buffer(2.7).exterior.coords), False, "drawn")
    arc = Edge("outer", LineString(Point(100.0, 200.0).buffer(28.0).exterior.coords), False, "drawn")
    assert round_mound(ring, mound) and not round_mound(arc, mound) and not round_mound(ring, None)


@pytest.mark.analytic
def test_an_edge_that_no_survey_showed_tells_no_lip_and_says_so():
    line = LineString([(0, 0), (20, 0)])
    edges = tuple(Edge(name, line, True, source) for name, source in (("outer", "layout"), ("home", "fitted"), ("infield", "drawn")))
    assert [unseen(e) for e in edges] == [True, False, False]
    assert "along outer" in edge_notes(edges, "photogrammetry")[0] and edge_notes(edges[1:], "lidar") == []
    assert "swapped" in edge_notes(edges[:1], "photogrammetry")[0] and edge_notes(edges, "rover") == []
