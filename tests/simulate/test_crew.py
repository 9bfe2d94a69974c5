"""What the invented crew drew, read and levelled: true to a few millimetres, drawn by the seed."""

from __future__ import annotations

import json

import numpy as np
import pytest

from pipeline.simulate import crew
from pipeline.simulate.ground import heights
from pipeline.simulate.scenario import parse
from pipeline.simulate.scene import build_scene
from support.quiet_field import FIRST, plain


def told(**more):
    story = plain({"lips": [{"edge": "outer", "height_mm": 20.0}], "drawn_edges": True})
    return parse(story | more)


@pytest.mark.analytic
def test_readings_scatter_about_the_true_rise_by_the_rulers_error():
    story = told(readings=[{"field": "quiet", "day": FIRST, "edge": "outer", "count": 200, "sd_mm": 3.0}])
    value = np.array([float(r["value"]) for r in crew.readings(story)])
    assert value.mean() == pytest.approx(20.0, abs=1.0) and value.std() == pytest.approx(3.1, abs=0.7)


@pytest.mark.analytic
def test_other_notes_are_passed_on_as_written():
    note = {"field": "quiet", "day": FIRST, "kind": "seen", "value": "puddle", "place": "first"}
    row = crew.readings(told(noted=[note]))[0]
    assert (row["reading_id"], row["kind"], row["value"], row["place"]) == ("r001", "seen", "puddle", "first")


@pytest.mark.analytic
def test_levelled_points_lie_on_the_ground(scene_of):
    story = told(checks=[{"field": "quiet", "day": FIRST, "at": ["first", "pad"], "unit": "us-ft", "sd_mm": 2.0}])
    scene, state = scene_of({"lips": [{"edge": "outer", "height_mm": 20.0}], "drawn_edges": True})
    for row in crew.control(story):
        z = heights(scene, state, np.array([float(row["e"])]), np.array([float(row["n"])])).z[0]
        assert float(row["height"]) * 1200 / 3937 == pytest.approx(z, abs=0.008)
    assert [r["kind"] for r in crew.control(story)] == ["checkpoint", "slab"]


@pytest.mark.independent  # read back by shapely's GeoJSON reader; the CRS named as OGC names it
def test_drawn_features_are_geojson_in_the_tables_crs():
    import shapely

    plain_text = crew.features(told(), "quiet")
    read = json.loads(plain_text)
    assert read["crs"]["properties"]["name"] == "urn:ogc:def:crs:EPSG::6550"
    scene = build_scene(told(), "quiet")
    for drawn, made in zip(read["features"], scene.features, strict=True):
        assert (drawn["properties"]["role"], drawn["properties"]["name"]) == (made.role, made.name)
        shape = shapely.from_geojson(json.dumps(drawn["geometry"]))
        assert shape.hausdorff_distance(made.geometry) < 1e-6


@pytest.mark.invariant
def test_tables_are_the_same_again():
    story = told(readings=[{"field": "quiet", "day": FIRST, "edge": "outer", "count": 9}])
    assert crew.readings(story) == crew.readings(story)
    assert crew.features(story, "quiet") == crew.features(story, "quiet")


@pytest.mark.independent  # read back by shapely's GeoJSON reader
def test_things_in_the_ground_are_drawn_as_points_lines_and_outlines_with_what_was_noted_and_no_survey_sees_them():
    import shapely

    things = [
        {"role": "irrigation_head", "name": "h1", "at": [[3.0, 4.0]], "located_on": "2026-03-27", "located_by": "crew", "sigma_mm": 30.0},
        {"role": "cable", "name": "c", "at": [[0.0, 1.0], [0.0, 11.0]], "depth_m": 0.4},
        {"role": "valve_box", "name": "v", "at": [[1.0, 1.0], [2.0, 1.0], [2.0, 3.0], [1.0, 3.0]], "area": True},
    ]
    story, bare = (parse(plain({"lips": [], "drawn_edges": True} | more)) for more in ({"in_ground": things}, {}))
    drawn = json.loads(crew.features(story, "quiet"))["features"][-3:]
    shapes = [shapely.from_geojson(json.dumps(f["geometry"])) for f in drawn]
    scene = build_scene(story, "quiet")
    assert drawn[0]["properties"] == {"role": "irrigation_head", "name": "h1", "located_on": "2026-03-27", "located_by": "crew", "sigma_mm": 30.0}
    assert shapes[0].distance(shapely.Point(scene.spot((3.0, 4.0)))) < 1e-3 and shapes[1].length == pytest.approx(10.0, abs=2e-3) and shapes[2].area == pytest.approx(2.0, abs=1e-2)
    assert scene.features == build_scene(bare, "quiet").features and scene.layout.anchors == build_scene(bare, "quiet").layout.anchors
