"""Cover and density: what is refused, and the cell that would do."""

from __future__ import annotations

import numpy as np
import pytest
from support.gridding_scene import gridded, square_grid, unscreened

from pipeline.errors import Refused
from pipeline.survey.cells.cover import STEEP_SHARE_MAX, check_cover, cover, screen_remark, smallest_cell_m

SKIN = np.zeros((240, 240), bool)
SKIN[20:200, 30:220] = True


def seen(points_per_m2: float, seed: int = 1, east_to_m: float = 24.0, cell_m: float = 0.1):
    """Cover of a cloud that reaches from the west edge to `east_to_m`."""
    rng = np.random.default_rng(seed)
    n = int(points_per_m2 * east_to_m * 24)
    found = unscreened(rng.uniform(0, east_to_m, n), rng.uniform(0, 24, n), np.zeros(n), square_grid(24, cell_m))
    k = round(cell_m / 0.1)
    return cover(found.points, found.z, SKIN[::k, ::k], cell_m)


@pytest.mark.analytic
def test_a_dense_cloud_covers_all_of_the_skin():
    found = seen(1200)
    assert found.covered_share > 0.99 and found.reached_share > 0.999
    assert found.points_median == pytest.approx(12, abs=0.5) and found.smallest_cell_m == 0.1
    check_cover(found, 0.1)


@pytest.mark.independent  # scipy's Poisson distribution
def test_thin_points_leave_the_holes_that_chance_makes():
    from scipy.stats import poisson

    found = seen(450)
    assert found.covered_share == pytest.approx(poisson.sf(2, 4.5), abs=0.01)
    check_cover(found, 0.1)


@pytest.mark.analytic
@pytest.mark.parametrize(("east_to_m", "share"), [(12.0, 90 / 190), (14.0, 110 / 190)])
def test_a_cloud_that_stops_half_way_covers_too_little_and_is_not_called_sparse(east_to_m, share):
    found = seen(1200, east_to_m=east_to_m)
    assert found.covered_share == pytest.approx(share, abs=0.01)
    assert found.reached_share == pytest.approx(share, abs=0.01)
    with pytest.raises(Refused, match=f"on {100 * share:.0f} % of the skin") as refusal:
        check_cover(found, 0.1)
    assert refusal.value.code == "covers_too_little"


@pytest.mark.analytic
@pytest.mark.parametrize(("density", "wide"), [(150, 0.2), (40, 0.4), (8.3, 0.8), (1.0, 2.1)])
def test_a_sparse_cloud_is_refused_with_the_smallest_cell_that_would_do(density, wide):
    found = seen(density)
    assert found.reached_share > 0.99  # thin is not the same as missing
    assert found.smallest_cell_m == pytest.approx(wide, abs=0.21)
    with pytest.raises(Refused, match=f"cell_size_m to {found.smallest_cell_m:g} or more") as refusal:
        check_cover(found, 0.1)
    assert refusal.value.code == "too_sparse"


@pytest.mark.independent  # the cell it names, gridded
def test_the_cell_that_is_named_would_do_and_a_smaller_would_not():
    named = seen(60).smallest_cell_m
    at_named, below = seen(60, cell_m=named), seen(60, cell_m=round(named - 0.1, 1))
    check_cover(at_named, named)
    assert at_named.points_median >= 4 > below.points_median


@pytest.mark.analytic
def test_where_no_cell_would_do_the_refusal_says_so():
    found = seen(0.05)
    assert np.isnan(found.smallest_cell_m)
    with pytest.raises(Refused, match="No cell up to 5 m would do"):
        check_cover(found, 0.1, least_share=0.3)
    assert np.isnan(smallest_cell_m(np.zeros((9, 9)), np.zeros((9, 9), bool), 0.1, 4))


@pytest.mark.analytic
def test_a_cloud_beside_the_skin_reaches_none_of_it():
    found = seen(1200, east_to_m=2.5)
    assert (found.covered_share, found.reached_share, found.points_median) == (0, 0, 0)
    with pytest.raises(Refused, match="on 0 % of the skin"):
        check_cover(found, 0.1)
    with pytest.raises(ValueError, match="no cell of skin"):
        cover(np.ones((5, 5)), np.ones((5, 5)), np.zeros((5, 5), bool), 0.1)


@pytest.mark.analytic
def test_clumped_points_with_a_good_median_but_many_holes_are_refused():
    points = np.tile(np.array([[9, 9, 0], [9, 0, 0], [0, 9, 9]], float), (80, 80))
    z = np.where(points > 0, 1.0, np.nan)
    with pytest.raises(Refused, match="patchy"):
        check_cover(cover(points, z, np.ones((240, 240), bool), 0.1), 0.1, least_share=0.60)


@pytest.mark.invariant
def test_a_flat_field_draws_no_remark_and_a_hillside_does():
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, 24, (2, 200_000))
    flat, hill = (gridded(x, y, 200 + slope * x, square_grid()).steep_share for slope in (0.02, 0.3))
    assert flat == 0.0 and screen_remark(flat) is None
    assert hill > 0.9 and "steeper than 15 %" in screen_remark(hill)
    assert screen_remark(np.nan) is None and screen_remark(STEEP_SHARE_MAX) is None
