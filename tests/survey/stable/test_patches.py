"""A survey's height of a slab or plate."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import LAYOUTS
from pipeline.diamond.places import pitchers_plate
from pipeline.frame import Grid
from pipeline.survey.points import TICK_M, Ground
from pipeline.survey.stable.patches import footprint, height_from_cells, height_from_ground, height_from_points, spread_places

SLAB = footprint("slab", shapely.box(10, 20, 12.2, 27))
PLATE = footprint("plate", pitchers_plate(LAYOUTS["baseball-90"], Axes(0.0, 0.0, 0.3)))
WHITE = 0.004


def cloud(patch, per_m2: float, rng, margin: float = 0.3) -> tuple[np.ndarray, np.ndarray]:
    west, south, east, north = patch.shape.bounds
    n = int((east - west + 2 * margin) * (north - south + 2 * margin) * per_m2)
    return rng.uniform(west - margin, east + margin, n), rng.uniform(south - margin, north + margin, n)


def plane(e, n):
    return 100 + 0.015 * (e - 11.1) - 0.01 * (n - 23.5)


@pytest.mark.analytic
def test_fifty_millimetres_come_off_every_side():
    assert SLAB.shape.bounds == pytest.approx((10.05, 20.05, 12.15, 26.95))
    assert PLATE.shape.area == pytest.approx((24 * 0.0254 - 0.1) * (6 * 0.0254 - 0.1), rel=1e-9)
    assert footprint("crack", shapely.box(0, 0, 0.09, 5)) is None


@pytest.mark.analytic
def test_a_tilted_slab_seen_at_one_end_only_still_gives_its_middle():
    rng = np.random.default_rng(0)
    e, n = cloud(SLAB, 400, rng)
    crowded = (n < 22) | (rng.random(len(n)) < 0.05)
    e, n = e[crowded], n[crowded]
    found = height_from_points(e, n, plane(e, n), SLAB, WHITE)
    assert found.height_m == pytest.approx(100, abs=2e-4)
    on = shapely.contains_xy(SLAB.shape, e, n)
    assert abs(plane(e, n)[on].mean() - 100) > 0.01  # where a plain mean stands


@pytest.mark.analytic
@pytest.mark.parametrize("patch, per_m2", [(SLAB, 100), (PLATE, 1100)], ids=["slab", "pitchers_plate"])
def test_heights_scatter_as_they_say(patch, per_m2):
    rng = np.random.default_rng(1)
    score = []
    for _ in range(150):
        e, n = cloud(patch, per_m2, rng)
        found = height_from_points(e, n, 100 + WHITE * rng.standard_normal(len(e)), patch, WHITE)
        score.append((found.height_m - 100) / found.sigma_m)
    assert np.std(score) == pytest.approx(1, abs=0.2)
    assert abs(np.mean(score)) < 0.3


@pytest.mark.analytic
def test_a_ball_on_the_plate_and_dirt_in_its_corner_do_not_lift_it():
    rng = np.random.default_rng(2)
    errors = []
    for _ in range(40):
        e, n = cloud(PLATE, 1100, rng)
        z = 100 + WHITE * rng.standard_normal(len(e))
        west, _, east, _ = PLATE.shape.bounds
        z[e < west + 0.2 * (east - west)] += 0.030  # dirt
        z[np.hypot(e - PLATE.centre[0], n - PLATE.centre[1]) < 0.037] += 0.06  # a ball
        errors.append(height_from_points(e, n, z, PLATE, WHITE).height_m - 100)
    assert np.sqrt(np.mean(np.square(errors))) < 0.0045  # a mean of the points errs by 14 mm
    assert abs(np.mean(errors)) < 0.0015


@pytest.mark.analytic
def test_a_bench_along_one_end_of_a_slab_does_not_tip_it():
    rng = np.random.default_rng(7)
    e, n = cloud(SLAB, 400, rng)
    z = plane(e, n) + WHITE * rng.standard_normal(len(e))
    z[n > 25.6] += 0.45  # a fifth of the slab
    found = height_from_points(e, n, z, SLAB, WHITE)
    assert found.height_m == pytest.approx(100, abs=4 * found.sigma_m)
    assert 0.15 < found.outlying / found.count < 0.25


@pytest.mark.analytic
def test_fewer_than_three_points_give_no_height():
    found = height_from_points(np.array([11.0, 11.5]), np.array([22.0, 23.0]), np.array([5.0, 5.0]), SLAB, WHITE)
    assert np.isnan(found.height_m) and np.isnan(found.sigma_m) and found.count == 2


@pytest.mark.invariant
def test_the_order_of_the_points_changes_no_bit():
    rng = np.random.default_rng(3)
    e, n = cloud(SLAB, 50, rng)
    z = plane(e, n) + WHITE * rng.standard_normal(len(e))
    mixed = rng.permutation(len(e))
    assert height_from_points(e, n, z, SLAB, WHITE) == height_from_points(e[mixed], n[mixed], z[mixed], SLAB, WHITE)


@pytest.mark.invariant
def test_points_off_the_patch_do_not_count():
    rng = np.random.default_rng(4)
    e, n = cloud(SLAB, 50, rng)
    z = plane(e, n)
    on = shapely.contains_xy(SLAB.shape, e, n)
    z[~on] += 5.0
    z[np.flatnonzero(on)[0]] = np.nan
    found = height_from_points(e, n, z, SLAB, WHITE)
    assert found.height_m == pytest.approx(100, abs=1e-7)
    assert found.count == on.sum() - 1


@pytest.mark.invariant
def test_places_spread_over_a_shape_stay_inside_and_keep_its_middle():
    for patch in (SLAB, PLATE):
        places = spread_places(patch.shape, 40)
        assert shapely.contains_xy(patch.shape, places[:, 0], places[:, 1]).all()
        assert 20 <= len(places) <= 80
        np.testing.assert_allclose(places.mean(axis=0), patch.centre, atol=0.05)
    sliver = shapely.Polygon([(0, 0), (10, 10), (10, 10.0001)])
    assert shapely.contains_xy(sliver, *spread_places(sliver, 1)[0])


@pytest.mark.independent
def test_a_clean_slab_equals_an_ordinary_least_squares_plane():
    rng = np.random.default_rng(5)
    e, n = cloud(SLAB, 300, rng, margin=0.0)
    z = plane(e, n) + WHITE * rng.standard_normal(len(e))
    on = shapely.contains_xy(SLAB.shape, e, n)
    x = np.column_stack([np.ones(on.sum()), e[on] - SLAB.centre[0], n[on] - SLAB.centre[1]])
    theirs = np.linalg.lstsq(x, z[on], rcond=None)[0][0]
    found = height_from_points(e, n, z, SLAB, WHITE)
    assert found.height_m == pytest.approx(theirs, abs=0.3 * found.sigma_m)
    assert found.sigma_m == pytest.approx(WHITE / np.sqrt(on.sum()), rel=0.1)


@pytest.mark.independent
def test_stored_points_and_rasters_give_the_same_height_as_plain_arrays():
    rng = np.random.default_rng(6)
    e, n = cloud(SLAB, 200, rng)
    z = plane(e, n) + WHITE * rng.standard_normal(len(e))
    ticks = [np.round(v / TICK_M).astype(np.int32) for v in (e - 8, n - 18, z - 90)]
    ground = Ground(8.0, 18.0, 90.0, *ticks)
    plain = height_from_points(e, n, z, SLAB, WHITE)
    stored = height_from_ground(ground, SLAB, WHITE)
    assert stored.height_m == pytest.approx(plain.height_m, abs=5e-5)
    assert abs(stored.count - plain.count) <= 2
    grid = Grid.covering((8, 18, 14, 29), "EPSG:32617", 0.1)
    cells = height_from_cells(plane(*grid.mesh()), grid, SLAB, WHITE)
    assert cells.height_m == pytest.approx(100, abs=1e-6)
    assert cells.count == grid.mask(SLAB.shape).sum()
