"""Grass come into the skin: closed forms on written-down tables, simulated edges with a known beginning."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.encroachment import GrassScene
from numpy.testing import assert_array_equal
from pytest import approx
from shapely.affinity import translate
from shapely.geometry import LineString
from support.edge_scene import INSTRUMENTS, Options, single_arc, small_infield
from support.flat_tables import cover_ramp, straight, table_of
from support.lip_trials import foreign
from support.random_ground import read_line

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_table import EdgeTable, columns, edge_table, rows
from pipeline.survey.edges.encroachment import (
    FLOOR_M, GrassLine, against_edge, drawn_line, grass_line, moved_as_one, onto, since,
)  # fmt: skip

RADIUS = 8.0


def circle(radius=RADIUS, at=(0.0, 0.0), grass_left=False, source="layout") -> Edge:
    """A ring walked counter-clockwise; grass outside unless grass_left."""
    a = np.linspace(0, 2 * np.pi, 2001)
    xy = np.column_stack([at[0] + radius * np.cos(a), at[1] + radius * np.sin(a)])
    xy[-1] = xy[0]
    return Edge("outer", LineString(xy), grass_left, source)


def ring_table(edge: Edge, begins: float) -> EdgeTable:
    s, d = rows(edge), columns()
    shape = len(s), len(d)
    green = np.broadcast_to(0.05 + 0.85 * cover_ramp(d, begins), shape).copy()
    return EdgeTable(edge.edge_id, s, d, np.full(shape, 50.0), np.full(shape, 25, np.uint32), green, None, np.full(shape, 0.004), edge.usable(s, 1.0))


def known(edge: Edge, offset, sigma=0.0) -> GrassLine:
    s = rows(edge)
    return GrassLine(edge, s, np.broadcast_to(offset, s.shape).astype(float), np.full(s.shape, sigma), "colour")


def green_table(begins, length=30.0) -> EdgeTable:
    return table_of(lambda s, d: 51 + 0 * s * d, length, green=lambda d: 0.05 + 0.85 * cover_ramp(d, begins))


@pytest.mark.analytic
@pytest.mark.parametrize(("grass_left", "begins"), [(False, -0.12), (True, -0.30), (False, 0.20)])
def test_the_skin_lost_round_a_ring_is_the_ring_between_two_circles(grass_left, begins):
    edge = circle(grass_left=grass_left)
    found = against_edge(grass_line(ring_table(edge, begins), edge), edge, 0.0)
    assert found.told_by == "colour" and found.against == "layout"
    assert found.whole.encroached_m == approx(-begins, abs=1e-3)
    other = RADIUS + begins * (-1 if grass_left else 1)
    area = np.pi * (RADIUS**2 - other**2) * (-1 if grass_left else 1)
    assert found.whole.skin_lost_m2 == approx(area * found.whole.seen_m / edge.length_m, rel=0.01)
    exact = against_edge(known(edge, begins), edge, 0.0).whole
    assert exact.skin_lost_m2 == approx(area * exact.seen_m / edge.length_m, rel=1e-4)


@pytest.mark.analytic
def test_every_5_m_of_a_straight_edge_and_the_whole_of_it():
    edge = straight(30.0)
    found = against_edge(grass_line(green_table(-0.10), edge), edge, 0.010)
    assert [p.station_m for p in found.segments] == [2.5, 7.5, 12.5, 17.5, 22.5, 27.5]
    assert [p.encroached_m for p in found.segments] == approx([0.10] * 6, abs=1e-3)
    assert found.whole.station_m is None and found.whole.seen_m == 28.0
    assert sum(p.skin_lost_m2 for p in found.segments) == approx(found.whole.skin_lost_m2)
    assert found.whole.skin_lost_m2 == approx(0.10 * 28, rel=0.01)
    assert found.whole.skin_lost_sigma_m2 == approx(found.whole.sigma_m * 28)


@pytest.mark.analytic
def test_a_survey_that_lies_sideways_counts_along_a_straight_edge_and_not_round_a_ring():
    line, ring = straight(30.0), circle()
    along, around = (against_edge(known(e, -0.05), e, 0.020).whole.sigma_m for e in (line, ring))
    assert along == approx(np.hypot(0.020, FLOOR_M["colour"]), rel=1e-6)
    assert around == approx(FLOOR_M["colour"], abs=2e-4)


@pytest.mark.analytic
def test_between_two_dates_what_came_in_since():
    edge = straight(30.0)
    dates = [grass_line(green_table(b), edge) for b in (0.03, -0.04, -0.15)]
    assert since(dates[0], dates[1], 0.0).whole.encroached_m == approx(0.07, abs=2e-3)
    first, second, both = (since(dates[i], dates[j], 0.0) for i, j in ((0, 1), (1, 2), (0, 2)))
    assert first.against == "earlier" and first.told_by == "colour"
    for a, b, c in zip((first.whole, *first.segments), (second.whole, *second.segments), (both.whole, *both.segments)):
        assert a.encroached_m + b.encroached_m == approx(c.encroached_m, abs=1e-12)
        assert a.skin_lost_m2 + b.skin_lost_m2 == approx(c.skin_lost_m2, abs=1e-9)
    with pytest.raises(ValueError, match="different lines"):
        since(dates[0], replace(dates[1], edge=straight(30.0, start=(0.0, 1.0))), 0.0)


@pytest.mark.analytic
def test_dates_told_by_different_signals_are_less_sure_of_each_other():
    edge = straight(30.0)
    colour = grass_line(green_table(-0.04), edge)
    by_intensity = replace(colour, told_by="intensity")
    alike, unlike = since(colour, colour, 0.0), since(by_intensity, colour, 0.0)
    assert unlike.whole.sigma_m > alike.whole.sigma_m + 0.01 and unlike.told_by == "intensity and colour"


@pytest.mark.analytic
def test_read_along_one_line_and_held_to_another():
    given, series = straight(30.0, source="layout"), straight(30.0, start=(0.0, 0.08))  # the series' line 80 mm in the grass
    held = onto(known(series, -0.03, 0.01), given)
    assert held.edge is given
    assert held.offset_m[held.seen] == approx(0.05, abs=1e-9) and held.seen.sum() == 56
    ring, wider = circle(), circle(RADIUS + 0.10)
    assert onto(known(wider, -0.15), ring).offset_m == approx(-0.05, abs=2e-4)
    assert not onto(known(straight(30.0, start=(0.0, 50.0)), 0.0), given).seen.any()


@pytest.mark.analytic
def test_a_drawn_edge_stays_and_the_difference_is_told():
    drawn, layout = straight(30.0, source="drawn"), straight(30.0, start=(0.0, 0.25), source="layout")
    seen = against_edge(grass_line(green_table(-0.10), drawn), drawn, 0.01)
    assert seen.against == "drawn" and seen.whole.encroached_m == approx(0.10, abs=1e-3)
    word = against_edge(drawn_line(drawn, 0.025), layout, 0.0)  # what the drawing says of the layout's line
    assert word.against == "layout" and word.told_by == "drawn"
    assert word.whole.encroached_m == approx(0.25, abs=1e-6) and word.segments[2].sigma_m == approx(0.025)


@pytest.mark.analytic
def test_a_layout_about_the_wrong_centre_is_told_from_grass_that_came_in():
    true, given = circle(), circle(at=(-0.30, 0.20))
    east, north, before, after = moved_as_one(known(true, -0.05), given)
    assert (east, north) == approx((0.30, -0.20), abs=0.01)
    assert before > 0.2 and after == approx(0.05, abs=0.01)
    nothing = moved_as_one(known(true, np.nan), given)
    assert np.isnan(nothing).all()


@pytest.mark.analytic
def test_roughness_reads_where_cover_is_half_though_scatter_adds_in_quadrature():
    d = columns()
    for begins in (-0.20, 0.0, 0.10):
        table = table_of(lambda s, d: 51 + 0 * s * d)
        spread = np.hypot(0.012, 0.011 * cover_ramp(d, begins))
        table = replace(table, spread=np.broadcast_to(spread, table.spread.shape).copy())
        found = grass_line(table, straight(30.0))
        assert found.told_by == "roughness"
        assert found.offset_m[found.seen] == approx(begins, abs=0.006)


@pytest.mark.analytic
def test_where_nothing_tells_there_is_no_figure():
    edge = straight(30.0)
    found = against_edge(grass_line(table_of(lambda s, d: 51 + 0 * s * d), edge), edge, 0.01)
    assert found.told_by == "" and np.isnan(found.whole.encroached_m) and "nothing tells" in found.whole.reason
    line = known(edge, -0.1, 0.01)
    half = replace(line, offset_m=np.where(line.station < 11, line.offset_m, np.nan))
    part = against_edge(half, edge, 0.01)
    assert np.isnan(part.whole.encroached_m) and "11.0 of" in part.whole.reason
    assert [np.isfinite(p.encroached_m) for p in part.segments] == [True, True, False, False, False, False]


def trial(name: str, seed: int, options=Options(), lines=None):
    """Errors of segments and whole edges against the drawn line at one date, mm, with their s.d.; edges told."""
    scene = GrassScene(seed, INSTRUMENTS[name], lines or small_infield(), options)
    ground, out, told = scene.survey(0), [], 0
    for edge, blind in zip(scene.edges, foreign(scene.edges, scene)):
        line = grass_line(edge_table(ground, edge, blind), edge)
        told += bool(line.told_by)
        found = against_edge(line, edge, INSTRUMENTS[name].horizontal_mm / 1000)
        gap = scene.begins(edge.edge_id, 0, line.station) - read_line(scene.true[edge.edge_id]["drawn"], line.station)
        for part in (*found.segments, found.whole):
            if np.isfinite(part.encroached_m):
                mine = line.seen & (part.station_m is None or np.abs(line.station - (part.station_m or 0.0)) < 2.5)
                out.append(((part.encroached_m + gap[mine].mean()) * 1000, part.sigma_m * 1000))
    return np.array(out).reshape(-1, 2), told


@pytest.mark.independent
@pytest.mark.parametrize(("name", "limit_mm"), [("good", 30), ("weak", 60), ("lidar", 60)])
def test_on_simulated_edges_the_beginning_is_found(name, limit_mm):
    # the scene's truth: the ramp of cover is written down, the ragged line included
    errors, told = trial(name, 6101)
    assert told == 5 and np.sqrt(np.mean(errors[:, 0] ** 2)) < limit_mm
    assert (np.abs(errors[:, 0]) < 3 * errors[:, 1]).all()


@pytest.mark.independent
def test_lidar_without_intensity_tells_by_roughness_and_says_how_badly():
    errors, told = trial("lidar", 6104, Options(colour=False))
    assert told >= 2 and np.median(errors[:, 1]) > 35
    assert np.sqrt(np.mean(errors[:, 0] ** 2)) < 100


@pytest.mark.independent
def test_dust_on_the_first_blades_is_not_read_as_grass_gone():
    scene = GrassScene(6106, INSTRUMENTS["good"], small_infield(), Options(dust=0.3, horizontal=False), later_mm=(0.0, 0.0))
    grounds, blind = [scene.survey(k) for k in (0, 1)], foreign(scene.edges, scene)
    for edge, hidden in zip(scene.edges, blind):
        clean, dusty = (grass_line(edge_table(g, edge, hidden), edge) for g in grounds)
        assert since(clean, dusty, 0.0).whole.encroached_m == approx(0, abs=0.022)


@pytest.mark.invariant
def test_photogrammetry_without_colour_does_not_take_a_lip_for_the_grass():
    for seed in (6103, 6104):
        assert trial("good", seed, Options(colour=False))[1] == 0


@pytest.mark.invariant
def test_neither_order_of_points_nor_place_on_earth_matters():
    scene = GrassScene(6105, INSTRUMENTS["good"], single_arc(20, 20))
    ground, edge = scene.survey(0), scene.edges[0]
    far = replace(ground, west=ground.west + 640_000, south=ground.south + 80_000)
    there = replace(edge, line=translate(edge.line, 640_000, 80_000))
    mixed = ground.take(np.random.default_rng(1).permutation(len(ground)))
    first, shuffled, moved = (against_edge(grass_line(edge_table(g, e), e), e, 0.01) for g, e in ((ground, edge), (mixed, edge), (far, there)))
    assert first == shuffled
    assert moved.whole.encroached_m == approx(first.whole.encroached_m, abs=1e-6)
    assert_array_equal([p.station_m for p in moved.segments], [p.station_m for p in first.segments])
