"""The transport plan against other solvers and closed forms; loads and passes by hand."""

from __future__ import annotations

from math import ceil

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment
from scipy.stats import wasserstein_distance
from shapely.geometry import Point, box

from pipeline.frame import Grid
from pipeline.works.design import NO_MIX_BOUGHT, TOUCH_UP, Design
from pipeline.works.hauls import BRING, CARRY, SPREAD, TAKE, MOST_HAULS, Figures, hauls_of, transported, ways_on, zones_of

SKIN = box(-1, -1, 31, 31)


def design(u: np.ndarray, cell_m: float = 0.5, variant: str = NO_MIX_BOUGHT) -> Design:
    """u : cut and fill, (ny, nx), m, row 0 north, from the origin."""
    ny, nx = u.shape
    return Design(variant, Grid("EPSG:6550", 0, ny, cell_m, ny, nx), np.zeros(u.shape), u)


@pytest.mark.independent
def test_equal_heaps_and_holes_are_matched_as_the_assignment_problem_matches_them():
    rng = np.random.default_rng(5)
    for count in (1, 4, 25):
        away = np.hypot(*(rng.uniform(0, 40, (count, 1, 2)) - rng.uniform(0, 40, (1, count, 2))).transpose(2, 0, 1))
        moved, left, brought = transported(np.full(count, 0.3), np.full(count, 0.3), away)
        i, j = linear_sum_assignment(away)
        assert (moved * away).sum() == pytest.approx(0.3 * away[i, j].sum(), rel=1e-9) and not left.any() and not brought.any()


@pytest.mark.independent
def test_along_a_line_the_work_is_the_earth_movers_distance():
    rng = np.random.default_rng(6)
    x, y, cut, fill = rng.uniform(0, 30, 12), rng.uniform(0, 30, 9), rng.uniform(0.1, 1, 12), rng.uniform(0.1, 1, 9)
    fill *= cut.sum() / fill.sum()
    way = np.abs(x[:, None] - y)
    moved, _, _ = transported(cut, fill, way)
    assert (moved * way).sum() == pytest.approx(cut.sum() * wasserstein_distance(x, y, cut, fill), rel=1e-3)
    assert moved.sum(axis=1) == pytest.approx(cut, abs=2e-3) and moved.sum(axis=0) == pytest.approx(fill, abs=2e-3)


@pytest.mark.analytic
def test_a_tilted_square_moves_ten_cubic_metres_by_thirteen_metres_and_a_third():
    x = np.arange(40) * 0.5 + 0.25  # 20 m, falling 1 % eastward once done: filled west of the middle, cut east of it
    plan = hauls_of(design(np.broadcast_to(0.01 * (10 - x), (40, 40)).copy()), SKIN, Figures())
    assert sum(h.cut_m3 for h in plan) == pytest.approx(10.0, abs=5e-3)
    assert sum(h.cut_m3 * h.way_m for h in plan) == pytest.approx(10 * 40 / 3, rel=2e-3)
    assert [h.order for h in plan] == list(range(1, len(plan) + 1)) and all(a.cut_mm >= b.cut_mm - 1e-3 for a, b in zip(plan, plan[1:]))


@pytest.mark.analytic
def test_more_is_cut_than_settles_and_what_is_short_is_brought():
    moved, left, brought = transported(np.array([1.15]), np.array([1.4]), np.array([[10.0]]), ratio=1.15)
    assert moved[0, 0] == pytest.approx(1.15) and not left.any() and brought[0] == pytest.approx(0.4)
    moved, left, brought = transported(np.array([2.0]), np.array([1.0]), np.array([[10.0]]), ratio=1.15)
    assert moved[0, 0] == pytest.approx(1.15) and left[0] == pytest.approx(0.85) and not brought.any()


@pytest.mark.analytic
def test_loads_and_passes_are_whole_numbers_that_do():
    u = np.zeros((60, 60))
    u[50:56, 2:6], u[2:6, 50:56] = -0.032, 0.032  # 3 x 2 m by 32 mm: 0.192 m3, north of west and south of east
    figures = Figures(1.0, loosening=1.25, blade_load_m3=0.1, max_cut_m=0.010)
    plan = hauls_of(design(u), SKIN, figures)
    assert {h.kind for h in plan} == {CARRY} and sum(h.cut_m3 for h in plan) == pytest.approx(0.192)
    assert all(h.passes == 4 and h.loads == ceil(h.loose_m3 / 0.1) for h in plan) and sum(h.loose_m3 for h in plan) == pytest.approx(0.24)
    assert all(np.hypot(h.to_e - h.from_e, h.to_n - h.from_n) == pytest.approx(h.way_m) for h in plan)


@pytest.mark.analytic
def test_low_spots_alone_are_filled_from_the_truck():
    u = np.zeros((20, 20))
    u[4:8, 4:8] = 0.02
    (haul, *rest) = hauls_of(design(u, variant=TOUCH_UP), SKIN, Figures(loosening=1.1, blade_load_m3=0.25, max_cut_m=0.01))
    assert haul.kind == BRING and np.isnan(haul.from_e) and haul.passes is None and haul.fill_m3 == pytest.approx(0.08) and not rest
    assert (haul.to_e, haul.to_n) == pytest.approx((3.0, 7.0)) and haul.loose_m3 == pytest.approx(0.088) and haul.loads == 1 and haul.minor
    (taken,) = hauls_of(design(-u[:6, :6]), SKIN, Figures())
    assert taken.kind == TAKE and np.isnan(taken.to_e) and taken.cut_mm == pytest.approx(20.0)


@pytest.mark.analytic
def test_without_the_owners_figures_there_is_a_plan_without_loads():
    u = np.zeros((6, 6))
    u[:, :3], u[:, 3:] = 0.01, -0.01
    (haul,) = hauls_of(design(u), SKIN, Figures())
    assert haul.kind == SPREAD and haul.loads is None and haul.passes is None and np.isnan(haul.loose_m3) and not haul.minor


@pytest.mark.invariant
def test_nothing_to_move_is_an_empty_plan():
    assert hauls_of(design(np.full((4, 4), np.nan)), SKIN, Figures()) == () and len(zones_of(design(np.zeros((4, 4)))).cut_m3) == 0


@pytest.mark.invariant
def test_volumes_balance_zone_by_zone_and_the_same_plan_comes_twice():
    rng = np.random.default_rng(8)
    made = design(rng.normal(0, 0.01, (60, 60)))
    plan, again = (hauls_of(made, SKIN, Figures(1.15, 1.1, 0.25, 0.01)) for _ in range(2))
    u = made.cut_fill
    assert repr(plan) == repr(again) and len(plan) <= MOST_HAULS
    assert sum(h.cut_m3 for h in plan) == pytest.approx(-u[u < 0].sum() * 0.25, rel=1e-3) and sum(h.fill_m3 for h in plan) == pytest.approx(u[u > 0].sum() * 0.25, rel=1e-3)
    assert all(h.fill_m3 == pytest.approx(h.cut_m3 / 1.15) for h in plan if h.kind in (CARRY, SPREAD))


@pytest.mark.analytic
def test_round_a_grass_infield_the_way_leads_over_the_skin():
    skin = Point(0, 0).buffer(15, quad_segs=64).difference(Point(0, 0).buffer(11, quad_segs=64))
    angle = np.radians(np.arange(0, 360, 10))
    ring = np.column_stack([13 * np.cos(angle), 13 * np.sin(angle)])
    across = ways_on(skin, ring[[0]], ring)[0]
    taut = 2 * np.sqrt(13**2 - 10.5**2) + 10.5 * (np.pi - 2 * np.arccos(10.5 / 13))  # a string round the grass, half a metre of which may be strayed over
    assert across[1] == pytest.approx(2 * 13 * np.sin(np.radians(5))) and taut < across[18] < np.pi * 13
    assert ways_on(box(0, 0, 1, 1), np.array([[0.5, 0.5]]), np.array([[30.0, 0.5]]))[0, 0] == pytest.approx(29.5)  # no way there: as the crow flies
