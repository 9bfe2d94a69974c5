"""A field's layout: what is drawn wins, edges run counter-clockwise, the grid covers what counts."""

from __future__ import annotations

import json

import numpy as np
import pytest
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, Point, Polygon, box

from pipeline.diamond.carry import from_plain, to_plain
from pipeline.diamond.edges import Edge, grass_on_left
from pipeline.diamond.features import identifier, read
from pipeline.diamond.layout import Drawing, Feature, build

HOME, SECOND = (400000.0, 80000.0), (400010.0, 80037.46)


def drawing(**more) -> Drawing:
    return Drawing("f1", "EPSG:6564", 0.1, "baseball-90", None, HOME, SECOND, **more)


@pytest.mark.analytic
def test_every_edge_of_a_layout_has_its_grass_on_the_side_it_says():
    layout = build(drawing())
    assert {e.edge_id for e in layout.edges} == {"outer", "foul-first", "foul-third", "home", "infield", "mound"}
    for edge in layout.edges:
        assert edge.grass_left == grass_on_left(edge.line, layout.skin)


@pytest.mark.analytic
def test_station_zero_of_the_outer_edge_is_at_first_base_and_of_a_closed_edge_nearest_home():
    layout = build(drawing())
    edges = {e.edge_id: e for e in layout.edges}
    first, third = (Point(layout.anchors[b]) for b in ("first", "third"))
    start, end = Point(edges["outer"].line.coords[0]), Point(edges["outer"].line.coords[-1])
    assert start.distance(first) < start.distance(third) and end.distance(third) < end.distance(first)
    home = Point(HOME)
    start = Point(edges["infield"].line.coords[0])
    assert start.distance(home) == pytest.approx(edges["infield"].line.distance(home), abs=1e-6)


@pytest.mark.analytic
def test_distance_is_positive_in_the_grass_and_stations_follow_the_arc():
    layout = build(drawing())
    outer = next(e for e in layout.edges if e.edge_id == "outer")
    s = outer.stations(1.0)
    assert len(s) == round(outer.length_m) and s[0] == 0.5
    e, n = outer.at(s, 0.5)
    assert not any(layout.skin.contains(Point(x, y)) for x, y in zip(e, n))
    e, n = outer.at(s[2:-2], -0.5)
    assert all(layout.skin.contains(Point(x, y)) for x, y in zip(e, n))


@pytest.mark.analytic
def test_stations_near_ends_and_sharp_turns_are_not_usable():
    line = LineString([(0, 0), (10, 0), (10, 10)])
    edge = Edge("e", line, True, "drawn")
    usable = edge.usable(np.array([0.5, 5.0, 9.5, 10.5, 15.0, 19.5]))
    assert usable.tolist() == [False, True, False, False, True, False]


@pytest.mark.analytic
def test_the_grid_is_the_bounds_grown_three_metres_on_whole_cells():
    pad = Feature("stable", "pad", box(400060, 80010, 400061.2, 80011.2))
    plain, wider = build(drawing()).grid, build(drawing(features=(pad,))).grid
    assert wider.east == pytest.approx(400064.2) and wider.west == plain.west
    assert build(drawing(features=(Feature("boundary", "b", box(399990, 79990, 400020.04, 80050)),))).grid.bounds == pytest.approx((399987.0, 79987.0, 400023.1, 80053.0))


@pytest.mark.analytic
def test_what_is_drawn_replaces_what_the_layout_would_give():
    skin = box(399980, 79990, 400030, 80060)
    edge = Feature("grass_edge", "north", LineString([(399980, 80060), (400030, 80060)]))
    layout = build(drawing(features=(Feature("skin", "s", skin), edge)))
    assert layout.skin.equals(skin) and [(e.edge_id, e.source) for e in layout.edges] == [("north", "drawn")]
    assert list(layout.edges[0].line.coords)[0] == (400030, 80060)  # turned to run counter-clockwise


@pytest.mark.analytic
def test_a_drawn_skin_without_a_layout_has_edges_but_no_declared_places():
    skin = Polygon(box(0, 0, 40, 40).exterior.coords, [box(10, 10, 20, 20).exterior.coords])
    layout = build(Drawing("f1", "EPSG:6564", 0.1, features=(Feature("skin", "s", skin),)))
    assert [(e.edge_id, e.grass_left) for e in layout.edges] == [("outer", False), ("infield", True)]
    assert layout.places == () and layout.patches == () and layout.mound is None


@pytest.mark.analytic
def test_a_second_base_set_adds_its_places_with_its_distance():
    layout = build(Drawing("f1", "EPSG:6564", 0.1, "baseball-70", "baseball-60", HOME, (400007.0, 80029.0)))
    ids = {p.place_id for p in layout.places}
    assert {"first", "first-60", "second-60", "home"} <= ids and "home-60" not in ids
    assert {"first", "first-60", "third-60"} <= set(layout.anchors)


@pytest.mark.invariant
def test_turning_and_moving_a_field_by_two_million_metres_turns_its_shapes_with_it():
    one = build(Drawing("f1", "EPSG:6564", 0.1, "softball-60", None, (0.0, 0.0), (0.0, 25.86)))
    far = build(Drawing("f1", "EPSG:6564", 0.1, "softball-60", None, (2e6, 1e6), (2e6 + 25.86, 1e6)))
    turned = translate(rotate(one.skin, -90, origin=(0, 0)), 2e6, 1e6)
    assert turned.symmetric_difference(far.skin).area < 1e-6
    assert [round(e.length_m, 6) for e in one.edges] == [round(e.length_m, 6) for e in far.edges]


@pytest.mark.invariant
def test_a_layout_survives_json():
    plain = to_plain(build(drawing()))
    again = to_plain(from_plain(json.loads(json.dumps(plain))))
    assert again == plain


@pytest.mark.analytic
def test_drawn_shapes_are_checked_and_every_fault_is_said():
    square, bow = box(0, 0, 1, 1), Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    drawn = [
        (1, {"role": "stable", "name": "Slab 1"}, square),
        (2, {"role": "stable", "name": "slab-1"}, square),
        (3, {"role": "stabel", "name": "x"}, square),
        (4, {"role": "grass_edge", "name": "y"}, square),
        (5, {"role": "skin", "name": "z"}, bow),
        (6, {"role": "skin", "name": "w"}, None),
    ]
    features, problems = read("f.geojson", drawn)
    assert [f.name for f in features] == ["slab-1"]
    words = [str(p) for p in problems]
    assert len(words) == 5 and "again (first in row 1)" in words[0] and "'stable'" in words[1] and "LineString" in words[2] and "crosses itself" in words[3]


@pytest.mark.analytic
def test_a_name_becomes_an_id():
    assert identifier(" Dugout, 3rd base (east) ") == "dugout-3rd-base-east"


@pytest.mark.invariant
def test_an_anchor_s_figures_and_base_set_are_checked_and_nothing_is_guessed():
    drawn = [
        (1, {"role": "base_anchor", "name": "first", "layout": "baseball90"}, Point(1, 1)),
        (2, {"role": "base_anchor", "name": "second", "sigma_mm": "4 mm"}, Point(2, 2)),
        (3, {"role": "base_anchor", "name": "third", "sigma_mm": 0.01, "bag_in": 381}, Point(3, 3)),
        (4, {"role": "base_anchor", "name": "first-60", "layout": "baseball-60", "sigma_mm": 4, "bag_in": 15}, Point(4, 4)),
    ]
    features, problems = read("f.geojson", drawn)
    assert [f.name for f in features] == ["first-60"]
    assert [(p.row, p.column) for p in problems] == [(1, "layout"), (2, "sigma_mm"), (3, "sigma_mm"), (3, "bag_in")]
    assert "baseball-90" in problems[0].todo
