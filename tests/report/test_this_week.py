"""What needs whom this week: unsafe first, then by who, the crew's hours added up."""

from __future__ import annotations

import pytest

from pipeline.report.figures import plain_text
from pipeline.report.this_week import WHO, week_block
from report.plan_scene import RECORD
from report.scene import WORDS, edge, field_seen, seen, spot, stood
from report.season_scene import season_said

BAD = field_seen(stood(seen([spot("second", 70.0), spot("first", 30.0)], edge({range(8, 14): 62.0}))))
BLIND = field_seen(stood(seen([spot("first", None)])), "Blind Field")
NAMES = [WORDS(f"who_{w}") for w in WHO]


@pytest.mark.invariant
def test_unsafe_comes_first_whoever_it_is_and_the_rest_by_who():
    season = season_said(8.0)
    block = week_block([BAD, BLIND], season, RECORD | {"newest": "2026-04-09"}, [], WORDS)
    unsafe = [r["unsafe"] for r in block["rows"]]
    assert unsafe == sorted(unsafe, reverse=True) and block["rows"][0]["who"] == "Superintendent" and "Close the 2 places" in block["rows"][0]["what"]
    for part in (True, False):
        who = [NAMES.index(r["who"]) for r in block["rows"] if r["unsafe"] == part]
        assert who == sorted(who)
    crew = [r for r in block["rows"] if r["who"] == "Crew"]
    assert sum(float(r["hours"]) for r in crew) == pytest.approx(sum(w["hours"] for w in season["week"]), abs=0.05 * len(crew)) and "13 April 2026" in plain_text(block["title"])
    assert any(r["what"] == "Check by hand what its page lists" and r["name"] == "Blind Field" for r in block["rows"])
    assert [r["what"] for r in block["rows"] if r["who"] == "Owner"] == ["Decide on the capital plan’s year 2026"]


@pytest.mark.invariant
def test_the_crews_week_is_what_the_queue_gives_out_and_no_field_is_forgotten():
    """Hours of the table against those of the season's own days of that week."""
    season = season_said(8.0)
    assert {w["unsafe"] for w in season["week"]} >= {True} and len({(w["field_id"], w["work"]) for w in season["week"]}) == len(season["week"])
    assert sum(w["hours"] for w in season["week"]) <= 2 * 8.0 + 1e-9  # two working days of eight hours


@pytest.mark.invariant
def test_what_only_the_owner_can_settle_is_asked_of_the_owner():
    block = week_block([BLIND] * 6, {"none": "No season is planned.", "order": [], "order_sites": []}, {"state": "infeasible"}, ["the lip"], WORDS)
    assert [r["what"] for r in block["rows"] if r["who"] == "Owner"] == ["Find money or hours for the plan, or take a pin out", "Set a limit for the lip", "State the crew’s weeks and hours"]
    by_hand = [r for r in block["rows"] if r["who"] == "Superintendent"]
    assert len(by_hand) == 1 and by_hand[0]["why"].count("Blind Field") == 6 and block["title"] == WORDS("needs_heading")


@pytest.mark.invariant
def test_a_contractor_is_asked_for_what_the_owner_says_a_contractor_does():
    field = field_seen(stood(seen()), "Kettle Field", "kettle")
    asked = lambda by: [r["what"] for r in week_block([field], {}, RECORD | {"newest": "2026-04-09", "contracted": by}, [], WORDS)["rows"] if r["who"] == "Contractor"]
    assert asked(["laser_grade"]) == ["Price a laser grade"] and asked(["lip_cut"]) == []
