"""Stations of an edge joined to stretches."""

from __future__ import annotations

import pytest

from pipeline.surface.stretches import Stretch, part, stretches

S = [k + 0.5 for k in range(20)]


def labelled(*spans: range) -> list[str | None]:
    return ["over" if any(k in span for span in spans) else None for k in range(20)]


@pytest.mark.analytic
def test_a_stretch_ends_half_a_station_beyond_its_last():
    ((label, found),) = stretches(S, labelled(range(3, 7)))
    assert (label, found.from_m, found.to_m, found.length_m, found.members) == ("over", 3.0, 7.0, 4.0, (3, 4, 5, 6))
    assert part(S, [0]) == Stretch(0.0, 1.0, 1.0, (0,))


@pytest.mark.analytic
def test_a_gap_of_two_metres_is_bridged_and_not_counted_one_of_three_is_not():
    ((_, bridged),) = stretches(S, labelled(range(3, 5), range(7, 9)))
    assert (bridged.from_m, bridged.to_m, bridged.length_m) == (3.0, 9.0, 4.0)
    apart = [s for _, s in stretches(S, labelled(range(3, 5), range(8, 10)))]
    assert [(s.from_m, s.to_m) for s in apart] == [(3.0, 5.0), (8.0, 10.0)]


@pytest.mark.invariant
def test_labels_do_not_join_and_stretches_come_in_order_of_their_start():
    labels = ["b"] * 2 + ["a"] * 3 + [None] * 5 + ["b"] * 2 + [None] * 8
    assert [(lab, s.from_m, s.to_m) for lab, s in stretches(S, labels)] == [("b", 0.0, 2.0), ("a", 2.0, 5.0), ("b", 10.0, 12.0)]


@pytest.mark.invariant
def test_a_missing_station_leaves_the_rest_where_they_were():
    kept = [k for k in range(20) if k != 5]
    ((_, found),) = stretches([S[k] for k in kept], ["over" if 3 <= k < 8 else None for k in kept])
    assert (found.from_m, found.to_m, found.length_m) == (3.0, 8.0, 4.0)


@pytest.mark.analytic
def test_overlap_counts_touching_and_a_slack():
    a, b, c = Stretch(0, 5, 5, ()), Stretch(5, 7, 2, ()), Stretch(8.5, 9, 1, ())
    assert a.overlaps(b) and b.overlaps(a) and not b.overlaps(c) and b.overlaps(c, 2.0)
