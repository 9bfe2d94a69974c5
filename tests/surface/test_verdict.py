"""The rule that turns figures into words."""

from __future__ import annotations

import math

import pytest
from scipy.stats import norm

from pipeline.surface.verdict import exceeds, judge, judge_least, worst


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


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("depth", "sigma", "word"),
    [(60.0, 5.0, "work"), (70.5, 5.0, "work"), (72.0, 5.0, "watch"), (78.0, 5.0, "watch"), (79.5, 5.0, "good"), (80.0, 95.0, "not_enough_evidence"), (float("nan"), 5.0, "not_enough_evidence")],
)
def test_too_little_is_judged_as_too_much_is_the_other_way_round(depth, sigma, word):
    """P(under 75) at 70.5 with s.d. 5: Phi(0.9) = 0.816; at 79.5 Phi(-0.9) = 0.184 (table of the normal distribution)."""
    found = judge_least(depth, sigma, 75.0, "mix_depth_min_mm")
    assert found.word == word
    if depth == 70.5:
        assert found.over_tolerance == pytest.approx(0.8159, abs=1e-4)
    assert judge_least(depth, sigma, None, "mix_depth_min_mm").why == "no tolerance: mix_depth_min_mm"
