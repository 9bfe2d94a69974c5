"""The rulebook check on real clouds of ground without a diamond: what is not there is not seen, what is there is right."""

from __future__ import annotations

import pytest
from support.real_diamonds import MOUNDED, OPEN, PITCH, laid, rise_by_points

from pipeline.surface.rulebook_rules import SIDES

GROUND = {"pitch": PITCH, "mounded": MOUNDED, "open": OPEN}


@pytest.fixture(scope="module", params=GROUND)
def checked(request, real_data, tmp_path_factory):
    diamond = GROUND[request.param]
    chain = laid(real_data, tmp_path_factory.mktemp(request.param), diamond)
    return diamond, chain, {r["item"]: r for r in chain.table("d", "rulebook")}


@pytest.mark.independent  # points along each line by another reader and another robust fit
def test_rises_along_the_lines_are_those_of_the_points(checked, real_data):
    diamond, _, found = checked
    seen = 0
    for side in SIDES:
        row = found[f"fall-{side}"]
        if row["verdict"] != "not_seen":
            seen += 1
            assert abs(float(row["measured_mm"]) - rise_by_points(real_data, diamond, side)) < 3 * float(row["sigma_mm"]) + 15
    assert seen >= 2


@pytest.mark.invariant
def test_plates_bases_and_mounds_that_are_not_there_are_not_made_up(checked):
    diamond, chain, found = checked
    assert chain.record("d", "flight")["verdict"] == "relative_only"
    for item in ("plate-level-across", "pitchers-plate-over-home", "home-first", "first-third", "pitching-distance"):
        assert found[item]["verdict"] == "not_seen" and found[item]["reason"]
    assert found["home-second"]["verdict"] == "cannot_tell"  # laid by hand from the chart: the table agrees with itself
    if diamond.layout.startswith("baseball"):
        assert found["mound-height"]["verdict"] == "not_seen" and found["mound-centre-from-home"]["verdict"] in ("not_seen", "cannot_tell")
    assert not [r["item"] for r in found.values() if r["verdict"] == "outside" and not r["item"].startswith("fall-")]


@pytest.mark.invariant
def test_the_page_says_what_a_relative_survey_does_not_carry(checked):
    _, chain, found = checked
    page = chain.page("d")
    assert "Against the rulebook: " in page and "rose or sank since another day it cannot tell" in page
