"""Ponds of several dates under one name."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.surface.spot_match import same_ponds


def cells(*runs: tuple[int, int]) -> np.ndarray:
    return np.concatenate([np.arange(a, b) for a, b in runs])


@pytest.mark.analytic
def test_the_first_date_counts_deepest_first_and_later_ones_keep_the_numbers():
    june = [cells((0, 10)), cells((50, 60))]
    july = [cells((52, 64)), cells((100, 105)), cells((2, 9))]
    assert same_ponds([june, july]) == [["pond-1", "pond-2"], ["pond-2", "pond-3", "pond-1"]]


@pytest.mark.analytic
def test_a_pond_that_was_gone_for_a_date_comes_back_under_its_name():
    assert same_ponds([[cells((0, 10))], [], [cells((5, 12))]]) == [["pond-1"], [], ["pond-1"]]


@pytest.mark.analytic
def test_of_two_parts_the_larger_keeps_the_name_and_of_two_that_grew_together_the_one_with_more_ground():
    split = same_ponds([[cells((0, 20))], [cells((0, 4)), cells((8, 20))]])
    assert split == [["pond-1"], ["pond-2", "pond-1"]]
    joined = same_ponds([[cells((0, 4)), cells((8, 20))], [cells((0, 20))]])
    assert joined == [["pond-1", "pond-2"], ["pond-2"]]


@pytest.mark.analytic
def test_touching_by_a_corner_is_not_being_the_same():
    assert same_ponds([[cells((0, 10))], [cells((9, 30))]]) == [["pond-1"], ["pond-2"]]
    assert same_ponds([[cells((0, 10))], [cells((7, 30))]]) == [["pond-1"], ["pond-1"]]


@pytest.mark.invariant
def test_every_date_s_ids_are_unique_and_new_dates_change_no_old_name():
    rng = np.random.default_rng(0)
    dates = []
    for _ in range(6):
        starts = rng.choice(40, 8, replace=False) * 10
        dates.append([np.arange(s, s + rng.integers(3, 10)) for s in starts])
    named = same_ponds(dates)
    assert all(len(set(ids)) == len(ids) for ids in named)
    assert same_ponds(dates[:4]) == named[:4]
    assert same_ponds([]) == []


@pytest.mark.independent
def test_a_pond_that_drifts_slowly_keeps_its_name_over_ten_dates():
    """Against the plain expectation: each date shares 70 % with the one before, the last nothing with the first."""
    dates = [[np.arange(3 * k, 3 * k + 10)] for k in range(10)]
    assert same_ponds(dates) == [["pond-1"]] * 10
    assert not len(np.intersect1d(dates[0][0], dates[-1][0]))
