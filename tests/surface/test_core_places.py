"""Where cores are asked for: every part of the skin within reach of one, none where none may be taken."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.frame import Grid
from pipeline.surface.core_places import NEAR_SHARE, core_places
from pipeline.surface.mix_depth import REACH_M

GRID = Grid("EPSG:32617", 0, 40, 1.0, 40, 40)
E, N = GRID.mesh()
RING = (np.hypot(E - 20, N - 20) < 19) & (np.hypot(E - 20, N - 20) > 13)  # a skin about infield grass


def away(asked, places):
    return np.min([np.hypot(E - e, N - n)[asked] for e, n in places], axis=0)


@pytest.mark.analytic
@pytest.mark.parametrize("asked", [RING, (E > 5) & (E < 35) & (N > 5) & (N < 30)])
def test_no_ground_is_out_of_reach_and_all_stand_on_it(asked):
    places = core_places(GRID, asked)
    assert len(places) >= 8 and away(asked, places).max() <= NEAR_SHARE * REACH_M
    rows, cols = GRID.rows_cols(*np.array(places).T)
    assert asked[rows, cols].all()


@pytest.mark.analytic
def test_they_lie_as_far_apart_as_an_even_grid_would():
    """Eight places over 32 x 16 m: a grid of 8 m squares leaves no ground further than 8 / sqrt 2 = 5.7 m."""
    asked = (E < 32) & (N < 16)
    places = core_places(GRID, asked)
    assert len(places) == 8
    assert away(asked, places).max() <= 1.35 * 8 / np.sqrt(2)
    apart = [np.hypot(a - c, b - d) for k, (a, b) in enumerate(places) for c, d in places[k + 1 :]]
    assert min(apart) >= 5.0


@pytest.mark.invariant
def test_what_was_taken_counts_and_nothing_is_drawn_by_lot():
    asked = (E < 20) & (N < 20)
    taken = core_places(GRID, asked)[:6]
    more = core_places(GRID, asked, taken)
    assert len(more) == 2 and min(np.hypot(a - c, b - d) for a, b in more for c, d in taken) > 2
    assert core_places(GRID, asked) == core_places(GRID, asked)
    assert core_places(GRID, asked, core_places(GRID, asked)) == []
    assert core_places(GRID, np.zeros(GRID.shape, bool)) == []
