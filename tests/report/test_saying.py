"""Findings as sentences, in the reader's units, with the owner's limit in them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.report.figures import NBSP
from pipeline.report.findings import Limits
from pipeline.owner import Tolerances
from pipeline.report.todo import all_steps
from report.scene import HOME, TOLERANCES, WORDS, edge, layout, sayer, seen, spot, station, stood, zone


def plain(text: str) -> str:
    return text.replace(NBSP, " ").replace("\u2060", "")


def said(*spots, lips=None, units="us", zones=None, **given) -> list[str]:
    s = sayer(units, **given)
    return [plain(s.says(f)) for f in seen(spots, lips or (), zones).findings]


@pytest.mark.analytic
def test_a_sentence_names_place_height_range_and_the_owners_limit():
    assert said(spot("second", 69.0))[0] == "Second base is 2.72 in ± 0.15 low, over the trip limit of 60 mm (2.36 in)"
    assert said(spot("second", 69.0), units="metric")[0] == "Second base is 69 mm ± 4 low, over the trip limit of 60 mm"
    assert said(spot("first", 30.0), units="metric")[0] == "First base is 30 mm ± 4 low, over the tolerance of 20 mm"
    assert said(spot("first", 20.0), units="metric")[0] == "First base is 20 mm ± 4 low, near the tolerance of 20 mm"
    assert said(spot("first", 2.0), units="metric")[0] == "First base is 2 mm ± 4 low, within the tolerance"


@pytest.mark.analytic
def test_a_stretch_of_edge_is_named_with_its_marks_and_where_it_is_highest():
    (text, _) = said(lips=edge({range(8, 14): 62.0}), units="metric")
    assert text.startswith("Lip along the outer edge, 8–14 m, highest ") and text.endswith("up to 62 mm ± 8 high, over the trip limit of 50 mm")
    (text, _) = said(lips=edge({range(8, 14): 62.0, range(14, 20): 34.0}), units="metric")
    assert text.endswith("over the trip limit of 50 mm on 6 m of it")
    (text, _) = said(lips=edge({range(8, 14): 34.0}, kind="low_skin"), units="metric")
    assert text.startswith("Low skin along the outer edge") and "lowest " in text and "the skin stands up to 34 mm ± 8 below the grass’s soil" in text
    (text, _) = said(lips=[station(None, 34.0)], units="metric")
    assert text == "Lip along the outer edge, mean over all of it: 34 mm ± 8 high, over the tolerance of 25 mm"


@pytest.mark.invariant
def test_a_thing_that_cannot_be_judged_says_why():
    assert said(spot("second", None), units="metric")[0].endswith("not enough evidence (no figure)")
    assert said(spot("second", 15.0, 40.0), units="metric")[0].endswith("not enough evidence (known to ± 78 mm only, the tolerance is 20 mm)")
    given = {"tolerances": {k: v for k, v in TOLERANCES.items() if k != "planarity_mm"}}
    assert "no tolerance is set for planarity_mm" in plain(sayer("metric", **given).why(seen().findings[0]))
    unknown = seen(lips=edge(base=34.0, kind="not_enough_evidence")).findings[0]
    assert "cannot tell lip from low skin" in sayer().why(unknown)
    by_hand = seen([spot("first", None, None, reason="check by hand: too little skin")]).findings[0]
    assert sayer().why(by_hand) == "too little skin"


@pytest.mark.independent
def test_one_per_cent_is_one_and_a_fifth_inches_in_ten_feet():
    """0.01 x 120 in; a bid that equates it with 1.5-2 in is wrong (trade cautions)."""
    assert plain(sayer().fall(1.0, 0.05)) == "1.00 % ± 0.10 (1.2 ± 0.1 in per 10 ft)"
    assert plain(sayer("metric").fall(1.0, 0.05)) == "1.00 % ± 0.10 (30 ± 3 mm per 3 m)" and plain(sayer().slope(0.5)) == "0.5 % (0.6 in per 10 ft)"
    assert sayer().fall(None, 0.05) == ""


@pytest.mark.invariant
def test_each_verdict_has_a_headline_that_says_what_matters():
    s = sayer("metric")

    def headline(*spots, **more):
        return plain(s.headline(stood(seen(spots, **more))))

    assert headline(spot("second", 69.0)) == "Second base is 69 mm ± 4 low, over the trip limit of 60 mm."
    assert headline(spot("second", 69.0), spot("first", 90.0)).endswith("over the trip limit of 60 mm. Also unsafe: second base.")
    assert headline(*(spot(place, 69.0) for place in ("second", "first", "third"))).endswith(". 2 more places are unsafe.")
    assert headline(spot("first", 30.0), spot("third", 28.0), lips=edge({range(3, 9): 34.0})) == "Over the owner’s tolerances: 2 low spots and 6 m of lip."
    assert headline(zones=[zone(planarity=19.0)]) == "Over the owner’s tolerances: an uneven skin."
    assert headline(lips=edge({range(3, 9): 34.0}, kind="low_skin")) == "Over the owner’s tolerances: 6 m of edge where the skin stands low."
    near = "First base is 20 mm ± 4 low, near the tolerance of 20 mm. With the same ±, it would be work from 22 mm."
    assert headline(spot("first", 20.0)) == near
    bridged = edge({range(3, 6): 34.0, range(8, 11): 34.0})
    assert headline(lips=bridged) == "Over the owner’s tolerances: 8 m of lip."  # as the stretch 3-11 m is printed and worked
    assert headline(spot("first", 2.0)) == "Everything that was measured is within the owner’s tolerances."
    assert headline(spot("first", None)) == "Nothing is over the owner’s tolerances, but this could not be judged: first base."
    many = [spot(p, None) for p in ("first", "second", "third", "home")]
    assert "could not be judged: 4 places." in headline(*many)


@pytest.mark.invariant
def test_places_are_named_as_crews_name_them():
    s = sayer("metric")
    assert plain(s.placing.place("first-60")) == "first base (60 ft bases)" and s.placing.place("somewhere") == "somewhere"
    assert s.placing.edge("outer") == "the outer edge" and s.placing.edge("left-track") == "the edge “left-track”"
    first = next(p for p in layout().places if p.place_id == "first")
    assert plain(s.placing.spot("pond-3", first.e + 4.0, first.n)) == "a hollow 4 m behind first base"
    assert s.placing.spot("pond-3", first.e, first.n) == "first base"
    e, n = layout().anchors["second"]
    assert s.placing.by(e, n) == "by second base" and s.placing.by(*HOME) == "by home plate"


@pytest.mark.analytic
def test_every_place_of_the_diamond_lies_by_itself():
    """Seen from behind home plate: first base to the right, third to the left, whatever the field's bearing."""
    s, anchors = sayer("metric"), layout().anchors
    assert [s.placing.by(*anchors[b]) for b in ("first", "second", "third", "home")] == [
        "by first base", "by second base", "by third base", "by home plate",
    ]  # fmt: skip


@pytest.mark.analytic
def test_a_verdict_near_its_threshold_says_at_what_figure_it_would_turn():
    """80 % one-sided is 0.8416 s.d. (normal table): 20 + 0.8416 x 4 = 23.4 mm for work, 60 + 3.4 = 63.4 for unsafe."""
    s = sayer("metric")

    def flips(depth, sigma=4.0, place="first", **given):
        return plain(s.flips(seen([spot(place, depth, sigma, **given)]).findings[0]))

    assert flips(19.0) == "With the same ±, it would be work from 23 mm."
    assert flips(24.0) == "With the same ±, it would be watch below 23 mm."
    assert flips(58.0) == "With the same ±, it would be unsafe from 63 mm."
    assert flips(65.0) == "With the same ±, it would be work below 63 mm."
    assert flips(25.0, 9.0, place="second") == "With the same ±, it would be work from 28 mm."
    assert [flips(d) for d in (2.0, 40.0, 90.0)] == ["", "", ""] and flips(None, None) == ""
    for depth, word in ((23.2, "watch"), (23.5, "work"), (63.2, "work"), (63.5, "unsafe")):  # the verdict turns just there
        assert seen([spot("first", depth, 4.0)]).findings[0].word == word


@pytest.mark.invariant
def test_a_survey_is_named_where_another_one_shares_its_day():
    from dataclasses import replace

    shared = replace(sayer(), shared_days=frozenset({"2026-04-07"}))
    assert plain(shared.day("2026-04-07", "three")) == "7 April 2026 (three)" and plain(shared.day("2025-10-06", "two")) == "6 October 2025"


@pytest.mark.invariant
def test_a_field_without_limits_is_never_said_to_be_within_them():
    nobody, some = (replace(stood(seen()), limits=limits) for limits in (Limits(*[None] * 5), Limits(25.0, None, 20.0, None, 13.0)))
    assert sayer().unknown(nobody) == WORDS("headline_unset") and "Nothing is over" not in sayer().unknown(nobody)
    assert sayer().unknown(some).endswith("No limit is set for: lip, unsafe above and low spot, unsafe above.")


@pytest.mark.invariant
def test_what_was_measured_and_has_no_limit_is_not_called_short_of_evidence():
    unset = replace(sayer(), tolerances=Tolerances())
    now = replace(stood(seen([spot("first", 3.0, 4.0), spot("second", 69.0, 2.0), spot("third", 30.0, 2.0)])), limits=Limits(*[None] * 5))
    assert plain(unset.unknown(now)).endswith(plain(f"put up with. Deepest place measured: second base, {unset.height(69.0, 2.0)}."))
    assert unset.deepest(stood(seen([spot("first", 3.0, 4.0)]))) == ""  # what noise alone may show is no place to send anybody to
    (near,) = [f for f in seen([spot("second", 20.0, 4.0)]).findings if f.place_id == "second"]
    nothing = replace(near, verdict=replace(near.verdict, word="not_enough_evidence"))
    assert unset.verdict(nothing) == "no limit set" and sayer().verdict(nothing) == "not enough evidence" and sayer().verdict(near) == near.word
    assert unset.verdict(replace(nothing, value_mm=None)) == "not enough evidence"


@pytest.mark.invariant
def test_what_settles_a_verdict_names_who_can():
    now = replace(stood(seen()), verdict="not_enough_evidence")
    nobody = replace(now, limits=Limits(*[None] * 5))
    assert all_steps(now, [], sayer()) == WORDS("settle_first_not_enough_evidence") and all_steps(nobody, [], sayer()) == WORDS("settle_first_no_limit")
    none = replace(nobody, surveys=())
    assert all_steps(none, [], sayer()) == WORDS("settle_first_none") and all_steps(replace(none, refused=({},)), [], sayer()) == WORDS("settle_first_refused")
