"""What plants leave of a zone's and a place's figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.flat_field import all_skin, hollow, middle, no_error, place, plane, square

from pipeline.surface.covered import CLEAR, closed, without_covered
from pipeline.surface.spots import SpotInput, low_spots

FIELD = square(12.0)
E0, N0 = middle(FIELD)
SECOND = place(E0, N0)


def spots(z: np.ndarray):
    error, white = no_error(FIELD)
    given = SpotInput(FIELD, z, white, all_skin(FIELD), (SECOND,), error, 0.0, 0.0, 0.02)
    return low_spots(given, np.random.default_rng(1), 8).spots


DEEP = plane(FIELD, 0.0, 0.008) - hollow(FIELD, E0, N0, 0.05, 0.8)


@pytest.mark.analytic
def test_over_three_tenths_a_zone_is_closed_with_what_to_do():
    assert closed(0.30) == "" and closed(float("nan")) == ""
    assert closed(0.31) == f"weeds cover 31 %: {CLEAR}"


@pytest.mark.invariant
def test_a_covered_place_keeps_its_name_and_loses_its_figures():
    before = spots(DEEP)
    after = without_covered(before, {"second": 0.55})
    assert before[0].depth_mm > 20 and np.isnan(after[0].depth_mm) and np.isnan(after[0].probability)
    assert after[0].evidence == "not_enough_evidence" and CLEAR in after[0].reason and after[0].low_spot_id == "second"
    assert without_covered(before, {"second": 0.25}) == before and without_covered(before, {}) == before


@pytest.mark.invariant
def test_a_place_that_weeds_left_too_little_of_says_so():
    half = np.where((FIELD.mesh()[0] > E0) & (np.hypot(FIELD.mesh()[0] - E0, FIELD.mesh()[1] - N0) < 0.9), np.nan, DEEP)
    row = without_covered((replace(spots(half)[0]),), {"second": 0.28})[0]
    assert row.reason.endswith(f"weeds cover 28 %: {CLEAR}") and row.reason != f"weeds cover 28 %: {CLEAR}"
