"""The last lines of a run claim nothing that no limit was there for."""

from __future__ import annotations

import pytest

from pipeline.desk.summary import _none_unsafe
from pipeline.owner import Owned, Tolerances

LIMIT = Owned(value=60, set_by="the board", set_on="2026-01-01")


@pytest.mark.invariant
def test_no_field_is_over_a_limit_only_where_both_limits_are_set():
    both, one, none = Tolerances(lip_trip_mm=LIMIT, low_spot_trip_mm=LIMIT), Tolerances(lip_trip_mm=LIMIT), Tolerances()
    assert [_none_unsafe(t, True) for t in (both, one, none)] == ["said_none_unsafe", "said_some_trip_limit", "said_no_trip_limit"]
    assert {_none_unsafe(t, False) for t in (both, one, none)} == {"said_none_measured"}
