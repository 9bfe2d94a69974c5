"""A survey as a file holds it: units, coordinates, and the same points whatever happens around it."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Transformer

from pipeline.simulate import flight
from pipeline.simulate.scenario import parse
from pipeline.units import US_SURVEY_FOOT_M
from support.quiet_field import plain

PENNSYLVANIA = {"crs": "EPSG:6564", "table_crs": "EPSG:6565", "home": [627318.4, 84022.7]}


def coordinates(points) -> tuple[np.ndarray, ...]:
    return tuple(getattr(points, k) * flight.SCALE + o for k, o in zip("xyz", points.offset))


def made(field=None, survey=None):
    return flight.make(parse(plain(field, survey)), "once")


@pytest.mark.analytic
def test_feet_are_metres_over_the_survey_foot():
    metres, feet = (coordinates(made(PENNSYLVANIA, {"file_crs": c, "height_unit": u}).points)
                    for c, u in (("EPSG:6564+5703", "m"), ("EPSG:6565+6360", "us-ft")))  # fmt: skip
    for a, b in zip(metres, feet):
        assert b * US_SURVEY_FOOT_M == pytest.approx(a, abs=0.00066)  # half a count each way


@pytest.mark.independent  # PROJ: from UTM back to state plane
def test_a_cloud_in_another_projection_comes_back_to_the_same_place():
    plane, utm = (coordinates(made(PENNSYLVANIA, {"file_crs": c}).points) for c in ("EPSG:6564+5703", "EPSG:6347+5703"))
    back = Transformer.from_crs("EPSG:6347", "EPSG:6564", always_xy=True).transform(utm[0], utm[1])
    assert np.hypot(back[0] - plane[0], back[1] - plane[1]).max() < 0.0015
    assert np.abs(utm[0] - plane[0]).min() > 1000


@pytest.mark.analytic
def test_a_cloud_set_down_elsewhere_is_moved_whole():
    here, there = (coordinates(made(None, {"moved_m": m}).points) for m in ([0.0, 0.0], [212.0, -38.0]))
    assert there[0] - here[0] == pytest.approx(np.full(here[0].size, 212.0), abs=0.0011)
    assert there[1] - here[1] == pytest.approx(np.full(here[1].size, -38.0), abs=0.0011)


@pytest.mark.analytic
def test_a_planted_error_is_what_the_points_are_off_by():
    drift = {"shift_mm": 30.0, "tilt_e_mm_per_m": 0.0, "tilt_n_mm_per_m": 0.0, "dome_mm": 0.0}
    still, up = (coordinates(made(None, {"drift": d}).points) for d in ({}, drift))
    assert up[2] - still[2] == pytest.approx(np.full(still[2].size, 0.030), abs=0.0011)


@pytest.mark.invariant
def test_the_same_survey_gives_the_same_counts_and_another_survey_changes_nothing():
    survey = {"instrument": "good", "spacing_m": 0.25, "canopy_mm": 30.0}
    alone = made({"movement": 1.0}, survey)
    story = plain({"movement": 1.0}, survey)
    story["surveys"]["another"] = {**story["surveys"]["once"], "file": "clouds/another.laz"}
    story["fields"]["more"] = {**story["fields"]["quiet"], "home": [507200.0, 175000.0]}
    beside = parse(story)
    flight.make(beside, "another")
    again = flight.make(beside, "once")
    for name in ("x", "y", "z", "rgb"):
        assert np.array_equal(getattr(alone.points, name), getattr(again.points, name))
    assert alone.guid == again.guid and flight.make(beside, "another").guid != alone.guid


@pytest.mark.invariant
def test_one_flight_over_two_fields_is_both_fields_in_one_file():
    story = plain(None, {"spacing_m": 0.4})
    story["fields"]["more"] = {**story["fields"]["quiet"], "home": [507120.0, 175030.0]}
    story["surveys"]["both"] = {**story["surveys"]["once"], "fields": ["quiet", "more"]}
    both = flight.make(parse(story), "both")
    assert [t.field_id for t in both.truths] == ["quiet", "more"]
    x, y, _ = coordinates(both.points)
    for true in both.truths:
        west, south, east, north = true.grid.bounds
        assert ((x > west) & (x < east) & (y > south) & (y < north)).sum() > 3000


@pytest.mark.invariant
def test_counts_fit_their_type_and_start_near_nothing():
    points = made(PENNSYLVANIA, {"file_crs": "EPSG:6565", "height_unit": "us-ft"}).points
    for axis, offset in zip((points.x, points.y, points.z), points.offset):
        assert axis.dtype == np.int32 and axis.min() >= 0 and offset % 100 == 0


@pytest.mark.analytic
def test_a_walk_prints_three_decimals_and_its_quality():
    walk = made(None, {"instrument": "rover", "spacing_m": None, "file_crs": "EPSG:6550"}).walk
    assert list(walk) == ["e", "n", "z", "quality", "receiver", "line"] and len({len(v) for v in walk.values()}) == 1
    assert all(len(v.split(".")[1]) == 3 for v in walk["z"]) and set(walk["quality"]) == {"1", "2"}


@pytest.mark.invariant
def test_fields_in_two_zones_cannot_be_flown_in_one_file():
    story = plain()
    story["fields"]["more"] = {**story["fields"]["quiet"], **PENNSYLVANIA}
    story["surveys"]["once"]["fields"] = ["quiet", "more"]
    with pytest.raises(ValueError, match="different zones"):
        flight.make(parse(story), "once")
