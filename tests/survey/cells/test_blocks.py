"""What the ground is taken for, block by block: quantiles, medians, objects, ridges, steepness."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.morphology import footprint_rectangle, opening
from support.gridding_scene import CAR, ROOF, TARP, mound, square_grid

from pipeline.survey.cells.blocks import (
    WINDOWS,
    _of_rank,
    _opened,
    block_levels,
    filled,
    ground_blocks,
    kth_smallest,
    long_ridges,
    median3,
    objects,
    steep_share,
)  # fmt: skip
from pipeline.survey.cells.order import in_order
from pipeline.survey.cells.tiles import HEIGHT_SHIFT, PLACE_BITS, Tiling
from pipeline.units import feet

TILING = Tiling.of(square_grid(12, 0.1))


def by_block(height, side_m: float = 24.0, block_m: float = 0.5) -> np.ndarray:
    """30th percentile by block of a surface height(x, y) seen every 50 mm."""
    n, per = round(side_m / block_m), round(block_m / 0.05)
    at = (np.arange(n * per) + 0.5) * 0.05
    x, y = np.meshgrid(at, at)
    pieces = height(x, y).reshape(n, per, n, per).transpose(0, 2, 1, 3).reshape(n, n, per * per)
    return np.percentile(pieces, 30, axis=2, method="lower")


def plane(x, y):
    return 200 + 0.02 * x - 0.01 * y


def box(x, y, at, size, turn=0.4):
    c, s = np.cos(turn), np.sin(turn)
    u, v = c * (x - at) + s * (y - at), -s * (x - at) + c * (y - at)
    return np.where((np.abs(u) < size[0] / 2) & (np.abs(v) < size[1] / 2), size[2], 0)


@pytest.mark.independent  # numpy's percentile, method "lower", and medians of plain selections
def test_levels_of_a_block_are_numpys():
    rng = np.random.default_rng(1)
    down, across = rng.integers(0, 120_000, (2, 9000))
    z = rng.integers(-400, 400, 9000)
    keep = (down // 5000 != 3) & ((down // 1000 != 40) | (z > 0))
    down, across, z = down[keep], across[keep], z[keep]
    keys, _, starts = in_order(TILING, z << HEIGHT_SHIFT | down << PLACE_BITS | across, np.empty(0, np.int64))
    levels = np.empty((3, 576))
    block_levels(keys, starts, TILING.block, levels)
    by_row, by_col = TILING.rank
    rank = (by_row[down // 1000] + by_col[across // 1000]) // 25
    cell = by_row[down // 1000] + by_col[across // 1000]
    for b in range(576):
        mine = z[rank == b] * 1e-4
        if len(mine) == 0:
            assert np.isnan(levels[:, b]).all()
            continue
        assert levels[0, b] == np.percentile(mine, 30, method="lower")
        heights = [np.sort(z[cell == c]) * 1e-4 for c in range(25 * b, 25 * b + 25)]
        middles = [h[len(h) // 2] for h in heights if len(h) >= 3]
        if middles:
            assert (levels[1, b], levels[2, b]) == pytest.approx((min(middles), max(middles)), abs=1e-12)
        else:
            assert np.isnan(levels[1:, b]).all()


@pytest.mark.independent  # numpy's sort
@settings(deadline=None)  # the first call compiles
@given(st.lists(st.integers(-(2**27), 2**27), min_size=1, max_size=60), st.data())
def test_the_value_of_a_rank_is_a_sorted_lists(values, data):
    k = data.draw(st.integers(0, len(values) - 1))
    right = sorted(values)[k]
    assert _of_rank(np.array(values, np.int32), len(values), k) == right
    assert kth_smallest(np.array(values, float), len(values), k) == right


@pytest.mark.independent  # numpy's nanmedian over windows
def test_the_median_over_neighbours_is_numpys():
    rng = np.random.default_rng(2)
    height = rng.normal(size=(20, 31))
    height[rng.random(height.shape) < 0.3] = np.nan
    padded = np.pad(height, 1, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, (3, 3)).reshape(20, 31, 9)
    found = median3(height)
    known = np.isfinite(height)
    assert np.array_equal(np.isfinite(found), known)
    assert np.array_equal(found[known], np.nanmedian(windows[known], axis=1))


@pytest.mark.independent  # scikit-image's grey opening
@pytest.mark.parametrize("window", WINDOWS)
def test_the_opening_is_an_image_librarys(window):
    height = np.random.default_rng(3).normal(size=(60, 70))
    right = opening(height, footprint_rectangle((window, window)), mode="ignore")
    assert np.array_equal(_opened(height, window), right)


@pytest.mark.analytic
@pytest.mark.parametrize("turn_rad", np.linspace(0, np.pi / 2, 4))
@pytest.mark.parametrize("phase", [(0.0, 0.0), (0.25, 0.1), (0.4, 0.3)])
def test_a_full_mound_a_lip_and_a_crown_are_no_objects(turn_rad, phase):
    def height(x, y):
        crown = -0.015 * np.abs(x - 12)
        lip = 0.05 * (np.abs(x - 20) < 0.1)
        return plane(x, y) + crown + lip + mound(x - 8 - phase[0], y - 8 - phase[1], turn_rad)

    assert not objects(median3(by_block(height)), 0.5).any()


@pytest.mark.analytic
@pytest.mark.parametrize("size", [CAR, TARP, ROOF, (4, 4, 2.5), (12, 10, 4)])
@pytest.mark.parametrize("turn_rad", [0.0, 0.4, 0.8])
def test_what_stands_on_the_ground_is_an_object_and_the_ground_runs_on_under_it(size, turn_rad):
    lowest = by_block(lambda x, y: plane(x, y) + box(x, y, 12, size, turn_rad))
    found = ground_blocks(lowest, lowest, lowest, 0.5)
    bare = by_block(plane)
    standing = lowest - bare > 0.1
    assert standing.sum() >= 8
    assert found.object[standing].mean() > 0.9
    assert not found.object[np.hypot(*np.indices(bare.shape) - 23.5) > max(size[:2]) + 4].any()
    assert np.abs(found.clean - bare).max() < 0.02


@pytest.mark.invariant
def test_raising_the_field_changes_no_decision():
    lowest = by_block(lambda x, y: plane(x, y) + box(x, y, 12, CAR) + mound(x - 5, y - 5))
    there, up = ground_blocks(lowest, lowest, lowest, 0.5), ground_blocks(*(lowest + 1024.0,) * 3, 0.5)
    assert np.array_equal(there.object, up.object)
    assert np.array_equal(np.isnan(there.ridge), np.isnan(up.ridge))
    assert np.allclose(up.clean, there.clean + 1024.0, atol=2e-3)


@pytest.mark.analytic
def test_a_gap_in_a_plane_is_filled_with_the_plane():
    y, x = np.mgrid[:20, :20] * 0.5
    height = plane(x, y)
    gap = np.zeros(height.shape, bool)
    gap[5:11, 6:13] = True
    assert np.abs(filled(np.where(gap, np.nan, height), gap) - height).max() < 0.005
    alone = np.full((5, 5), np.nan)
    assert np.isnan(filled(alone, np.ones((5, 5), bool))).all()  # nothing to fill from: stays unknown


@pytest.mark.analytic
def test_a_long_low_rise_is_a_ridge_and_a_short_one_is_not():
    rise = np.zeros((30, 30))
    rise[4, 5:11], rise[10:13, 20:23], rise[20, 3:25], rise[25, 3:25] = 0.05, 0.10, 0.30, 0.02
    ridge = long_ridges(rise)
    assert ridge.sum() == 6 and ridge[4, 5:11].all()  # not the base bag of 3 x 3 blocks, the wall, the ripple
    assert not long_ridges(rise + 0.06).any()  # where noise alone lifts every block by 60 mm, 50 mm more is no lip


@pytest.mark.invariant
def test_unknown_blocks_are_no_ridge():
    assert not long_ridges(np.full((9, 9), np.nan)).any()
    rise = np.full((9, 9), np.nan)
    rise[4] = 0.05
    rise[5] = 0.0
    assert long_ridges(rise).sum() == 9


@pytest.mark.analytic
def test_steepness_is_the_share_beyond_fifteen_percent():
    y, x = np.mgrid[:20, :20] * 0.5
    assert steep_share(0.14 * y, 0.5) == 0.0
    assert steep_share(0.12 * y + 0.12 * x, 0.5) == 1.0  # 17 % along the diagonal
    half = np.where(x < 5, 0.0, 0.2 * (x - 5))
    assert steep_share(half, 0.5) == pytest.approx(0.5, abs=0.06)
    assert steep_share(np.full((2, 2), np.nan), 0.5) == 0.0


@pytest.mark.analytic
def test_the_mound_stands_as_high_as_the_rulebook_says():
    at = np.array([0.0]), np.array([feet(1.5)])
    assert mound(*at)[0] == pytest.approx(0.254)
    down = mound(np.zeros(2), np.array([feet(1.0), feet(0.0)]))  # the front slope, 1 in in a foot
    assert down[0] - down[1] == pytest.approx(0.0254, rel=0.01)
