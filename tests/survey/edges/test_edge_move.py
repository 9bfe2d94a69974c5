from __future__ import annotations

import numpy as np
import pytest
import shapely
from pytest import approx
from shapely.affinity import translate
from shapely.geometry import LineString
from support.edge_scene import LIDAR, Options, Scene, single_arc
from support.flat_tables import straight

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_move import moved_edge, shifted_edge


@pytest.mark.analytic
def test_a_whole_arc_about_the_wrong_centre_is_moved_back():
    edge = Scene(1, LIDAR, single_arc(20, 50), options=Options(drawn_off_mm=0)).edges[0]
    s = np.arange(0.5, 49, 0.5)
    tangent = edge.tangent(s)
    offset = 0.30 * tangent[:, 1] + 0.25 * -tangent[:, 0]  # grass to the right
    found = shifted_edge(edge, s, offset).line.distance(translate(edge.line, 0.30, 0.25))
    assert found < 0.01
    assert shifted_edge(edge, s, offset).line.hausdorff_distance(translate(edge.line, 0.30, 0.25)) < 0.02


@pytest.mark.analytic
def test_a_square_moved_into_its_grass_keeps_its_corners():
    square = Edge("infield", LineString([(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]), True, "layout")
    s = np.arange(0.25, 40, 0.5)
    inner = moved_edge(square, s, np.full(s.shape, 0.2))
    assert shapely.Polygon(inner.line).symmetric_difference(shapely.box(0.2, 0.2, 9.8, 9.8)).area < 1e-6
    assert inner.source == "fitted" and inner.closed


@pytest.mark.independent
def test_moving_an_edge_by_one_offset_is_the_parallel_line_of_a_geometry_library():
    # GEOS offset curve through shapely, positive to the left
    a = np.linspace(0, 2.5, 400)
    arc = Edge("outer", LineString(np.column_stack([20 * np.cos(a), 20 * np.sin(a)])), True, "layout")
    s = np.arange(0.25, 50, 0.5)
    theirs = shapely.offset_curve(arc.line, 0.3, quad_segs=64)
    assert moved_edge(arc, s, np.full(s.shape, 0.3)).line.hausdorff_distance(theirs) < 3e-3


@pytest.mark.invariant
def test_a_straight_edge_is_not_moved_along_itself():
    edge = straight(20.0, source="layout")
    s = np.arange(0.25, 20, 0.5)
    moved = shifted_edge(edge, s, np.full(s.shape, 0.2))
    east, north = np.asarray(moved.line.coords[0]) - np.asarray(edge.line.coords[0])
    assert (east, north) == approx((0, 0.2), abs=0.005)


@pytest.mark.analytic
def test_a_mounds_circle_without_corners_grows_by_what_its_grass_stands_off():
    a = np.linspace(0, 2 * np.pi, 70)
    ring = np.column_stack([2.74 * np.cos(a), 2.74 * np.sin(a)])
    ring[-1] = ring[0]
    mound = Edge("mound", LineString(ring), False, "layout")
    s = np.arange(0.25, mound.length_m, 0.5)
    wider = moved_edge(mound, s, np.full(s.shape, 0.10))
    assert wider.closed and wider.length_m == approx(2 * np.pi * 2.84, rel=2e-3)
    assert shapely.Polygon(wider.line).area == approx(np.pi * 2.84**2, rel=3e-3)


@pytest.mark.invariant
def test_an_edge_nothing_was_seen_of_stays_where_it_is():
    edge = straight(20.0, source="layout")
    s = np.arange(0.25, 20, 0.5)
    kept = moved_edge(edge, s, np.full(s.shape, np.nan))
    assert kept.line.hausdorff_distance(edge.line) < 1e-5
