from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.testing import assert_array_equal
from pytest import approx
from shapely.geometry import LineString
from support.edge_scene import grass_infield

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_frame import edge_frame


def arc(radius=20.0, step=0.002, grass_left=False) -> Edge:
    a = np.arange(0.3, 2.2, step / radius * 10)
    return Edge("outer", LineString(np.column_stack([radius * np.cos(a), radius * np.sin(a)])), grass_left, "drawn")


def slow_place(edge: Edge, e: float, n: float, reach=3.0):
    """The readable twin: every segment is looked at."""
    xy = np.asarray(edge.line.coords)
    best, station, side, along = np.inf, np.nan, 0.0, 0.0
    for k in range(len(xy) - 1):
        step = xy[k + 1] - xy[k]
        length = np.hypot(*step)
        t = np.dot((e, n) - xy[k], step) / length**2
        foot = xy[k] + np.clip(t, 0, 1) * step
        gap = np.hypot(e - foot[0], n - foot[1])
        cross = (step[0] * (n - xy[k][1]) - step[1] * (e - xy[k][0])) / length
        if gap < best - 1e-9 or (abs(gap - best) <= 1e-9 and abs(cross) > abs(side)):
            best, station, side = gap, along + np.clip(t, 0, 1) * length, cross
            at_end = not edge.closed and ((k == 0 and t < 0) or (k == len(xy) - 2 and t > 1))
        along += length
    if best > reach or at_end:
        return np.nan, np.nan
    return station, np.sign(side) * best * (1 if edge.grass_left else -1)


def scattered(edge: Edge, count: int, seed=3):
    rng = np.random.default_rng(seed)
    west, south, east, north = edge.line.bounds
    return rng.uniform(west - 4, east + 4, count), rng.uniform(south - 4, north + 4, count)


@pytest.mark.analytic
def test_on_an_arc_station_is_radius_times_angle_and_distance_what_lies_beyond_the_radius():
    rng = np.random.default_rng(1)
    angle, radius = rng.uniform(0.5, 2.0, 500), 20 + rng.uniform(-2.5, 2.5, 500)
    s, d = edge_frame(arc()).project(radius * np.cos(angle), radius * np.sin(angle))
    assert d == approx(radius - 20, abs=1e-4)
    assert s == approx(20 * (angle - 0.3), abs=0.02)


@pytest.mark.analytic
def test_beyond_the_ends_of_an_open_edge_nothing_is_in_the_frame():
    edge = Edge("foul-first", LineString([(0, 0), (10, 0)]), True, "drawn")
    s, d = edge_frame(edge).project([-0.01, 0.01, 10.01, 9.99, 5, 5], [0.3, 0.3, 0.3, 0.3, 3.1, -2.9])
    assert_array_equal(np.isfinite(d), [False, True, False, True, False, True])
    assert d[[1, 3, 5]] == approx([0.3, 0.3, -2.9])


@pytest.mark.invariant
def test_turning_the_line_round_keeps_distances_and_counts_stations_from_the_other_end():
    edge = arc()
    e, n = scattered(edge, 4000)
    back = Edge("outer", edge.line.reverse(), True, "drawn")
    s, d = edge_frame(edge).project(e, n)
    s_back, d_back = edge_frame(back).project(e, n)
    assert d_back == approx(d, abs=1e-12, nan_ok=True)
    assert s_back == approx(edge.length_m - s, abs=1e-9, nan_ok=True)


@pytest.mark.invariant
def test_two_million_metres_of_easting_change_nothing():
    edge = arc()
    e, n = scattered(edge, 2000)
    far = Edge("outer", shapely.transform(edge.line, lambda xy: xy + (2_000_000, 700_000)), False, "drawn")
    s, d = edge_frame(edge).project(e, n)
    s_far, d_far = edge_frame(far).project(e + 2_000_000, n + 700_000)
    assert d_far == approx(d, abs=1e-8, nan_ok=True)
    assert s_far == approx(s, abs=1e-7, nan_ok=True)


@pytest.mark.independent
@pytest.mark.parametrize("which", [0, 2, 4])
def test_distance_and_station_are_those_of_a_geometry_library(which):
    # GEOS through shapely: distance to a line and position along it; lines with arcs, straights and cut-out corners
    line = grass_infield()[which]
    xy = line.vertices()
    if which == 4:
        xy[-1] = xy[0]
    edge = Edge(line.edge_id, LineString(xy), line.grass_left, "drawn")
    e, n = scattered(edge, 6000)
    s, d = edge_frame(edge).project(e, n)
    points = shapely.points(e, n)
    gap, along = shapely.distance(edge.line, points), shapely.line_locate_point(edge.line, points)
    inside = gap < 2.999
    if not edge.closed:
        inside &= (along > 1e-9) & (along < edge.length_m - 1e-9)
    assert np.isfinite(d[inside]).all() and np.isnan(d[gap > 3.001]).all()
    assert np.abs(d[inside]) == approx(gap[inside], abs=1e-9)
    if edge.closed:
        polygon = shapely.Polygon(edge.line)
        assert_array_equal(d[inside] > 0, shapely.contains_xy(polygon, e[inside], n[inside]))
    nearest = shapely.line_interpolate_point(edge.line, s[inside])
    assert shapely.distance(nearest, points[inside]) == approx(gap[inside], abs=1e-9)


@pytest.mark.independent
def test_the_buckets_lose_no_segment():
    line = grass_infield()[4]
    xy = line.vertices(0.7)
    xy[-1] = xy[0]
    edge = Edge("infield", LineString(xy), True, "drawn")
    e, n = scattered(edge, 400, seed=5)
    s, d = edge_frame(edge).project(e, n)
    slow = np.array([slow_place(edge, *p) for p in zip(e, n)])
    assert d == approx(slow[:, 1], abs=1e-9, nan_ok=True)
    clear = np.isfinite(d) & (np.abs(s - slow[:, 0]) < 1)
    assert s[clear] == approx(slow[clear, 0], abs=1e-9)
    assert clear.sum() >= np.isfinite(d).sum() - 3  # equally near to two places
