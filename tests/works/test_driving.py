"""The order of runs: against every order there is, to and fro, and never over the grass where the skin leads round."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest
from shapely.geometry import LineString, Point, box

from pipeline.works.driving import Order, driven, reached, ways
from pipeline.works.runs import stripes

SQUARE = box(0, 0, 10, 20)


def blade_up_m(lines) -> float:
    return sum(np.hypot(b.coords[0][0] - a.coords[-1][0], b.coords[0][1] - a.coords[-1][1]) for a, b in zip(lines, lines[1:]))


@pytest.mark.analytic
def test_runs_side_by_side_are_driven_to_and_fro():
    order, cost = driven(stripes(SQUARE, 2.0, 0.0), (0.0, 0.0), SQUARE)
    assert blade_up_m(order) == pytest.approx(8.0) and cost == pytest.approx(8.5)
    assert [line.coords[0][0] for line in order] == pytest.approx([1, 3, 5, 7, 9]) and [line.coords[0][1] for line in order] == pytest.approx([0, 20, 0, 20, 0])


@pytest.mark.analytic
def test_a_run_parted_by_a_base_is_driven_on_the_same_way_behind_it():
    ground = SQUARE.difference(Point(5, 10).buffer(0.8))
    order, _ = driven(stripes(ground, 2.0, 0.0), (0.0, 0.0), SQUARE)
    middle = [line for line in order if abs(line.coords[0][0] - 5) < 1e-6]
    up = [line.coords[1][1] > line.coords[0][1] for line in middle]
    assert len(middle) == 2 and up[0] == up[1] and order.index(middle[1]) == order.index(middle[0]) + 1
    assert blade_up_m(order) == pytest.approx(8.0 + 1.6, abs=0.01)


@pytest.mark.invariant
@pytest.mark.parametrize("bearing", range(0, 180, 15))
def test_on_a_skin_round_grass_the_blade_crosses_from_one_arm_to_the_other_at_most_twice(bearing):
    skin = Point(0, 0).buffer(25).difference(box(-12, -12, 12, 12))
    lines = stripes(skin.buffer(-0.3), 2.0, bearing)
    order, _ = driven(lines, (0.0, -20.0), skin)
    assert sorted(line.length for line in order) == pytest.approx(sorted(line.length for line in lines))
    assert sum(np.isnan(reached(a, b, skin)) for a, b in zip(order, order[1:])) <= 2
    assert blade_up_m(order) < 2.0 * len(lines) * 2.5


@pytest.mark.independent
def test_few_runs_are_driven_in_the_best_of_all_orders_or_nearly():
    rng, over = np.random.default_rng(7), []
    for _ in range(25):
        lines = [LineString(rng.uniform(0, 30, (2, 2))) for _ in range(5)]
        order = Order(lines, (0.0, 0.0), None)
        best = min(order.cost([2 * k + s for k, s in zip(p, sides)]) for p in permutations(range(5)) for sides in product((0, 1), repeat=5))
        over.append(driven(lines, (0.0, 0.0))[1] / best - 1)
    assert np.mean(over) < 0.02 and max(over) < 0.25 and np.median(over) < 1e-9


@pytest.mark.invariant
def test_bettering_never_makes_it_longer_and_keeps_every_run_once():
    rng = np.random.default_rng(3)
    for count in (1, 2, 3, 12, 40):
        lines = [LineString(rng.uniform(0, 60, (2, 2))) for _ in range(count)]
        order = Order(lines, (0.0, 0.0), None)
        first = order.nearest()[0]
        better = order.shortened(first)
        assert order.cost(better) <= order.cost(first) + 1e-9 and sorted(a // 2 for a in better) == list(range(count))


@pytest.mark.analytic
def test_a_way_over_the_grass_counts_more_and_has_no_length():
    skin = box(0, 0, 10, 10).union(box(20, 0, 30, 10))
    ends = np.array([[5.0, 5.0], [9.0, 5.0], [25.0, 5.0]])
    found = ways(ends, skin)
    assert found[0, 1] == pytest.approx(4.0) and found[0, 2] == pytest.approx(3 * 20 + 10) and np.all(found == found.T)
    assert np.isnan(reached(LineString([(0, 0), (5, 5)]), LineString([(25, 5), (25, 9)]), skin)) and reached(None, LineString([(1, 1), (2, 2)]), skin) == 0.0
    assert driven([], None) == ([], 0.0)
