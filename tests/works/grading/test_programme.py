"""The grading programme: closed forms, an independent solver, wishes that cannot meet."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from pytest import approx
from scipy.optimize import linprog

from pipeline.works.grading.contradictions import designed
from pipeline.works.grading.forms import free, plane, two_planes
from pipeline.works.grading.programme import Ground, rows, solve
from pipeline.works.grading.wishes import BASE_LINE, BEND, DIRECTION, EDGE, LEAST_FALL, Levels, Line, Wishes, Worth

CELL_M = 0.5
AT = np.arange(CELL_M / 2, 20, CELL_M)
X, Y = (v.ravel() for v in np.meshgrid(AT, AT))
DEEP = np.full(X.size, 9.0)
PIT = 0.04 * ((abs(X - 10) < 1.5) & (abs(Y - 10) < 1.5))
HOLD = dict(may_buy=False, may_take=False)


def ground(z: np.ndarray, blade: np.ndarray = DEEP) -> Ground:
    return Ground(X, Y, z, blade, CELL_M**2)


def rough(seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    waves = sum(a * np.sin(2 * np.pi * (X * np.cos(t) + Y * np.sin(t)) / w + p) for a, w, t, p in zip((0.012, 0.008, 0.006), (9, 5, 3), (0.3, 1.7, 2.4), rng.uniform(0, 6, 3)))
    return -0.009 * X + waves


# ---- closed forms -------------------------------------------------------------------------------------


@pytest.mark.analytic
@pytest.mark.parametrize(("ratio", "raised", "cut", "fill"), [(1.0, 2e-3, 0.768, 0.768), (1.25, 0.8 / 496, 0.774194, 0.619355)])
def test_a_bump_is_spread_over_a_level_field(ratio, raised, cut, fill):
    """4 x 4 m, 50 mm high, nothing bought: t = 0.8 / (16 + 384 r) m."""
    bump = 0.05 * ((abs(X - 10) < 2) & (abs(Y - 10) < 2))
    found = solve(ground(bump), plane(X, Y, None), Wishes(None, 0.0), Worth(1, 9, 9, ratio, **HOLD))
    assert found.parameters[0] == approx(raised, abs=1e-8)
    assert (found.cut_m3, found.fill_m3) == approx((cut, fill), abs=2e-6)


@pytest.mark.analytic
@pytest.mark.parametrize(("price", "cost", "bought"), [(0.9, 0.36 * 1.9, 0.36), (0.96, 0.7038, 0.0), (2.0, 0.7038, 0.0)])
def test_a_pit_is_filled_with_bought_mix_only_while_that_is_cheaper(price, cost, bought):
    """A pit of 0.36 m3 in a plane of 1 %: bought as long as its price is under 382 / 400 of moving."""
    found = solve(ground(-0.01 * X - PIT), plane(X, Y, 90), Wishes(0.01, 0.01), Worth(1, price, 9, 1, True, False))
    assert found.cost == approx(cost, rel=1e-4) and found.bought_m3 == approx(bought, abs=1e-4)


@pytest.mark.analytic
@pytest.mark.parametrize(("least", "most", "volume"), [(0.01, 0.01, 10.0), (0.005, 0.02, 5.0)])
def test_a_flat_field_is_tilted_about_its_middle(least, most, volume):
    found = solve(ground(0 * X), plane(X, Y, 90), Wishes(least, most), Worth(1, 9, 9, 1, **HOLD))
    assert (found.cut_m3, found.fill_m3) == approx((volume, volume), rel=1e-6)


@pytest.mark.analytic
def test_shrinking_fill_moves_the_line_of_no_change_toward_the_fill():
    """Cut / fill 1.2: x0 = 20 sqrt(1.2) / (1 + sqrt(1.2)) from the end that is cut."""
    found = solve(ground(0 * X), plane(X, Y, 90), Wishes(0.01, 0.01), Worth(1, 9, 9, 1.2, **HOLD))
    assert 20 - found.parameters[0] / 0.01 == approx(20 * np.sqrt(1.2) / (1 + np.sqrt(1.2)), abs=2e-3)
    assert found.cut_m3 == approx(1.2 * found.fill_m3, rel=1e-6)


@pytest.mark.analytic
def test_two_planes_that_already_meet_on_their_ridge_cost_nothing():
    z = -0.008 * np.abs(X - 10)
    found = solve(ground(z), two_planes(X, Y, (10.0, 0.0), 0.0), Wishes(0.005, 0.012), Worth(1, 3, 2, 1.15))
    assert found.cost == approx(0, abs=1e-5)


# ---- somebody else's answer ---------------------------------------------------------------------------


def by_highs(g: Ground, form, wishes: Wishes, worth: Worth, cuts: int) -> float:
    """The same programme by scipy's HiGHS (an independent simplex and interior-point code), the cone as tangent cuts."""
    n, p, a, r = len(g.z), form.parameters, g.area_m2, worth.ratio
    z, b, eye = g.z - g.z.mean(), form.heights, sp.identity(len(g.z))
    from dataclasses import replace

    level = g.z.mean()
    low = replace(wishes, fixed=replace(wishes.fixed, height=wishes.fixed.height - level), edges=replace(wishes.edges, height=wishes.edges.height - level))
    parts = [(sp.hstack([b, -eye, sp.csr_matrix((n, 2))]), z), (sp.hstack([-b, sp.csr_matrix((n, n + 2))]), g.blade_m - z)]
    parts += [(sp.hstack([row.matrix, sp.csr_matrix((row.matrix.shape[0], n + 2))]), row.limit) for row in rows(form, low)]
    for t in 2 * np.pi * np.arange(cuts) / cuts:
        m = np.cos(t) * form.gx + np.sin(t) * form.gy
        parts.append((sp.hstack([m, sp.csr_matrix((m.shape[0], n + 2))]), np.full(m.shape[0], wishes.most)))
    cost = np.concatenate([-worth.move * a * np.asarray(b.sum(axis=0)).ravel(), np.full(n, 2 * worth.move * a), [worth.buy, worth.take]])
    equal = sp.hstack([sp.csr_matrix(a / r * np.asarray(b.sum(axis=0))), sp.csr_matrix(np.full((1, n), a * (1 - 1 / r))), sp.csr_matrix([[-1.0, 1 / r]])])
    bounds = [(None, None)] * p + [(0, None)] * n + [(0, None if worth.may_buy else 0), (0, None if worth.may_take else 0)]
    found = linprog(cost, sp.vstack([m for m, _ in parts]), np.concatenate([v for _, v in parts]), equal, [a / r * z.sum()], bounds, method="highs")
    assert found.status == 0
    return found.fun + worth.move * a * z.sum()


@pytest.mark.independent
@pytest.mark.parametrize("worth", [Worth(14, 82, 22, 1.15, **HOLD), Worth(14, 82, 22, 1.15), Worth(14, 20, 22, 1.0, True, False)])
@pytest.mark.parametrize("bearing", [90.0, 60.0])
def test_an_independent_solver_finds_the_same_cost(worth, bearing):
    """HiGHS with 720 tangent cuts for a plane (inside 1e-5), 32 for nodes: within 0.1 % of the cones."""
    g = ground(rough(), np.full(X.size, 0.03))
    wishes = Wishes(0.005, 0.012, 25.0)
    for form, cuts in ((plane(X, Y, bearing), 720), (free(X, Y, bearing, spacing_m=2.0), 64)):
        ours = solve(g, form, wishes, worth)
        assert ours.cost == approx(by_highs(g, form, wishes, worth, cuts), rel=1e-3)


# ---- what must hold -----------------------------------------------------------------------------------


@pytest.mark.invariant
def test_a_design_keeps_its_slopes_everywhere_and_the_blade_in_the_mix():
    blade = np.full(X.size, 0.012)
    form, wishes = free(X, Y, 90), Wishes(0.004, 0.014, 30.0)
    found = solve(ground(rough(), blade), form, wishes, Worth(1, 3, 2, 1.15))
    assert (rough() - found.height <= blade + 1e-6).all()
    rng, step = np.random.default_rng(1), 1e-4
    x, y = rng.uniform(0.01, 19.98, (2, 4000))
    h = lambda x, y: form.points(x, y) @ found.parameters
    gx, gy = (h(x + step, y) - h(x, y)) / step, (h(x, y + step) - h(x, y)) / step
    assert np.hypot(gx, gy).max() <= 0.014 + 2e-6 and (-gx).min() >= 0.004 - 2e-6
    assert (np.abs(gy) <= np.tan(np.radians(30)) * -gx + 2e-6).all()


@pytest.mark.invariant
def test_raising_or_moving_the_field_changes_no_volume():
    one = solve(ground(rough()), plane(X, Y, 90), Wishes(0.005, 0.012), Worth(1, 3, 2, 1.15))
    far = Ground(X + 3000, Y - 700, rough() + 300, DEEP, CELL_M**2)
    other = solve(far, plane(X + 3000, Y - 700, 90), Wishes(0.005, 0.012), Worth(1, 3, 2, 1.15))
    assert (other.cut_m3, other.fill_m3, other.cost) == approx((one.cut_m3, one.fill_m3, one.cost), rel=1e-4)


@pytest.mark.invariant
def test_mix_nobody_has_measured_is_not_cut():
    blade = np.where(X < 10, 0.0, 0.05)
    found = solve(ground(rough(), blade), free(X, Y, 90), Wishes(0.004, 0.02), Worth(1, 3, 2, 1.15))
    assert (found.height - rough())[X < 10].min() >= -1e-6


@pytest.mark.analytic
@pytest.mark.parametrize("ratio", [1.0, 1.15])
def test_a_surplus_that_may_not_leave_is_not_lost_by_moving_mix_on_the_spot(ratio):
    """Half a field stands 20 mm too high between three fixed levels: 4 m3 too much, nothing may leave. With fill that shrinks the
    rows alone would fill and cut the same cells until 3.8 m3 were gone."""
    at = -0.01 * np.array([1.0, 19.0, 10.0])
    fixed = Levels(np.array([1.0, 19.0, 10.0]), np.array([1.0, 1.0, 19.0]), at, np.full(3, 0.001), ("a", "b", "c"))
    high = ground(-0.01 * X + 0.02 * (X < 10))
    wishes = Wishes(0.005, 0.02, fixed=fixed)
    assert solve(high, plane(X, Y, 90), wishes, Worth(1, 3, 2, ratio, **HOLD)) is None
    assert solve(high, plane(X, Y, 90), wishes, Worth(1, 3, 2, ratio, False, True)).taken_m3 == approx(4.0, abs=0.45)


@pytest.mark.invariant
@pytest.mark.parametrize("ratio", [1.0, 1.15, 1.3])
def test_what_is_cut_less_what_is_taken_makes_up_what_is_filled_and_not_bought(ratio):
    for may in ((False, False), (True, False), (True, True)):
        found = solve(ground(rough()), free(X, Y, 90), Wishes(0.004, 0.014, 30.0), Worth(1, 3, 2, ratio, *may))
        assert found.fill_m3 == approx((found.cut_m3 - found.taken_m3) / ratio + found.bought_m3, abs=1e-4)


# ---- wishes that cannot meet --------------------------------------------------------------------------


def levels(height: np.ndarray, tolerance_m: float = 0.006) -> Levels:
    x, y = np.array([0.5, 10.0, 19.5]), np.array([10.0, 0.5, 10.0])
    return Levels(x, y, height, np.full(3, tolerance_m), ("west 1 m", "south 2 m", "east 3 m"))


@pytest.mark.analytic
def test_an_edge_that_stands_too_high_is_named_with_what_would_do():
    """Three levels on one line, the middle one 40 mm over it: a plane needs half of that at each, 6 mm are allowed."""
    z = -0.01 * X
    edges = levels(-0.01 * np.array([0.5, 10.0, 19.5]) + [0, 0, 0.04])
    found, kept, told = designed(ground(z), plane(X, Y, 90), Wishes(0.01, 0.01, edges=edges), Worth(1, 3, 2, 1))
    assert [c.family for c in told] == [EDGE] and told[0].alone
    assert told[0].possible == approx(20.0, abs=0.05) and found is not None


@pytest.mark.analytic
def test_a_fall_steeper_than_the_levels_allow_gives_way_when_the_levels_may_not():
    fixed = levels(0 * np.arange(3.0), 0.001)
    found, kept, told = designed(ground(0 * X), plane(X, Y, 90), Wishes(0.01, 0.02, fixed=fixed), Worth(1, 3, 2, 1))
    assert [c.family for c in told] == [LEAST_FALL]
    assert told[0].possible == approx(100 * 0.002 / 19, abs=1e-3)


@pytest.mark.analytic
def test_a_direction_gives_way_before_the_least_fall():
    fixed = Levels(np.array([10.0, 10.0]), np.array([0.5, 19.5]), np.array([0.0, -0.19]), np.full(2, 0.001), ("a", "b"))
    found, kept, told = designed(ground(-0.01 * Y), plane(X, Y, 90), Wishes(0.004, 0.02, 20.0, fixed=fixed), Worth(1, 3, 2, 1))
    assert [c.family for c in told] == [DIRECTION] and found is not None


@pytest.mark.analytic
def test_too_sharp_a_bend_is_named_last():
    form = free(X, Y, 90)
    fixed = Levels(np.array([8.5, 10.5, 12.5]), np.full(3, 10.5), np.array([0.0, -0.012, -0.062]), np.full(3, 0.001), ("a", "b", "c"))
    found, kept, told = designed(ground(-0.01 * X), form, Wishes(0.005, 0.05, 45.0, fixed=fixed), Worth(1, 3, 2, 1))
    assert BEND in {c.family for c in told} and found is not None


@pytest.mark.invariant
def test_what_never_gives_way_is_not_given_up():
    fixed = Levels(np.array([1.0, 19.0]), np.array([10.0, 10.0]), np.array([0.0, -2.0]), np.full(2, 0.003), ("a", "b"))
    found, kept, told = designed(ground(-0.01 * X), plane(X, Y, 90), Wishes(0.005, 0.012, fixed=fixed), Worth(1, 3, 2, 1))
    assert found is None and told == ()


@pytest.mark.analytic
def test_a_base_line_that_is_to_lie_level_turns_the_fall_across_it():
    """A plane of 1 % that may turn by 45 degrees, a line along the fall with 0.8 % allowed: it turns by acos 0.8 and no further."""
    line = Line(2.0, 2.0, 18.0, 2.0, 0.008, "home-first")
    found = solve(ground(-0.01 * X), plane(X, Y, 90), Wishes(None, 0.01, 45.0, lines=(line,)), Worth(1, 3, 2, 1))
    assert found.parameters[1] == approx(-0.008, abs=1e-6)
    free_found = solve(ground(-0.01 * X), free(X, Y, 90), Wishes(0.004, 0.014, 45.0, lines=(line,)), Worth(1, 3, 2, 1))
    at = np.linspace(2.01, 17.99, 9)
    rise = np.diff(free(X, Y, 90).points(at, np.full(9, 2.0)) @ free_found.parameters) / np.diff(at)
    assert np.abs(rise).max() <= 0.008 + 1e-4


@pytest.mark.analytic
def test_a_base_line_more_level_than_the_least_fall_allows_is_named():
    line = Line(2.0, 2.0, 18.0, 2.0, 0.002, "home-first")
    found, _, told = designed(ground(-0.01 * X), plane(X, Y, 90), Wishes(0.01, 0.02, 20.0, lines=(line,)), Worth(1, 3, 2, 1))
    last = told[-1]
    assert found is not None and (last.family, last.place, last.unit) == (BASE_LINE, "home-first", "pct")
    assert (last.asked, last.possible) == approx((0.2, 1.0), abs=1e-3)
    assert not any(c.family == DIRECTION for c in told)  # what need not give way is not told of


@pytest.mark.analytic
def test_a_line_off_the_ground_asks_nothing():
    found = solve(ground(-0.01 * X), free(X, Y, 90), Wishes(0.005, 0.02, lines=(Line(-30, 0, -20, 0, 0.0, "a-b"),)), Worth(1, 3, 2, 1))
    assert found.cost == approx(0, abs=1e-4)


@pytest.mark.analytic
def test_an_edge_gives_way_where_it_must_and_nowhere_else():
    """Ten levels along the south, one 60 mm high, and ten along the north that fit: the north keeps its tolerance."""
    x = np.tile(np.linspace(1, 19, 10), 2)
    y = np.repeat([0.4, 19.4], 10)
    height = -0.01 * x + 0.06 * (np.arange(20) == 4)
    edges = Levels(x, y, height, np.full(20, 0.006), tuple(f"{side} {k} m" for side in ("south", "north") for k in range(10)))
    found, kept, told = designed(ground(-0.01 * X), free(X, Y, 90), Wishes(0.008, 0.012, edges=edges, kappa=None), Worth(1, 3, 2, 1))
    assert [c.family for c in told] == [EDGE] and told[0].alone and told[0].place.startswith("south")
    wider = kept.edges.tolerance_m - 0.006
    assert wider.max() > 0.015 and (wider[10:] < 0.001).all()
    off = np.abs(free(X, Y, 90, also=(x, y)).points(x, y) @ found.parameters - height)
    assert (off[10:] < 0.007).all() and (off <= kept.edges.tolerance_m + 1e-6).all()
