"""Where the truth lies and what the operator drew: close, and not the same."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.simulate import draws
from pipeline.simulate.scene import build_scene, ends, rectangle, unit_m, wandered


@pytest.mark.analytic
def test_second_base_lies_a_diagonal_from_home(story):
    home, second = ends(story().fields["quiet"])
    assert np.hypot(second[0] - home[0], second[1] - home[1]) == pytest.approx(55 * 2**0.5 * 0.3048, abs=1e-3)
    assert np.degrees(np.arctan2(second[0] - home[0], second[1] - home[1])) == pytest.approx(30.0, abs=0.01)


@pytest.mark.independent  # EPSG units by pyproj; 1200/3937 m by the Mendenhall order
def test_the_unit_of_a_crs_is_read_from_its_definition():
    assert unit_m("EPSG:6550") == 1.0
    assert unit_m("EPSG:6565") == pytest.approx(1200 / 3937, rel=1e-12)


@pytest.mark.analytic
def test_a_slab_has_its_size_and_stands_where_it_was_put(scene_of):
    scene, _ = scene_of()
    slab = scene.truth.slabs[0]
    shape = rectangle(scene.axes, slab)
    assert shape.area == pytest.approx(slab.along_m * slab.across_m)
    assert scene.axes.local(shape.centroid.x, shape.centroid.y) == pytest.approx(slab.at)
    long_side = np.diff(np.asarray(shape.exterior.coords)[1:3], axis=0)[0]
    along = np.degrees(np.arctan2(*long_side)) - 30.0  # clockwise from the diamond's y axis
    assert along == pytest.approx(slab.turned_deg, abs=0.05)


@pytest.mark.analytic
def test_an_arc_off_the_chart_is_off_by_what_was_planted(story):
    scene = build_scene(story({"arc_off_m": 0.30}), "quiet")
    chart = next(e for e in scene.layout.edges if e.edge_id == "outer").line
    real = next(e for e in scene.edges if e.edge_id == "outer")
    middle = real.line.interpolate(0.5, normalized=True)
    assert middle.distance(chart) == pytest.approx(0.30, abs=0.09)


@pytest.mark.analytic
def test_a_drawn_edge_leaves_the_real_one_by_an_inch(story):
    offs = []
    for seed in range(8):
        made = story({"drawn_edges": True})
        scene = build_scene(made.model_copy(update={"seed": seed}), "quiet")
        drawn = next(f for f in scene.features if f.name == "outer").geometry
        offs.append(scene.lines.find(*np.asarray(drawn.segmentize(0.5).coords)[20:-20].T)[0])
    assert np.std(np.concatenate(offs)) == pytest.approx(0.025, rel=0.25)


@pytest.mark.invariant
def test_wandering_keeps_the_ends_of_an_open_line_and_closes_a_closed_one():
    line = shapely.LineString([(0, 0), (20, 0)])
    moved = wandered(line, draws.rng(1, "w"))
    assert moved.coords[0] == (0, 0) and moved.coords[-1] == (20, 0) and moved.length > 20
    ring = shapely.Point(0, 0).buffer(8, quad_segs=40).exterior
    assert wandered(shapely.LineString(ring), draws.rng(1, "r")).is_closed


@pytest.mark.invariant
def test_what_was_drawn_carries_no_more_than_three_decimals_of_its_unit(story):
    made = story({"crs": "EPSG:6564", "table_crs": "EPSG:6565", "home": [627318.4, 84022.7], "drawn_edges": True})
    for feature in build_scene(made, "quiet").features:
        xy = shapely.get_coordinates(feature.geometry) / (1200 / 3937)
        assert np.abs(xy * 1000 - np.rint(xy * 1000)).max() < 1e-3


@pytest.mark.invariant
def test_an_unknown_place_is_answered_with_the_known_ones(scene_of):
    with pytest.raises(ValueError, match="short-stop"):
        scene_of()[0].spot("fourth")
