"""How a grid is cut up, and that nothing is lost in a point's key."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.gridding_scene import square_grid

from pipeline.frame import Grid
from pipeline.survey.cells.tiles import HEIGHT_SHIFT, PLACE_BITS, RECIPROCAL_SHIFT, Tiling, reciprocal

CELLS = (0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0)


@pytest.mark.analytic
@given(st.integers(1, 50_000), st.data())
def test_multiplying_by_the_reciprocal_is_whole_division(divisor, data):
    quotient = data.draw(st.integers(0, min(2**19 - 1, 2**44 // divisor**2 - 1)))
    value = quotient * divisor + data.draw(st.integers(0, divisor - 1))
    assert (value * reciprocal(divisor)) >> RECIPROCAL_SHIFT == value // divisor
    assert value * reciprocal(divisor) < 2**63


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("cell_m", "block", "tile"),
    [(0.02, 25, 600), (0.05, 10, 240), (0.1, 5, 120), (0.25, 2, 48), (0.5, 1, 24), (1, 1, 12), (2, 1, 6), (5, 1, 3)],
)
def test_blocks_are_half_a_metre_or_a_cell_and_tiles_are_whole_planes(cell_m, block, tile):
    tiling = Tiling.of(square_grid(60, cell_m))
    assert (tiling.block, tiling.tile) == (block, tile)
    assert tiling.tile % tiling.plane == 0 and tiling.plane == 3 * block
    assert tiling.padded[0] >= tiling.grid.ny and tiling.padded[0] - tiling.grid.ny < tile


@pytest.mark.invariant
@pytest.mark.parametrize("cell_m", CELLS)
def test_ranks_count_every_cell_once_and_keep_blocks_together(cell_m):
    tiling = Tiling.of(square_grid(30, cell_m))
    by_row, by_col = tiling.rank
    rank = by_row[:, None] + by_col[None, :]
    assert np.array_equal(np.sort(rank, axis=None), np.arange(tiling.tile**2))
    for side in (tiling.block, tiling.plane):
        first = rank[:side, :side]
        assert first.max() == side**2 - 1
        last = rank[-side:, -side:]
        assert last.min() == tiling.tile**2 - side**2


@pytest.mark.invariant
def test_a_point_comes_back_from_its_key():
    tiling = Tiling.of(square_grid(30, 0.1))
    down, across, up = np.array([0, 5, 119_999]), np.array([7, 0, 119_999]), np.array([-12_345, 0, 1_999_999])
    keys = up << HEIGHT_SHIFT | down << PLACE_BITS | across
    tile = tiling.cols + 2  # second row, third column
    x, y, z = tiling.unpack(keys, tile)
    assert np.array_equal(x, 240_000 + across)
    assert np.array_equal(y, 300_000 - 120_000 - down)
    assert np.array_equal(z, up)
    assert np.all(np.diff(np.sort(keys) >> HEIGHT_SHIFT) >= 0)  # a rising key is a rising height, below zero too


@pytest.mark.analytic
def test_cells_that_cannot_be_packed_are_refused():
    with pytest.raises(ValueError, match="whole number"):
        Tiling.of(square_grid(10, 1 / 3))
    with pytest.raises(ValueError, match="largest"):
        Tiling.of(square_grid(100, 10.0))
    with pytest.raises(ValueError, match="one field is smaller"):
        Tiling.of(Grid("EPSG:6550", 0, 2_000_000, 0.1, 2_000_000, 10))
