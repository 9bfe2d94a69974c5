"""Block means and medians, and smoothing that keeps planes and the depth of hollows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from support.flat_field import hollow, middle, plane, square

from pipeline.frame import Grid
from pipeline.surface.block_heights import Smoother, block_grid, block_share, blocks


def plain_blocks(z, grid: Grid, factor: int, median: bool) -> dict:
    """The readable twin: cells of each block by their place in the working CRS."""
    out = {}
    for r in range(grid.ny):
        for c in range(grid.nx):
            key = (-((r - grid.row0) // factor), (c + grid.col0) // factor)  # blocks count from the CRS's own origin
            if np.isfinite(z[r, c]):
                out.setdefault(key, []).append(z[r, c])
    read = np.median if median else np.mean
    return {k: read(v) for k, v in out.items() if len(v) >= 0.5 * factor**2}


@pytest.mark.invariant
@pytest.mark.parametrize("median", [False, True])
@pytest.mark.parametrize("factor", [2, 5])
def test_blocks_equal_their_plain_twin_and_stand_on_the_working_crs(factor, median):
    rng = np.random.default_rng(1)
    grid = Grid("EPSG:6550", 5070003, 1750001, 0.1, 23, 31)
    z = rng.normal(size=grid.shape)
    z[rng.random(z.shape) < 0.3] = np.nan
    found = blocks(z, grid, factor, np.full(grid.shape, 0.002), median=median)
    assert found.grid.col0 * factor <= grid.col0 and found.grid.row0 * factor >= grid.row0
    twin = plain_blocks(z, grid, factor, median)
    for r, c in np.ndindex(found.value.shape):
        expected = twin.get((found.grid.row0 - r, found.grid.col0 + c), np.nan)
        assert found.value[r, c] == pytest.approx(expected, abs=1e-15, nan_ok=True)
    assert np.isfinite(found.value).sum() == len(twin)


@pytest.mark.invariant
def test_a_wider_extent_leaves_the_blocks_where_they_were():
    rng = np.random.default_rng(2)
    grid = Grid("EPSG:6550", 5070003, 1750001, 0.1, 40, 40)
    z = rng.normal(size=grid.shape)
    wide = Grid(grid.crs, grid.col0 - 7, grid.row0 + 4, 0.1, 55, 60)
    padded = np.full(wide.shape, np.nan)
    padded[4:44, 7:47] = z
    small, large = (blocks(a, g, 5, np.zeros(g.shape)) for a, g in ((z, grid), (padded, wide)))
    r, c = large.grid.row0 - small.grid.row0, small.grid.col0 - large.grid.col0
    assert np.array_equal(large.value[r : r + small.grid.ny, c : c + small.grid.nx], small.value, equal_nan=True)


@pytest.mark.independent
@pytest.mark.parametrize("n", [1, 2, 3, 4, 8, 9, 25])
def test_the_white_error_of_a_block_is_what_its_value_scatters_by(n):
    """Against 40,000 drawn medians and means of n normals."""
    rng = np.random.default_rng(n)
    drawn = rng.normal(0.0, 0.003, (40000, n))
    side = int(np.ceil(np.sqrt(n)))
    grid = Grid("EPSG:6550", 0, side, 0.1, side, side)
    z = np.full(side * side, np.nan)
    z[:n] = 0.0
    for median, read in ((False, np.mean), (True, np.median)):
        found = blocks(z.reshape(grid.shape), grid, side, np.full(grid.shape, 0.003), median=median)
        assert found.white[0, 0] == pytest.approx(read(drawn, axis=1).std(), rel=0.025)


@pytest.mark.analytic
def test_a_mask_s_share_of_a_block_is_its_cells_share():
    grid = Grid("EPSG:6550", 0, 4, 0.1, 4, 4)
    mask = np.zeros(grid.shape, bool)
    mask[:2, :1] = True
    assert block_share(mask, grid, 2).tolist() == [[0.5, 0.0], [0.0, 0.0]]
    assert block_grid(grid, 2)[0].shape == (2, 2)


@pytest.mark.analytic
@pytest.mark.parametrize("twice", [False, True])
def test_smoothing_leaves_a_plane_alone_up_to_the_last_cell_of_a_ragged_edge(twice):
    grid = square(8.0)
    z = plane(grid, east=0.02, north=-0.013)
    held = np.random.default_rng(4).random(grid.shape) < 0.7
    smooth = Smoother(held, grid.cell_m, 0.15, twice).heights(np.where(held, z, np.nan))
    assert np.abs(smooth - z)[held].max() < 1e-10
    assert np.isnan(smooth[~held]).all()


@pytest.mark.analytic
def test_twicing_keeps_the_depth_a_gaussian_takes_off():
    """A Gaussian hollow of s.d. s smoothed with s.d. k has depth s^2/(s^2 + k^2): twice less once more of 2 k^2."""
    grid = square(6.0, 0.05)
    e, n = middle(grid)
    z = -hollow(grid, e + 0.025, n + 0.025, 0.030, 0.5)
    held = np.ones(grid.shape, bool)
    once, twice = (-Smoother(held, grid.cell_m, 0.15, t).errors(z).min() for t in (False, True))
    k = 0.15**2
    assert once == pytest.approx(0.030 * 0.25 / (0.25 + k), rel=2e-3)
    assert twice == pytest.approx(0.030 * (2 * 0.25 / (0.25 + k) - 0.25 / (0.25 + 2 * k)), rel=2e-3)
    assert 0.030 - twice < 0.0004 < 0.002 < 0.030 - once


@pytest.mark.independent
def test_smoothing_inside_a_whole_field_is_scipy_s_gaussian():
    grid = square(8.0)
    z = np.random.default_rng(6).normal(size=grid.shape)
    held = np.ones(grid.shape, bool)
    ours = Smoother(held, grid.cell_m, 0.15).errors(z)
    assert np.abs(ours - gaussian_filter(z, 1.5, truncate=4.0))[10:-10, 10:-10].max() < 1e-12


@pytest.mark.invariant
def test_nothing_leaks_in_from_where_nothing_was_measured():
    grid = square(5.0)
    held = np.ones(grid.shape, bool)
    held[20:30, 20:30] = False
    z = np.random.default_rng(7).normal(size=grid.shape)
    first = Smoother(held, grid.cell_m, 0.15, True).heights(z)
    z[~held] = 1e6
    assert np.array_equal(first, Smoother(held, grid.cell_m, 0.15, True).heights(z), equal_nan=True)
