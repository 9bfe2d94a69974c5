"""Level lines of a surface."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.frame import Grid
from pipeline.works.contours import SIMPLER_M, contours

GRID = Grid("EPSG:6564", 6274000, 840000, 0.1, 200, 200)
E, N = GRID.mesh()


@pytest.mark.analytic
def test_level_lines_of_a_cone_are_circles_of_their_height():
    middle = (GRID.west + 10.02, GRID.north - 9.97)
    r = np.hypot(E - middle[0], N - middle[1])
    found = contours(np.where(r < 9, 171 - 0.05 * r, np.nan), GRID, 0.1)
    assert [k for k, _ in found] == [1706, 1707, 1708, 1709]
    for k, line in found:
        assert np.abs(np.hypot(*(line - middle).T) - (171 - k * 0.1) / 0.05).max() < SIMPLER_M
        assert len(line) < 80


@pytest.mark.invariant
def test_a_level_plane_and_no_ground_have_none():
    assert contours(np.full(GRID.shape, 170.03), GRID, 0.1) == [] and contours(np.full(GRID.shape, np.nan), GRID, 0.1) == []
