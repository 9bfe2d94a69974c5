"""Where points fall."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.simulate import draws, pattern

BOX = (507000.0, 175000.0, 507040.0, 175030.0)


@pytest.mark.analytic
@pytest.mark.parametrize("turned", [0.0, 37.0, 90.0])
def test_rows_put_one_point_into_each_square_of_their_lattice(turned):
    made = pattern.rows(draws.rng(1, "p"), BOX, 0.1, turned)
    assert made.e.size == pytest.approx(40 * 30 / 0.1**2, rel=0.01)
    a = np.radians(turned)
    x, y = made.e - 507020, made.n - 175015
    u, v = (x * np.cos(a) + y * np.sin(a)) / 0.1, (-x * np.sin(a) + y * np.cos(a)) / 0.1
    first_u = (abs(20 * np.cos(a)) + abs(15 * np.sin(a))) / 0.1
    first_v = (abs(20 * np.sin(a)) + abs(15 * np.cos(a))) / 0.1
    square = np.column_stack([np.floor(u + first_u + 0.5), np.floor(v + first_v + 0.5)])
    assert len(np.unique(square, axis=0)) == made.e.size


@pytest.mark.analytic
def test_half_overlapping_strips_see_every_place_twice():
    made = pattern.strips(draws.rng(1, "s"), BOX, 0.2, 20.0)
    assert made.e.size == pytest.approx(40 * 30 / 0.2**2, rel=0.03)
    side = np.floor((made.e - 507000) / 3).astype(int) * 100 + np.floor((made.n - 175000) / 3).astype(int)
    seen = [len(np.unique(made.strip[side == s])) for s in np.unique(side)]
    assert min(seen) >= 2 and max(seen) <= 4
    for strip in np.unique(made.strip):
        assert (np.diff(made.time_s[made.strip == strip]) >= 0).all()


@pytest.mark.invariant
def test_points_stay_in_the_box_and_are_the_same_again():
    for make in (pattern.rows, pattern.strips):
        one, two = (make(draws.rng(3, "x"), BOX, 0.3, 55.0) for _ in range(2))
        assert np.array_equal(one.e, two.e) and np.array_equal(one.n, two.n)
        assert one.e.min() >= BOX[0] and one.e.max() < BOX[2] and one.n.min() >= BOX[1] and one.n.max() < BOX[3]


@pytest.mark.independent  # scipy's neighbour search
def test_the_spacing_is_the_asked_one():
    from scipy.spatial import cKDTree

    made = pattern.strips(draws.rng(1, "k"), BOX, 0.2, 0.0)
    one = made.strip == np.unique(made.strip)[4]
    xy = np.column_stack([made.e[one], made.n[one]])
    four = cKDTree(xy).query(xy, k=5)[0][:, 1:]
    assert np.median(four) == pytest.approx(0.2 * 2**0.5, rel=0.07)
