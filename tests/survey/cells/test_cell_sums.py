"""Sums by cell against a plain loop, and pooling against a library's moving mean."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.ndimage import uniform_filter

from pipeline.frame import Grid
from pipeline.survey.cells.cell_sums import cell_sums, pooled
from pipeline.survey.points import TICK_M, Ground

GRID = Grid("EPSG:6550", 5070000, 1750030, 0.1, 30, 20)


def some(seed: int = 3, n: int = 4000) -> Ground:
    rng = np.random.default_rng(seed)
    x, y = (rng.integers(-500, int(side / TICK_M) + 500, n).astype(np.int32) for side in (2.0, 3.0))
    return Ground(GRID.west, GRID.south, 300.0, x, y, rng.normal(0, 80, n).astype(np.int32), rng.integers(0, 256, (n, 3)).astype(np.uint8),
                  rng.integers(0, 65536, n).astype(np.uint16))  # fmt: skip


@pytest.mark.analytic
def test_sums_are_what_a_loop_over_the_points_gives():
    ground = some()
    found = cell_sums(ground, GRID)
    e, n, _ = ground.metres()
    row, col = GRID.rows_cols(e + 1e-9, n + 1e-9)
    for r, c in ((0, 0), (29, 19), (12, 7), (20, 3)):
        mine = (row == r) & (col == c)
        assert found.count[r, c] == mine.sum() > 0
        assert_array_equal(found.rgb[r, c], ground.rgb[mine].astype(float).sum(axis=0))
        assert found.intensity[r, c] == ground.intensity[mine].astype(float).sum()
        assert found.scatter[r, c] == pytest.approx(((ground.z[mine] * 0.1) ** 2).sum() - (ground.z[mine] * 0.1).sum() ** 2 / mine.sum())


@pytest.mark.invariant
def test_the_order_of_the_points_changes_no_bit():
    ground = some()
    a, b = cell_sums(ground, GRID), cell_sums(ground.take(np.random.default_rng(1).permutation(len(ground))), GRID)
    for name in ("count", "rgb", "intensity", "scatter"):
        assert_array_equal(getattr(a, name), getattr(b, name))


@pytest.mark.independent  # scipy's moving mean with zeros beyond the border, times the cells of a square
def test_pooling_is_a_moving_sum_over_the_chosen_cells():
    rng = np.random.default_rng(5)
    values, chosen = rng.random((23, 31)), rng.random((23, 31)) > 0.3
    want = 25 * uniform_filter(np.where(chosen, values, 0.0), 5, mode="constant")
    assert_allclose(pooled(values, chosen, 2), want, atol=1e-12)
    assert_allclose(pooled(np.stack([values, 2 * values], axis=-1), chosen, 2)[..., 1], 2 * want, atol=1e-12)
