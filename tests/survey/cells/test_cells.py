"""A height a cell and its error: exact on planes, a library's medians and means elsewhere, honest about noise."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from support.gridding_scene import gridded, square_grid, unscreened

from pipeline.survey.cells.cells import MEDIAN_UP_TO, block_scatter, cell_error, cells_of_tile, field_scatter, median_loss
from pipeline.survey.cells.order import in_order
from pipeline.survey.cells.tiles import HEIGHT_SHIFT, PLACE_BITS, PLACE_MASK, Tiling

TILING = Tiling.of(square_grid(12, 0.1))
NONE = np.empty(0, np.int64)


@pytest.mark.analytic
def test_uneven_points_on_a_plane_of_eight_percent_leave_a_tenth_of_a_millimetre():
    rng = np.random.default_rng(1)
    x, y = np.round(24 * rng.beta(2, 3, 400_000), 4), np.round(24 * rng.beta(1.2, 1, 400_000), 4)
    found = unscreened(x, y, 200 + 0.08 * x - 0.03 * y, square_grid(), step_m=1e-4)
    e, n = found.grid.mesh()
    assert np.nanmax(np.abs(found.z - (200 + 0.08 * e - 0.03 * n))) <= 1e-4
    assert 20_000 < np.count_nonzero(np.isfinite(found.z)) < 57_600  # uneven enough to leave holes, and they stay


@pytest.mark.analytic
def test_a_plane_stored_to_the_tick_comes_back_to_the_tick():
    rng = np.random.default_rng(2)
    down, across = rng.integers(0, 120_000, (2, 60_000))
    z = 2_000_000 + (8 * across - 3 * down) // 100
    height, _, _ = through_kernel(z << HEIGHT_SHIFT | down << PLACE_BITS | across)
    row, col = np.mgrid[:120, :120] + 0.5
    right = 200 + 0.008 * col - 0.003 * row
    assert np.nanmax(np.abs(height - right)) <= 1e-4


def through_kernel(keys: np.ndarray):
    keys, _, starts = in_order(TILING, keys, NONE)
    height, points, variance = np.empty((120, 120)), np.empty((120, 120), np.uint32), np.empty((120, 120))
    cells_of_tile(keys, starts, TILING.block, TILING.ticks, height, points, variance)
    return height, points, variance


def readable_twin(keys: np.ndarray):
    """The same, plainly: a plane by numpy over each 1.5 m, then a median (beyond 64 points a mean) of what is left."""
    keys, _, _ = in_order(TILING, keys, NONE)
    y, x, z = (keys >> PLACE_BITS & PLACE_MASK) * 1e-4, (keys & PLACE_MASK) * 1e-4, (keys >> HEIGHT_SHIFT) * 1e-4
    row, col = (y * 10 + 1e-9).astype(int), (x * 10 + 1e-9).astype(int)
    height, points, variance = np.full((120, 120), np.nan), np.zeros((120, 120), int), np.full((120, 120), np.nan)
    for pr in range(8):
        for pc in range(8):
            here = (row // 15 == pr) & (col // 15 == pc)
            if not here.any():
                continue
            design = np.column_stack([np.ones(here.sum()), y[here] - 1.5 * pr - 0.75, x[here] - 1.5 * pc - 0.75])
            block = row[here] % 15 // 5 * 3 + col[here] % 15 // 5
            every = 1 + here.sum() // 1000
            taken = np.zeros(here.sum(), bool)
            for b in range(9):
                taken[np.flatnonzero(block == b)[::every]] = True
            _, by, bx = np.linalg.lstsq(design[taken], z[here][taken], rcond=None)[0]
            for r, c in {(r, c) for r, c in zip(row[here], col[here])}:
                mine = here & (row == r) & (col == c)
                points[r, c] = mine.sum()
                if mine.sum() >= 3:
                    flat = z[mine] - by * (y[mine] - (r + 0.5) / 10) - bx * (x[mine] - (c + 0.5) / 10)
                    height[r, c] = np.median(flat) if len(flat) <= MEDIAN_UP_TO else flat.mean()
                    variance[r, c] = flat.var(ddof=1)
    return height, points, variance


@pytest.mark.independent  # a readable twin with numpy's least squares, median, mean and variance
def test_the_kernel_agrees_with_its_readable_twin():
    rng = np.random.default_rng(3)
    down, across = (120_000 * rng.beta(1.5, 3, (2, 30_000))).astype(np.int64)
    z = 2_000_000 + across // 15 + rng.normal(0, 60, 30_000).astype(np.int64)
    keys = z << HEIGHT_SHIFT | down << PLACE_BITS | across
    for found, right in zip(through_kernel(keys), readable_twin(keys)):
        assert np.allclose(found, right, rtol=1e-6, atol=1e-9, equal_nan=True)


@pytest.mark.independent  # scipy.stats.binned_statistic_2d
def test_level_ground_gives_scipys_medians_and_beyond_64_points_its_means():
    rng = np.random.default_rng(4)
    x, y = rng.integers(0, 6000, (2, 250_000))
    z = np.round(rng.normal(0, 0.01, len(x)), 3)
    found = unscreened(x / 1000, (6000 - y) / 1000, z, square_grid(6))  # y from the north: a cell owns that edge
    bins = [np.arange(0, 6001, 100)] * 2
    binned = {how: stats.binned_statistic_2d(y, x, z, how, bins).statistic for how in ("count", "median", "mean")}
    assert np.array_equal(found.points, binned["count"])
    many = binned["count"] > MEDIAN_UP_TO
    assert 0.2 < many.mean() < 0.9
    right = np.where(many, binned["mean"], binned["median"])
    assert np.abs(found.z - right).max() < 1e-4  # slopes of noise alone: 0.1 mm


@pytest.mark.analytic
def test_fewer_than_three_points_are_no_height_nor_are_three_where_no_slope_is_known():
    corners = [(16_500, 16_500), (16_500, 29_500), (29_500, 16_500), (29_500, 29_500)]
    pair, three = [(20_100, 20_100), (20_200, 20_200)], [(25_100, 25_100), (25_200, 25_200), (25_300, 25_300)]
    alone = [(60_100 + 100 * i, 60_200) for i in range(3)]
    down, across = np.array(corners + pair + three + alone).T
    height, points, variance = through_kernel(100 << HEIGHT_SHIFT | down << PLACE_BITS | across)
    assert points[20, 20] == 2 and np.isnan(height[20, 20]) and np.isnan(variance[20, 20])
    assert points[25, 25] == 3 and height[25, 25] == pytest.approx(0.01) and variance[25, 25] == 0
    assert points[60, 60] == 3 and np.isnan(height[60, 60])
    assert points.sum() == 12 and np.count_nonzero(np.isfinite(height)) == 1


@pytest.mark.independent  # exact order-statistic moments by quadrature (David & Nagaraja 2003, from memory)
@pytest.mark.parametrize("n", [3, 5, 7, 11, 21, 41, 63])
def test_a_medians_loss_for_odd_counts_is_the_integrals(n):
    from math import lgamma

    from scipy.integrate import quad
    from scipy.stats import norm

    k = (n - 1) // 2
    scale = lgamma(n + 1) - 2 * lgamma(k + 1)

    def density(v: float) -> float:
        return np.exp(scale + k * norm.logcdf(v) + k * norm.logsf(v) + norm.logpdf(v))

    variance = 2 * quad(lambda v: v * v * density(v), 0, 8)[0]
    assert median_loss(n) == pytest.approx(variance * n, rel=0.002)


@pytest.mark.independent  # a median of 4 normal values has variance 0.29820 (from memory); the rest by double sums
@pytest.mark.parametrize("n", [4, 6, 14, 30, 64])
def test_a_medians_loss_for_even_counts_is_the_double_sums(n):
    from math import lgamma

    from scipy.stats import norm

    k = n // 2
    v = np.linspace(-6, 6, 2401)
    low = np.exp((k - 1) * norm.logcdf(v) + norm.logpdf(v))
    high = np.exp((k - 1) * norm.logsf(v) + norm.logpdf(v))
    step = v[1] - v[0]
    squares = 0.25 * (v[:, None] + v[None, :]) ** 2 * np.triu(np.ones((len(v), len(v))), 1)
    squares[np.diag_indices(len(v))] = 0.5 * v**2
    total = np.exp(lgamma(n + 1) - 2 * lgamma(k)) * (low @ squares @ high) * step**2
    assert median_loss(n) == pytest.approx(total * n, rel=0.004)
    if n == 4:
        assert median_loss(4) == pytest.approx(4 * 0.29820, rel=0.002)


@pytest.mark.analytic
def test_beyond_64_points_nothing_is_lost():
    assert median_loss(65) == 1.0 < median_loss(64)


@pytest.mark.analytic
@pytest.mark.parametrize("spacing_m", [0.05, 0.03, 0.012])
def test_the_stated_error_is_the_one_that_is_made(spacing_m):
    """4 mm of white noise on a plane: what each cell is off by, over what it says, has an s.d. of one."""
    rng = np.random.default_rng(5)
    side = 12.0 if spacing_m > 0.02 else 6.0
    n = int((side / spacing_m) ** 2)
    x, y = rng.uniform(0, side, (2, n))
    z = 200 + 0.01 * x + rng.normal(0, 0.004, n)
    found = unscreened(x, y, z, square_grid(side))
    e, _ = found.grid.mesh()
    ratio = ((found.z - 200 - 0.01 * e) / found.white)[np.isfinite(found.z)]
    assert found.white_point_m == pytest.approx(0.004, rel=0.03)
    assert 0.97 < ratio.std() < 1.03
    assert abs(ratio.mean()) < 4 / np.sqrt(len(ratio))


@pytest.mark.analytic
def test_rough_grass_is_told_from_smooth_skin_and_an_edge_counts_as_neither():
    rng = np.random.default_rng(6)
    x, y = rng.uniform(0, 12, (2, 160_000))
    grass = x > 6.05
    z = np.where(grass, 0.03 + rng.normal(0, 0.02, len(x)), rng.normal(0, 0.004, len(x)))
    grid = square_grid(12)
    e, _ = grid.mesh()
    found = unscreened(x, y, z, grid, e < 5.5)
    price = np.sqrt([median_loss(int(n)) / n if n >= 3 else np.nan for n in found.points.ravel()]).reshape(grid.shape)
    scatter = found.white / price
    assert np.nanmedian(scatter[e < 4]) == pytest.approx(0.004, rel=0.12)
    assert np.nanmedian(scatter[e > 8]) == pytest.approx(0.02, rel=0.05)
    assert found.white_point_m == pytest.approx(0.004, rel=0.03)


@pytest.mark.independent  # numpy's medians of the same ratios
def test_scatter_and_error_are_plain_medians_weighed_by_freedom():
    rng = np.random.default_rng(7)
    points = rng.integers(0, 90, (17, 23)).astype(np.uint32)
    variance = np.where(points >= 3, rng.uniform(1, 9, points.shape), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = variance / (1 - 2 / (9 * (points - 1.0))) ** 3
    chosen = rng.random(points.shape) < 0.5
    inside = np.sort(ratio[chosen & np.isfinite(variance)])
    assert field_scatter(variance, points, chosen) == inside[len(inside) // 2]
    assert np.isnan(field_scatter(variance, points, np.zeros(points.shape, bool)))
    found = cell_error(block_scatter(variance, points, 6, 4.0), points, 0.3)
    for r in range(0, 17, 6):
        for c in range(0, 23, 6):
            here = np.s_[r : r + 6, c : c + 6]
            known = np.isfinite(variance[here])
            own, freedom = np.sort(ratio[here][known])[known.sum() // 2], (points[here][known] - 1.0).sum()
            scatter = (50 * 4.0 + freedom * own) / (50 + freedom)
            n = points[here][known]
            loss = np.array([median_loss(int(k)) for k in n])
            right = np.sqrt(scatter * loss / n + np.where(n <= 64, 0.09 / 12, 0))
            assert np.allclose(found[here][known], right, rtol=1e-12)
            assert np.isnan(found[here][~known]).all()


@pytest.mark.analytic
def test_heights_to_the_centimetre_cost_what_is_stated():
    rng = np.random.default_rng(8)
    x, y = rng.uniform(0, 12, (2, 200_000))
    z = 0.05 * np.sin(x / 3) * np.cos(y / 2) + rng.normal(0, 0.006, len(x))
    found = gridded(x, y, np.round(z, 2), square_grid(12))
    e, n = found.grid.mesh()
    ratio = ((found.z - 0.05 * np.sin(e / 3) * np.cos(n / 2)) / found.white)[np.isfinite(found.z)]
    assert found.steps.z_m == pytest.approx(0.01, abs=1e-6)
    assert 0.8 < ratio.std() < 1.05  # gentle ground; on steeper the slope breaks the steps up, and it is too careful


@pytest.mark.invariant
def test_turning_the_field_turns_the_surface():
    rng = np.random.default_rng(9)
    x, y = (rng.integers(0, 12_000, (2, 100_000)) + 0.5) / 1000  # never on a cell's edge
    z = 0.05 * x + rng.normal(0, 0.004, len(x))
    one, other = (unscreened(*xyz, square_grid(12), step_m=1e-4) for xyz in ((x, y, z), (12 - y, x, z)))
    assert np.array_equal(np.rot90(one.points), other.points)
    # a plane rests on every so-manyth point in order, and the order turns: slopes move by 0.3 mm/m, heights by 0.03 mm
    assert np.nanmax(np.abs(np.rot90(one.z) - other.z)) < 1e-4


@pytest.mark.invariant
def test_of_very_many_cells_a_fair_share_is_looked_at():
    """Scatter that differs across a plane block, 15 cells, as on rough ground: a step of 15 would see one column."""
    column = np.arange(1200) % 15
    variance = np.broadcast_to(1.0 + (column == 0) + 0.01 * column, (1200, 1200)).copy()
    points = np.full((1200, 1200), 14, np.uint32)
    right = np.median(variance) / (1 - 2 / (9 * 13.0)) ** 3
    assert field_scatter(variance, points, np.ones((1200, 1200), bool)) == pytest.approx(right, rel=0.002)
