"""The ground of a design: how deep a blade may go, cell by cell."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.frame import Grid
from pipeline.steps.grade_cost import RIM_M, _scores, rim
from pipeline.steps.grade_ground import _block_depth, beyond_cores
from pipeline.surface.block_heights import blocks


@pytest.mark.invariant
def test_no_cell_of_a_lowered_block_is_cut_deeper_than_it_may_be():
    rng = np.random.default_rng(4)
    grid = Grid("EPSG:6511", 0, 60, 0.1, 60, 60)
    z, blade = rng.normal(0, 0.003, grid.shape), rng.uniform(0, 0.03, grid.shape)
    z[:7, :9] = np.nan
    means = blocks(z, grid, 3, np.full(grid.shape, 0.002))
    depth = _block_depth(z, blade, means, grid, 3)
    lowered = np.kron(means.value - depth, np.ones((3, 3)))
    allowed = np.kron(depth > 0, np.ones((3, 3))) > 0
    over = z - lowered - blade
    assert np.nanmax(over[allowed]) <= 1e-12 and (depth >= 0).all() and allowed.mean() > 0.3


@pytest.mark.invariant
def test_where_no_core_speaks_the_stated_depth_does():
    cored = np.array([[0.02, np.nan], [0.0, np.nan]])
    assert (beyond_cores(cored, 0.03) == [[0.02, 0.03], [0.0, 0.03]]).all()


@pytest.mark.analytic
def test_a_crowned_design_is_not_called_uneven_for_its_crown():
    """A parabolic crown of 80 mm is even; off a plane it would read tens of millimetres."""
    from pipeline.works.design import LASER_PLANE, Design

    grid = Grid("EPSG:6511", 0, 200, 0.1, 200, 200)
    e, n = grid.mesh()
    crown = -0.08 * ((e - 10) / 10) ** 2
    design, whole = Design(LASER_PLANE, grid, crown, crown), np.ones(grid.shape, bool)
    assert _scores(design, grid, whole, True)[0] < 1e-6 and _scores(design, grid, whole, False)[0] > 20


@pytest.mark.invariant
def test_cells_that_were_not_seen_do_not_make_the_whole_skin_its_rim():
    """20 x 20 m with 1 % of its cells missing and an anchor's disc: the rim stays the strip of 1 m along the sides."""
    rng = np.random.default_rng(6)
    y, x = np.indices((240, 240)) * 0.1
    skin = (np.minimum(x, y) >= 2) & (np.maximum(x, y) < 22)
    strip = skin & ~((np.minimum(x, y) >= 2 + RIM_M) & (np.maximum(x, y) < 22 - RIM_M))
    assert (rim(skin, 0.1) ^ strip).sum() <= 0.02 * strip.sum()
    speckled = skin & (rng.random(skin.shape) > 0.01) & (np.hypot(x - 12, y - 12) > 0.25)
    assert abs(rim(speckled, 0.1).sum() / (strip & speckled).sum() - 1) < 0.1
