"""What a survey that stands decimetres off is likeliest to be."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import Refused
from pipeline.survey.stable.jump import JUMP_M, likeliest_cause, refuse_jump
from pipeline.units import FOOT_M, US_SURVEY_FOOT_M

REFERENCE = np.array([212.3, 212.4, 212.2, 212.9, 211.8])
NAMES = ["a", "b", "c", "d", "e"]


def told(later) -> str:
    with pytest.raises(Refused) as refusal:
        refuse_jump(REFERENCE, later, NAMES)
    assert refusal.value.code == "jump_on_stable_ground"
    return refusal.value.reason


@pytest.mark.analytic
@pytest.mark.parametrize("later, words", [
    (REFERENCE * FOOT_M, "metres were read as feet"),
    (REFERENCE / FOOT_M, "feet were read as metres"),
    (REFERENCE / US_SURVEY_FOOT_M + 0.1, "feet were read as metres"),
    (REFERENCE - 32.6, "above the ellipsoid"),
    (REFERENCE + 24.0, "above the ellipsoid"),
    (REFERENCE + 1.8, "rover's rod"),
    (REFERENCE - 2.0, "rover's rod"),
    (REFERENCE + 0.55, "another height datum"),
    (REFERENCE - 0.16, "another height datum"),
    (REFERENCE + 600.0, "another height datum"),
])  # fmt: skip
def test_the_likeliest_cause_is_named(later, words):
    assert words in told(later)


@pytest.mark.analytic
def test_the_sentence_says_what_was_found_what_was_expected_and_where():
    reason = told(REFERENCE - 0.62)
    assert "0.620 m lower" in reason and "within 0.150 m" in reason and "a, b, c, d, e" in reason and "check" in reason


@pytest.mark.invariant
def test_up_to_the_limit_nothing_is_refused_and_without_patches_nothing_can_be():
    refuse_jump(REFERENCE, REFERENCE + JUMP_M - 1e-6, NAMES)
    refuse_jump(REFERENCE, REFERENCE - JUMP_M + 1e-6, NAMES)
    refuse_jump(np.zeros(0), np.zeros(0), [])


@pytest.mark.invariant
def test_two_rebuilt_slabs_of_five_are_no_jump():
    refuse_jump(REFERENCE, REFERENCE + [0.4, 0.4, 0, 0, 0], NAMES)


@pytest.mark.independent
def test_the_two_feet_cannot_make_a_jump_of_heights_anywhere_on_earth():
    """Everest is 8,849 m high (survey of 2020): its height differs by 18 mm between the two feet."""
    highest_m = 8849.0
    assert abs(highest_m * (US_SURVEY_FOOT_M / FOOT_M - 1)) < 0.02 < JUMP_M


@pytest.mark.independent
def test_a_walk_above_the_ellipsoid_is_told_from_its_geoid_height():
    """NGS datasheet of station P055: the geoid stands 16.433 m below the ellipsoid there (GEOID18)."""
    assert "above the ellipsoid" in likeliest_cause(np.array([684.883]), np.array([668.450]))
