"""Puddles seen by eye against water drawn in advance."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.frame import Grid
from pipeline.surface.puddles import drawn_at, widening
from pipeline.surface.shares import share_range

GRID = Grid.covering((0.0, 0.0, 20.0, 20.0), "EPSG:6564", 0.25)


def flood() -> np.ndarray:
    """20 mm of water in a square at (10, 10); nothing measured west of x = 3."""
    e, n = GRID.mesh()
    depth = np.where((np.abs(e - 10) < 1) & (np.abs(n - 10) < 1), 0.02, 0.0)
    return np.where(e < 3, np.nan, depth)


@pytest.mark.analytic
def test_a_puddle_is_drawn_where_water_stands_within_reach_and_untold_where_nothing_was_measured():
    assert drawn_at(flood(), GRID, 10.0, 10.0) is True
    assert drawn_at(flood(), GRID, 11.7, 10.0) is True and drawn_at(flood(), GRID, 12.5, 10.0) is False
    assert drawn_at(flood(), GRID, 1.0, 10.0) is None and drawn_at(flood(), GRID, 500.0, 10.0) is None


@pytest.mark.independent  # statsmodels' exact (Clopper-Pearson) interval
@pytest.mark.parametrize("hits, count", [(7, 9), (0, 3), (3, 3), (1, 1)])
def test_the_range_of_the_share_is_the_exact_one(hits, count):
    from statsmodels.stats.proportion import proportion_confint

    assert share_range(hits, count) == pytest.approx(proportion_confint(hits, count, method="beta"), abs=1e-9)


@pytest.mark.analytic
def test_ranges_stay_while_every_puddle_was_drawn_and_grow_with_each_miss():
    assert widening(0, 0) == widening(9, 9) == 1.0
    assert widening(7, 9) == pytest.approx((10 / 8) ** 0.5) and widening(0, 3) == 2.0
    assert all(widening(k, 9) < widening(k - 1, 9) for k in range(1, 10))
