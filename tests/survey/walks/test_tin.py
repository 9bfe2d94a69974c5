"""A rover's raster: straight between its rows, near them only, with a sigma that grows with the distance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import Delaunay, cKDTree
from support.rover_scene import Ground2D, as_walk, field_path, field_walk

from pipeline.frame import Grid
from pipeline.survey.noise import ROVER, Noise
from pipeline.survey.stable.correlated import linear_variance
from pipeline.survey.walks.tin import ON_SIDE, between_rows, interpolate, locate, spacing_error, tin_raster
from pipeline.survey.walks.walk import to_ground, white_noise

GRID = Grid.covering((0, 0, 30, 30), "EPSG:6564", 0.25)


def walked(seed, ground=None, path=None, **noise):
    rng = np.random.default_rng(seed)
    ground = ground or Ground2D(rng)
    return as_walk(*field_walk(rng, ground, path or field_path(), **noise)), ground


def raster(walk, grid=GRID, white=None):
    return tin_raster(to_ground(walk, grid), grid, white_noise(walk) if white is None else white)


@pytest.fixture(scope="module")
def seen():
    walk, ground = walked(3)
    return walk, ground, raster(walk)


@pytest.mark.analytic
def test_a_plane_comes_back_to_the_stored_tenth_of_a_millimetre():
    rng = np.random.default_rng(1)
    x, y = rng.uniform(0, 30, (2, 1500))
    result = raster(as_walk(x, y, 100 + 0.03 * x - 0.02 * y), white=0.0)
    e, n = GRID.mesh()
    assert np.nanmax(np.abs(result.surface.z - (100 + 0.03 * e - 0.02 * n))) < 1.0e-4
    assert np.isfinite(result.surface.z).mean() > 0.97


@pytest.mark.analytic
def test_on_a_bowl_the_error_of_a_straight_line_is_q_over_twice_the_radius():
    """z = r2 / 2R: the straight line stands q / 2R above it, q = sum w_i |x - x_i|^2 (Waldron 1998, from memory)."""
    rng = np.random.default_rng(2)
    x, y = rng.uniform(0, 20, (2, 200))
    radius = 150.0
    z = (x**2 + y**2) / (2 * radius)
    at = rng.uniform(4, 16, (300, 2))
    value, gain, q, inside = interpolate(Delaunay(np.column_stack([x, y])).simplices.astype(np.int64), x, y, z, at)
    at = at[inside]
    assert value - (at**2).sum(axis=1) / (2 * radius) == pytest.approx(q / (2 * radius), abs=1e-12)
    assert gain.min() > 1 / 3 - 1e-9 and gain.max() <= 1 + 1e-9


@pytest.mark.analytic
def test_how_fast_the_error_grows_is_read_back_from_the_rows():
    """A bowl of radius R errs by q / 2R: variance q2 / 4R2. Noise alone errs by nothing beyond the noise."""
    rng = np.random.default_rng(3)
    order = np.sort(rng.uniform(0, 30, 2500))
    y = rng.uniform(0, 30, 2500)
    bowl = spacing_error(order, y, (order**2 + y**2) / (2 * 40.0), 0.0)
    assert bowl.variance(np.array(1.0)) == pytest.approx(1 / (4 * 40.0**2), rel=0.05)
    noise = spacing_error(order, y, rng.normal(0, 0.007, 2500), 0.007)
    assert np.sqrt(noise.variance(np.array(0.25))) < 0.0015


@pytest.mark.invariant
def test_nothing_is_told_further_than_1_5_m_from_a_row_or_outside_the_rows():
    walk, _ = walked(4, path=field_path(apart=7.0)[:4])
    result = raster(walk)
    away, _ = cKDTree(np.column_stack([walk.x, walk.y])).query(np.column_stack([v.ravel() for v in GRID.mesh()]))
    far = (away > 1.5 + 1e-3).reshape(GRID.shape)
    assert np.isnan(result.surface.z[far]).all() and np.isnan(result.surface.sigma[far]).all()
    told = np.isfinite(result.surface.z)
    assert 0.2 < told.mean() < 0.8
    assert result.away[told] == pytest.approx(away.reshape(GRID.shape)[told], abs=1e-3)
    n = GRID.mesh()[1][told]
    assert n.min() > walk.y.min() - 0.2 and n.max() < walk.y.max() + 0.2


@pytest.mark.invariant
def test_count_holds_the_rows_of_the_cells_that_are_told(seen):
    walk, _, result = seen
    assert result.surface.count.dtype == np.uint32
    assert result.surface.count.sum() == pytest.approx(len(walk), rel=0.03)  # rows on the rim stand in empty cells
    assert (result.surface.count[np.isnan(result.surface.z)] == 0).all()


@pytest.mark.invariant
def test_the_order_of_the_rows_changes_no_byte(seen):
    walk, _, result = seen
    mixed = raster(walk.take(np.random.default_rng(0).permutation(len(walk))), white=white_noise(walk))
    for a, b in ((result.surface.z, mixed.surface.z), (result.surface.sigma, mixed.surface.sigma),
                 (result.surface.count, mixed.surface.count), (result.away, mixed.away)):  # fmt: skip
        assert a.tobytes() == b.tobytes()


@pytest.mark.invariant
def test_moving_the_field_two_million_metres_changes_nothing(seen):
    walk, _, result = seen
    grid = Grid.covering((2_000_000, 400_000, 2_000_030, 400_030), "EPSG:6564", 0.25)
    far = raster(walk.at(walk.x + 2_000_000, walk.y + 400_000, walk.z), grid, white_noise(walk))
    both = np.isfinite(result.surface.z) & np.isfinite(far.surface.z)
    assert both.mean() > np.isfinite(result.surface.z).mean() - 0.001
    assert np.abs(far.surface.z - result.surface.z)[both].max() < 2e-4


@pytest.mark.invariant
@pytest.mark.parametrize("rough, reach, apart", [(0.008, 3.0, 1.2), (0.020, 2.0, 1.2), (0.030, 6.0, 6.0)])
def test_sigma_is_as_large_as_the_errors_are(rough, reach, apart):
    ratio, claimed, actual = [], [], []
    for seed in range(4):
        walk, ground = walked(50 + seed, Ground2D(np.random.default_rng(seed), rough, reach), field_path(apart=apart))
        result = raster(walk)
        e, n = GRID.mesh()
        told = np.isfinite(result.surface.z)
        error = result.surface.z[told] - ground(e[told], n[told])
        ratio.append(np.mean((error / result.surface.sigma[told]) ** 2))
        claimed.append(np.median(result.surface.sigma[told]))
        actual.append(np.median(np.abs(error)) / 0.6745)
    assert 0.75 < np.sqrt(np.mean(ratio)) < 1.3
    assert np.mean(claimed) < 1.4 * np.mean(actual)  # and not bought with sigmas that are far too wide


@pytest.mark.invariant
def test_sigma_grows_away_from_the_rows_and_holds_the_drift(seen):
    sigma, away = seen[2].surface.sigma, seen[2].away
    held = np.isfinite(sigma)
    assert sigma[held].min() > np.sqrt(ROVER.correlated_variance)
    rough, _ = walked(6, Ground2D(np.random.default_rng(6), 0.03, 1.5), field_path(apart=2.4))
    result = raster(rough)
    sigma, away = result.surface.sigma, result.away
    assert np.nanmedian(sigma[away > 0.9]) > 1.3 * np.nanmedian(sigma[away < 0.2])


@pytest.mark.invariant
def test_rows_on_one_line_make_no_surface():
    x = np.linspace(1, 29, 200)
    result = raster(as_walk(x, np.full_like(x, 15.0), np.zeros_like(x)), white=0.007)
    assert np.isnan(result.surface.z).all() and not result.surface.count.any()


@pytest.mark.independent
def test_heights_are_those_of_another_triangulation(seen):
    """startinpy's linear interpolation in its own Delaunay triangles."""
    import startinpy

    walk, _, result = seen
    x, y, z = to_ground(walk, GRID).metres()
    other = startinpy.DT()
    other.snap_tolerance = 1e-6
    other.insert(np.column_stack([x, y, z]), insertionstrategy="AsIs")
    told = np.isfinite(result.surface.z)
    e, n = (v[told] for v in GRID.mesh())
    theirs = other.interpolate({"method": "TIN"}, np.column_stack([e, n]))
    same = np.abs(result.surface.z[told] - theirs)
    assert np.nanmax(same) < 1e-6 and np.isfinite(theirs).mean() > 0.999


def plain_locate(corners, x, y, px, py):
    """The readable twin of `locate`: every point against every triangle."""
    triangle, weight = np.full(len(px), -1), np.zeros((len(px), 3))
    for k, p in enumerate(zip(px, py)):
        for t, corner in enumerate(corners):
            frame = np.vstack([x[corner], y[corner], np.ones(3)])
            w = np.linalg.solve(frame, [*p, 1.0])
            if (w >= -ON_SIDE).all():
                triangle[k], weight[k] = t, w
                break
    return triangle, weight


@pytest.mark.independent
def test_the_fast_search_finds_the_triangles_the_plain_one_finds():
    rng = np.random.default_rng(7)
    x, y = rng.uniform(0, 4, (2, 30))
    corners = Delaunay(np.column_stack([x, y])).simplices.astype(np.int64)
    px, py = rng.uniform(-0.5, 4.5, 200), np.sort(rng.uniform(-0.5, 4.5, 200))
    fast, slow = locate(corners, x, y, px, py), plain_locate(corners, x, y, px, py)
    assert fast[0].tolist() == slow[0].tolist() and 20 < (fast[0] < 0).sum() < 150
    assert fast[1] == pytest.approx(slow[1], abs=1e-12)


@pytest.mark.independent
def test_heights_are_those_of_scipy(seen):
    from scipy.interpolate import LinearNDInterpolator

    walk, _, result = seen
    x, y, z = to_ground(walk, GRID).metres()
    told = np.isfinite(result.surface.z)
    e, n = (v[told] for v in GRID.mesh())
    assert result.surface.z[told] == pytest.approx(LinearNDInterpolator(np.column_stack([x, y]), z)(e, n), abs=1e-6)


@pytest.mark.independent  # many walks over the same level ground against the variance that the model gives
def test_means_and_contrasts_of_the_raster_scatter_as_its_error_model_says():
    rng = np.random.default_rng(11)
    grid = Grid.covering((0, 0, 16, 16), "EPSG:6564", 0.25)
    e, n = grid.mesh()
    inner = (np.abs(e - 8) < 6) & (np.abs(n - 8) < 6)
    away = np.hypot(e - 8, n - 8)
    disc, ring = (away < 0.9), (away > 1.5) & (away < 2.7)
    weights = [inner / inner.sum(), disc / disc.sum() - ring / ring.sum()]
    only_white = Noise(0.007, (), 0.0, 0.0, 0.0, 0.0)
    got, said = [], []
    for _ in range(60):
        x, y = rng.uniform(0, 16, (2, 330))
        made = tin_raster(to_ground(as_walk(x, y, 100 + rng.normal(0, 0.007, 330)), grid), grid, 0.007, only_white)
        noise, own = between_rows(made, inner, only_white)
        z = np.nan_to_num(made.surface.z - 100)
        got.append([(w * z).sum() for w in weights])
        said.append([linear_variance(w, noise, grid.cell_m, np.nan_to_num(own)) ** 0.5 for w in weights])
    ratio = np.sqrt(np.mean(np.square(got), axis=0)) / np.sqrt(np.mean(np.square(said), axis=0))
    assert ((0.6 < ratio) & (ratio < 1.2)).all(), ratio
