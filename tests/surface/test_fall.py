"""The fall of a zone against its owner's limits."""

from __future__ import annotations

import numpy as np
import pytest
from support.flat_field import error_of, no_error, plane, square

from pipeline.surface.fall import CANNOT_TELL, NEAR, TOO_FLAT, TOO_STEEP, WITHIN, Wanted, fall_of, judged
from pipeline.surface.slope import zone_plane

FIELD = square(20.0)
ALL = np.ones(FIELD.shape, bool)
LIMITS = Wanted(0.5, 1.5, None)


def fall(east: float, north: float, wanted: Wanted, source: str | None = None):
    error, white = no_error(FIELD) if source is None else error_of(source, FIELD)
    return fall_of(zone_plane(plane(FIELD, east, north), white, FIELD, ALL), error, wanted)


@pytest.mark.analytic
@pytest.mark.parametrize(
    "east, north, wanted, word, along",
    [
        (0.0, -0.010, LIMITS, WITHIN, 1.0),
        (0.0, -0.004, LIMITS, TOO_FLAT, 0.4),
        (-0.016, 0.0, LIMITS, TOO_STEEP, 1.6),
        (0.0, -0.010, Wanted(0.5, 1.5, 0.0), WITHIN, 1.0),  # falls north as wanted
        (0.0, -0.010, Wanted(0.5, 1.5, 90.0), TOO_FLAT, 0.0),  # falls north where east was wanted
        (0.0, -0.010, Wanted(0.5, 1.5, 180.0), TOO_FLAT, -1.0),  # falls the other way
        (0.0, -0.010, Wanted(0.5, 1.5, 45.0), WITHIN, np.sqrt(0.5)),
        (0.0, -0.010, Wanted(None, 1.5, None), WITHIN, 1.0),
    ],
)
def test_a_fall_is_judged_along_the_direction_wanted(east, north, wanted, word, along):
    found = fall(east, north, wanted)
    assert found.word == word and found.along_pct == pytest.approx(along, abs=1e-6)


@pytest.mark.analytic
def test_the_verdict_turns_at_eighty_per_cent():
    """0.8416 s.d. from a limit is 80 %: the normal table."""
    for away, word in ((0.0841, NEAR), (0.0843, TOO_FLAT), (-0.0841, NEAR), (-0.0843, WITHIN)):
        assert judged(0.5 - away, 0.1, 0.5 - away, 0.1, LIMITS).word == word
    assert judged(1.5 + 0.0843, 0.1, 1.5 + 0.0843, 0.1, LIMITS).word == TOO_STEEP


@pytest.mark.invariant
def test_without_limits_or_with_a_fall_too_poorly_known_nothing_is_said():
    none = fall(0.0, -0.01, Wanted(None, None, 30.0))
    assert none.word == CANNOT_TELL and none.why == "no tolerance: slope_min_pct, slope_max_pct" and none.verdict == "not_enough_evidence"
    assert judged(1.0, 0.7, 1.0, 0.7, LIMITS).word == CANNOT_TELL
    assert judged(-3.0, 0.7, 3.0, 0.7, LIMITS).word == TOO_FLAT  # poorly known, and wrong beyond doubt


@pytest.mark.invariant
def test_a_drawn_survey_knows_a_whole_skin_well_enough():
    found = fall(0.0, -0.010, Wanted(0.5, 1.5, 0.0), "good")
    assert found.word == WITHIN and 0 < found.along_sigma_pct < 0.1
