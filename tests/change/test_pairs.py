"""Which surveys are compared: the one before, the baseline, before and after work."""

from __future__ import annotations

import pytest

from pipeline.change.pairs import Dated, pairs


@pytest.mark.analytic
def test_each_survey_meets_the_one_before_it_the_baseline_and_its_work():
    surveys = [Dated("a"), Dated("b", "before_work"), Dated("c"), Dated("d", "after_work")]
    assert pairs(surveys, "a") == (("a", "b"), ("a", "c"), ("b", "c"), ("a", "d"), ("b", "d"), ("c", "d"))


@pytest.mark.analytic
def test_a_baseline_in_the_middle_is_the_later_one_of_the_surveys_before_it():
    assert pairs([Dated("a"), Dated("b", "baseline"), Dated("c")], "b") == (("a", "b"), ("b", "c"))


@pytest.mark.analytic
def test_one_survey_makes_no_pair_and_work_without_an_after_survey_none_either():
    assert pairs([Dated("a", "before_work")], "a") == ()
    assert pairs([Dated("a"), Dated("b", "before_work")], "a") == (("a", "b"),)


@pytest.mark.invariant
def test_no_pair_stands_twice():
    surveys = [Dated("a", "before_work"), Dated("b", "after_work")]
    assert pairs(surveys, "a") == (("a", "b"),)
