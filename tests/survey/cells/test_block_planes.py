"""Planes through points and blocks, against a library's least squares."""

from __future__ import annotations

import numpy as np
import pytest
from support.gridding_scene import square_grid

from pipeline.survey.cells.block_planes import plane_of_blocks, plane_of_points
from pipeline.survey.cells.order import in_order
from pipeline.survey.cells.tiles import HEIGHT_SHIFT, PLACE_BITS, Tiling

TILING = Tiling.of(square_grid(12, 0.1))
SIDE = 15_000  # a plane block, TICK_M
EVERYWHERE = np.full(9, np.inf)
LEVEL = (0.0, 0.0, 0.0)


def block_of_points(n: int, seed: int, height):
    """Points in the tile's third plane block: y south and x east of its middle, m; keys in order, starts."""
    rng = np.random.default_rng(seed)
    down, across = rng.integers(0, SIDE, (2, n))
    y, x = (down - SIDE / 2) * 1e-4, (across - SIDE / 2) * 1e-4
    z = np.rint(height(y, x, rng) * 1e4).astype(np.int64)
    keys = z << HEIGHT_SHIFT | down << PLACE_BITS | (across + 2 * SIDE)
    keys, _, starts = in_order(TILING, keys, np.empty(0, np.int64))
    return y, x, z * 1e-4, keys, starts


def fit(keys, starts, every=1, low=-EVERYWHERE, high=EVERYWHERE, about=LEVEL):
    return plane_of_points(keys, starts, 2 * 225, 25, every, low, high, SIDE / 2, 2.5 * SIDE, 0, 1.5, about, about)


@pytest.mark.analytic
def test_a_plane_is_found_to_the_tick():
    _, _, _, keys, starts = block_of_points(800, 1, lambda y, x, rng: 0.02 + 0.08 * y - 0.05 * x)
    assert fit(keys, starts) == pytest.approx((0.02, 0.08, -0.05), abs=2e-5)


@pytest.mark.independent  # numpy.linalg.lstsq
def test_the_plane_of_noisy_points_is_the_librarys():
    y, x, z, keys, starts = block_of_points(500, 2, lambda y, x, rng: rng.normal(0, 0.05, len(y)) + 0.1 * y)
    right = np.linalg.lstsq(np.column_stack([np.ones(500), y, x]), z, rcond=None)[0]
    assert fit(keys, starts) == pytest.approx(right, abs=1e-12)


@pytest.mark.independent  # numpy.linalg.lstsq on the points a plain comparison leaves
def test_points_beyond_the_limits_do_not_pull():
    y, x, z, keys, starts = block_of_points(500, 3, lambda y, x, rng: rng.normal(0, 0.05, len(y)) + 0.1 * y)
    about = (0.01, 0.1, 0.0)
    near = np.abs(z - (0.01 + 0.1 * y)) <= 0.06
    right = np.linalg.lstsq(np.column_stack([np.ones(500), y, x])[near], z[near], rcond=None)[0]
    assert 100 < near.sum() < 450
    found = fit(keys, starts, low=np.full(9, -0.06), high=np.full(9, 0.06), about=about)
    assert found == pytest.approx(right, abs=1e-12)


@pytest.mark.invariant
def test_every_third_point_gives_nearly_the_same_plane():
    _, _, _, keys, starts = block_of_points(9000, 4, lambda y, x, rng: rng.normal(0, 0.01, len(y)) + 0.1 * y)
    assert fit(keys, starts, every=3) == pytest.approx(fit(keys, starts), abs=1e-3)


@pytest.mark.analytic
def test_points_that_carry_no_slope_leave_the_plane_as_it_was():
    about = (0.5, 0.1, 0.2)
    few = block_of_points(5, 5, lambda y, x, rng: 0 * y)
    assert fit(*few[3:], about=about) == about
    down = np.arange(100) * 100
    line = in_order(TILING, down << PLACE_BITS | (2 * SIDE + 7), np.empty(0, np.int64))
    assert fit(line[0], line[2], about=about) == about


@pytest.mark.analytic
def test_the_plane_through_blocks_is_theirs():
    y, x = np.meshgrid(np.arange(-2, 3) * 0.5, np.arange(-2, 3) * 0.5, indexing="ij")
    height = 203 + 0.08 * y - 0.03 * x
    holes = height.copy()
    holes[0], holes[:, 1] = np.nan, np.nan
    for blocks in (height, holes):
        assert plane_of_blocks(blocks, 0.5, 200.0) == pytest.approx((3.0, 0.08, -0.03), abs=1e-9)


@pytest.mark.analytic
def test_too_few_blocks_are_taken_as_level_and_none_as_unknown():
    height = np.full((5, 5), np.nan)
    assert np.isnan(plane_of_blocks(height, 0.5, 0.0)[0])
    height[2] = np.arange(5.0)
    assert plane_of_blocks(height, 0.5, 0.0) == (2.0, 0.0, 0.0)
