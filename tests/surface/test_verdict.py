"""The rule that turns figures into words."""

from __future__ import annotations

import math

import pytest
from scipy.stats import norm

from pipeline.surface.verdict import exceeds, judge, worst


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("value", "sigma", "tolerance", "trip", "word"),
    [
        (70, 5, 25, 50, "unsafe"),
        (30, 5, 25, 50, "work"),
        (25, 5, 25, 50, "watch"),
        (15, 5, 25, 50, "good"),
        (15, 40, 25, 50, "not_enough_evidence"),
        (200, 40, 25, 50, "unsafe"),  # so far over that even a wide figure decides
        (15, 5, None, 50, "not_enough_evidence"),
        (70, 5, None, 50, "unsafe"),
        (math.nan, math.nan, 25, 50, "not_enough_evidence"),
        (30, 5, 25, None, "work"),
    ],
)
def test_the_words_follow_the_probabilities(value, sigma, tolerance, trip, word):
    assert judge(value, sigma, tolerance, trip, "lip_mm").word == word


@pytest.mark.independent
@pytest.mark.parametrize("value", [10.0, 25.0, 31.0])
def test_the_probability_is_the_normal_distributions(value):
    assert exceeds(value, 6.0, 25.0) == pytest.approx(norm.sf(25.0, loc=value, scale=6.0))  # scipy.stats


@pytest.mark.invariant
def test_a_lack_of_evidence_never_hides_unsafe_or_work():
    assert worst(["good", "not_enough_evidence", "unsafe"]) == "unsafe"
    assert worst(["good", "not_enough_evidence", "work"]) == "work"
    assert worst(["good", "not_enough_evidence"]) == "not_enough_evidence"
    assert worst([]) == "not_enough_evidence"


@pytest.mark.invariant
def test_units_do_not_change_the_word():
    for value, sigma in [(70, 5), (30, 5), (25, 5), (15, 5), (15, 40)]:
        assert judge(value, sigma, 25, 50, "x").word == judge(value / 25.4, sigma / 25.4, 25 / 25.4, 50 / 25.4, "x").word
