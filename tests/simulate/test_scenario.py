"""A scenario with faults says what they are."""

from __future__ import annotations

import pytest

from pipeline.errors import BadInput
from pipeline.simulate.scenario import parse
from support.quiet_field import plain


@pytest.mark.analytic
def test_a_sound_scenario_is_taken_as_it_stands():
    story = parse(plain({"pits": [{"name": "a", "at": "first", "depth_mm": 20}]}))
    assert story.fields["quiet"].pits[0].depth_mm == 20 and story.surveys["once"].fields == ("quiet",)


@pytest.mark.invariant
def test_every_fault_is_named_at_once_with_its_place():
    with pytest.raises(BadInput) as caught:
        parse(plain({"pits": [{"name": "a", "at": "first", "deep_mm": 20}]}, {"instrument": "telescope"}), "a.yaml")
    said = str(caught.value)
    assert "fields.quiet.pits.0.deep_mm" in said and "surveys.once.instrument" in said and "a.yaml" in said


@pytest.mark.invariant
@pytest.mark.parametrize(
    "field, survey, word",
    [
        ({"layout": "cricket"}, {}, "cricket"),
        ({}, {"fields": ["nowhere"]}, "nowhere"),
        ({}, {"fields": ["quiet", "quiet"], "instrument": "rover"}, "one field"),
    ],
)
def test_names_that_name_nothing_are_refused(field, survey, word):
    with pytest.raises(BadInput, match=word):
        parse(plain(field, survey))
