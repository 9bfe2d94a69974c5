"""Readings in the field's own foot, taken up in metres."""

from __future__ import annotations

import pytest

from pipeline.steps.by_hand import in_metres
from pipeline.store.tables import parse_rows
from pipeline.tables import read


@pytest.mark.independent  # the US survey foot is 1200/3937 m (NIST SP 811)
def test_a_tap_in_us_survey_feet_is_where_it_was_in_metres_and_a_row_without_a_place_is_left():
    rows = read("readings", parse_rows("reading_id,field_id,read_on,kind,value,e,n\nr1,moth,2026-04-14,seen,trip,3937,7874\nr2,moth,2026-04-14,seen,trip,,\n", "readings.csv"))[0]
    one, two = in_metres(rows, "EPSG:6565")
    assert (one["e"], one["n"]) == pytest.approx((1200.0, 2400.0), abs=1e-9) and two.get("e") is None
    assert in_metres(rows, "EPSG:6564")[0]["e"] == 3937.0
