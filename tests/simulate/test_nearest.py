"""Distance, side and station of points by the bucketed kernel, against a general geometry library."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from pipeline.diamond.dimensions import LAYOUTS
from pipeline.diamond.outline import outline
from pipeline.simulate.nearest import lines

SHAPE = outline(LAYOUTS["baseball-90"], grass=True)
BOX = (-32.0, -8.0, 32.0, 52.0)


def prepared():
    return lines(list(SHAPE.edges.values()), BOX)


def scattered(count: int) -> tuple[np.ndarray, np.ndarray]:
    return tuple(np.random.default_rng(4).uniform([[BOX[0]], [BOX[1]]], [[BOX[2]], [BOX[3]]], (2, count)))


@pytest.mark.independent  # shapely's distance and point-in-polygon
def test_distance_and_side_agree_with_a_geometry_library_on_a_real_diamond():
    x, y = scattered(20_000)
    d, _, _ = prepared().find(x, y)
    all_lines = shapely.union_all([line for line, _ in SHAPE.edges.values()])
    assert np.abs(d) == pytest.approx(shapely.distance(all_lines, shapely.points(x, y)), abs=1e-9)
    clear = np.abs(d) > 1e-6
    assert np.array_equal((d < 0)[clear], shapely.contains_xy(SHAPE.skin, x, y)[clear])


@pytest.mark.independent  # shapely's projection onto a line
def test_the_station_is_the_one_a_geometry_library_projects_to():
    x, y = scattered(3_000)
    _, station, which = prepared().find(x, y)
    shapes = [line for line, _ in SHAPE.edges.values()]
    there = shapely.line_interpolate_point([shapes[i] for i in which], station)
    nearest = np.array([shapes[i].distance(Point(px, py)) for i, px, py in zip(which, x, y)])
    assert np.hypot(shapely.get_x(there) - x, shapely.get_y(there) - y) == pytest.approx(nearest, abs=1e-9)


@pytest.mark.analytic
def test_distance_from_a_straight_line_is_the_offset_and_its_sign_follows_the_side():
    one = lines([(LineString([(0, 0), (10, 0)]), True)], (-1.0, -3.0, 11.0, 3.0))
    d, station, _ = one.find(np.array([2.0, 7.0]), np.array([1.5, -0.25]))
    assert d == pytest.approx([1.5, -0.25]) and station == pytest.approx([2.0, 7.0])
    other = lines([(LineString([(0, 0), (10, 0)]), False)], (-1.0, -3.0, 11.0, 3.0))
    assert other.find(np.array([2.0]), np.array([1.5]))[0] == pytest.approx([-1.5])


@pytest.mark.analytic
def test_beyond_a_sharp_corner_the_side_is_still_right():
    wedge = LineString([(0, 0), (5, 0.5), (0, 1)])  # grass inside the wedge, on its left
    made = lines([(wedge, True)], (-2.0, -3.0, 9.0, 4.0))
    d, _, _ = made.find(np.array([4.0, 6.0, 5.5, 7.0]), np.array([0.5, 0.5, 0.4, 3.0]))
    assert d[0] > 0 and (d[1:] < 0).all()


@pytest.mark.invariant
def test_the_answer_does_not_depend_on_the_order_of_points_or_lines():
    x, y = scattered(2_000)
    d, station, which = prepared().find(x, y)
    order = np.random.default_rng(1).permutation(x.size)
    again = prepared().find(x[order], y[order])
    assert np.array_equal(again[0], d[order]) and np.array_equal(again[1], station[order])
    turned = lines(list(SHAPE.edges.values())[::-1], BOX).find(x, y)
    assert np.abs(turned[0] - d).max() < 1e-12
    last = len(SHAPE.edges) - 1
    same = turned[2] == last - which
    assert same.mean() > 0.999  # only where two edges meet and are equally near may the other be named
