from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from pytest import approx
from scipy.stats import binned_statistic_2d
from shapely.geometry import LineString, box
from support.edge_scene import GOOD, LIDAR, Lip, Options, Scene, grass_infield, single_arc
from support.flat_tables import straight

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_frame import edge_frame
from pipeline.survey.edges.edge_table import D_LOW_M, _heights, columns, edge_table, edge_tables, foreign_cells, rows
from pipeline.survey.points import TICK_M, Ground


def ground_of(e, n, z, rgb=None, intensity=None) -> Ground:
    west, south = np.floor(np.min(e)) - 2, np.floor(np.min(n)) - 2
    x, y = (np.round((v - o) / TICK_M).astype(np.int32) for v, o in ((e, west), (n, south)))
    return Ground(west, south, 0.0, x, y, np.round(np.asarray(z) / TICK_M).astype(np.int32), rgb, intensity)


def cloud(count=60_000, seed=1, rgb=True) -> Ground:
    rng = np.random.default_rng(seed)
    e, n = rng.uniform(-1, 31, count), rng.uniform(-3.2, 2.8, count)
    z = 50 + 0.01 * e + 0.02 * n + 0.004 * rng.standard_normal(count)
    colours = rng.integers(0, 256, (count, 3)).astype(np.uint8) if rgb else None
    return ground_of(e, n, z, colours, rng.integers(0, 60_000, count).astype(np.uint16))


# the line lies between the ticks of the points, so that no point falls on a cell's border
EAST = straight(30.0, start=(0.00003, 0.00003))


@pytest.mark.analytic
def test_on_a_noise_free_plane_every_cell_reads_the_plane_at_its_middle():
    e, n = (a.ravel() for a in np.meshgrid(np.arange(0.0125, 30, 0.025), np.arange(-2.9975, 2.6, 0.005)))
    table = edge_table(ground_of(e, n, 50 + 0.01 * e + 0.08 * n), EAST)
    assert table.z == approx(50 + 0.01 * table.s[:, None] + 0.08 * table.d, abs=1.5e-4)
    assert table.n.min() == table.n.max() == 200


@pytest.mark.analytic
def test_ends_are_left_out_and_a_last_short_piece_is_dropped():
    table = edge_table(cloud(), straight(29.7))
    assert len(table.s) == 59 and table.s[-1] == 29.25
    assert_array_equal(table.usable, (table.s > 1) & (table.s < 28.7))


@pytest.mark.invariant
def test_neither_order_of_points_nor_where_the_field_lies_changes_a_bit():
    first = cloud()
    order = np.random.default_rng(2).permutation(len(first))
    mixed = first.take(order)
    far = Ground(first.west + 640_000, first.south + 80_000, 0.0, first.x, first.y, first.z, first.rgb, first.intensity)
    there = Edge("outer", LineString([(640_000.00003, 80_000.00003), (640_030.00003, 80_000.00003)]), True, "drawn")
    tables = [edge_table(first, EAST), edge_table(mixed, EAST), edge_table(far, there)]
    for name in ("z", "n", "green", "intensity", "spread"):
        for other in tables[1:]:
            assert_array_equal(getattr(tables[0], name), getattr(other, name))


@pytest.mark.invariant
def test_points_raised_by_a_metre_raise_every_cell_by_a_metre():
    ground = cloud()
    raised = Ground(ground.west, ground.south, 1.0, ground.x, ground.y, ground.z)
    assert edge_table(raised, EAST).z == approx(edge_table(ground, EAST).z + 1, abs=1e-12, nan_ok=True)


@pytest.mark.independent
def test_cells_are_those_of_a_statistics_library():
    # scipy.stats.binned_statistic_2d on the frame's own coordinates
    ground = cloud()
    e, n, z = ground.metres()
    table = edge_table(ground, EAST)
    s, d = edge_frame(EAST).project(e, n)
    inside = np.isfinite(s)
    edges = np.arange(61) * 0.5, D_LOW_M + np.arange(113) * 0.05

    def binned(values, how):
        return binned_statistic_2d(s[inside], d[inside], values[inside], how, edges).statistic

    assert_array_equal(table.n, binned(z, "count"))
    assert table.z == approx(binned(z, "median"), abs=1e-9, nan_ok=True)
    assert table.intensity == approx(binned(ground.intensity.astype(float), "mean"), abs=1e-9, nan_ok=True)
    r, g, b = ground.rgb.astype(int).T
    assert table.green == approx(binned((2 * g - r - b > 0).astype(float), "mean"), abs=1e-12, nan_ok=True)


@pytest.mark.independent
def test_the_kernel_and_its_readable_twin_agree():
    rng = np.random.default_rng(4)
    cell, z = rng.integers(-1, 40, 3000).astype(np.int32), rng.integers(-500, 500, 3000).astype(np.int32)
    count, middle, spread, order = _heights(cell, z, 42)
    assert (np.diff(cell[order]) >= 0).all() and len(order) == (cell >= 0).sum()
    for k in range(42):
        mine = z[cell == k]
        assert count[k] == len(mine)
        if not len(mine):
            assert np.isnan(middle[k]) and np.isnan(spread[k])
            continue
        assert middle[k] == np.median(mine)
        low, high = np.percentile(mine, (25, 75))
        assert spread[k] == approx((high - low) / 1.3489795) if len(mine) >= 4 else np.isnan(spread[k])


@pytest.fixture(scope="module")
def infield() -> Scene:
    return Scene(5, LIDAR, options=Options(noise=0.0, drawn_off_mm=0.0, canopy_mm=(40, 40), horizontal=False))


@pytest.mark.analytic
def test_across_a_base_path_the_other_lawn_is_never_read_as_skin(infield):
    # grass on both sides of a path 1.83 m wide: beyond it the other edge's turf stands in the frame
    ground = infield.survey(0)
    path = next(e for e in infield.edges if e.edge_id == "foul-first")
    naked, masked = edge_table(ground, path), edge_table(ground, path, foreign_cells(path, infield.edges, infield.skin))
    skin = masked.d < -0.15
    beyond = masked.d < -1.85
    along = masked.usable & (masked.s > 5) & (masked.s < 14)
    assert (naked.intensity[along][:, beyond] > 600).mean() > 0.8  # it is grass
    assert np.isnan(masked.z[along][:, masked.d < -1.6]).all()
    seen = masked.intensity[along][:, skin]
    assert np.nanmax(seen) < 450 and np.isfinite(seen).mean() > 0.45
    assert np.isfinite(masked.z[along][:, (masked.d > -1.4)]).all()


@pytest.mark.analytic
def test_no_cell_of_any_edge_holds_ground_of_the_other_kind(infield):
    for table in edge_tables(infield.survey(0), infield.edges, infield.skin):
        shown = np.where((table.n >= 12) & table.usable[:, None], table.intensity, np.nan)
        assert np.nanmax(shown[:, table.d < -0.15]) < 500
        assert np.nanmin(shown[:, table.d > 0.55]) > 600


@pytest.mark.invariant
def test_a_lone_edge_loses_nothing_but_what_is_to_be_ignored():
    scene = Scene(1, LIDAR, single_arc(20, 12))
    edge = scene.edges[0]
    assert not foreign_cells(edge, scene.edges, scene.skin).any()
    hose = box(-1, 18, 1, 19)
    ignored = foreign_cells(edge, scene.edges, scene.skin, hose)
    e, n = edge.at(rows(edge)[:, None], columns()[None, :])
    assert ignored.any() and ((np.abs(e[ignored]) < 1) & (n[ignored] > 18) & (n[ignored] < 19)).all()


@pytest.mark.invariant
def test_a_neighbour_half_a_metre_away_leaves_too_little_skin_to_read():
    first, second = straight(30.0), straight(30.0, bearing_deg=270.0, edge_id="second", start=(30.0, -0.5))
    left = ~foreign_cells(first, [first, second])[20]
    assert left[columns() > 0.2].all()
    assert not left[(columns() < -0.2)].any()


@pytest.mark.analytic
def test_a_plain_lip_is_read_where_it_stands():
    lips = {"outer": Lip(height=30.0, growth=0.0)}
    options = Options(noise=0.0, uneven_mm=0.0, drawn_off_mm=0.0, canopy_mm=(0, 0), horizontal=False)
    scene = Scene(2, GOOD, single_arc(20, 20), lips=lips, options=options)
    scene.true["outer"]["height"][:] = 1.0
    scene.slope = (0.0, 0.0)
    table = edge_table(scene.survey(0), scene.edges[0])
    profile = (np.nanmedian(table.z[table.usable], axis=0) - 50) * 1000
    assert table.d[np.argmax(profile)] == approx(0.13, abs=0.03)
    assert profile.max() == approx(30, abs=0.5)
    assert np.abs(profile[table.d < -0.3]).max() < 0.2


@pytest.mark.invariant
def test_the_infield_has_its_own_eight_corners():
    scene = Scene(3, LIDAR, grass_infield(), options=Options(drawn_off_mm=0.0))
    infield = next(e for e in scene.edges if e.edge_id == "infield")
    clear = infield.usable(rows(infield))
    assert np.sum(np.diff(clear.astype(int)) == -1) == 8
