"""A tile's points in order, against a library's sort."""

from __future__ import annotations

import numpy as np
import pytest
from support.gridding_scene import square_grid

from pipeline.survey.cells.order import in_order
from pipeline.survey.cells.tiles import HEIGHT_SHIFT, PLACE_BITS, PLACE_MASK, Tiling

TILING = Tiling.of(square_grid(12, 0.1))


def some_keys(n: int, seed: int, crowd: int = 0) -> np.ndarray:
    """Points anywhere in a tile, `crowd` of them in one cell, some in one place."""
    rng = np.random.default_rng(seed)
    down, across = rng.integers(0, 120_000, (2, n))
    down[:crowd], across[:crowd] = 55_000 + down[:crowd] % 1000, 77_000 + across[:crowd] % 1000
    keys = rng.integers(-3000, 3000, n) << HEIGHT_SHIFT | down << PLACE_BITS | across
    keys[-n // 20 :] = keys[: n // 20 + (n % 20 > 0)]
    return keys


def ranks(keys: np.ndarray) -> np.ndarray:
    by_row, by_col = TILING.rank
    return by_row[(keys >> PLACE_BITS & PLACE_MASK) // 1000] + by_col[(keys & PLACE_MASK) // 1000]


@pytest.mark.independent  # numpy's lexsort
@pytest.mark.parametrize(("n", "crowd"), [(0, 0), (1, 0), (40, 0), (5000, 90), (5000, 97), (20_000, 5000)])
def test_points_stand_as_a_library_sorts_them(n, crowd):
    keys = some_keys(n, 1, crowd)
    extra = np.random.default_rng(2).integers(0, 5, n)
    sorted_keys, sorted_extra, starts = in_order(TILING, keys, extra)
    right = np.lexsort([extra, keys, ranks(keys)])
    assert np.array_equal(sorted_keys, keys[right])
    assert np.array_equal(sorted_extra, extra[right])
    assert np.array_equal(starts, np.searchsorted(ranks(keys)[right], np.arange(TILING.tile**2 + 1)))


@pytest.mark.invariant
def test_the_order_points_came_in_does_not_matter():
    keys = some_keys(5000, 3, 200)
    extra = np.random.default_rng(4).integers(0, 3, 5000)
    mixed = np.random.default_rng(5).permutation(5000)
    for one, other in zip(in_order(TILING, keys, extra), in_order(TILING, keys[mixed], extra[mixed])):
        assert np.array_equal(one, other)


@pytest.mark.analytic
def test_a_cell_runs_from_low_to_high_with_nothing_carried():
    keys = some_keys(5000, 6, 300)
    sorted_keys, extra, starts = in_order(TILING, keys, np.empty(0, np.int64))
    assert len(extra) == 0 and starts[-1] == 5000
    for r in np.flatnonzero(np.diff(starts) > 1):
        assert np.all(np.diff(sorted_keys[starts[r] : starts[r + 1]]) >= 0)
        assert np.all(ranks(sorted_keys[starts[r] : starts[r + 1]]) == r)
