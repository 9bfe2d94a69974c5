"""The page over all fields and its two tables."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.report.overview import MOST_CHANGES, hazard_rows, index_page, plain_text, portfolio_row, ranked
from pipeline.store import tables as store
from pipeline.variables import column_names
from report.scene import WORDS, config, deeper, edge, field_seen, mix, quality, seen, spot, station, stood, tables, zone

# As the contract lists them; columns may be added, never renamed.
PORTFOLIO = ("field_id, site, last_survey, lip_max_mm, lip_over_tolerance_m, low_spots_over_tolerance, planarity_mm, mix_needed_tonnes, verdict, reason")
HAZARDS = ("hazard_id, field_id, place, found_on, source, measure, value, tolerance, set_by, action, action_on, state")
BAD = stood(seen([spot("second", 70.0), spot("first", 30.0)], edge({range(8, 14): 62.0, range(24, 30): 34.0})))


@pytest.mark.invariant
def test_the_two_tables_have_the_columns_of_the_contract(tmp_path):
    for name, wanted, rows in (("portfolio", PORTFOLIO, [portfolio_row(field_seen(BAD))]), ("hazards", HAZARDS, hazard_rows(field_seen(BAD), config().tolerances))):
        store.write(tmp_path / f"{name}.csv", name, rows)
        assert (tmp_path / f"{name}.csv").read_text().splitlines()[0].split(",") == wanted.split(", ") == list(column_names(name))


@pytest.mark.analytic
def test_a_fields_row_of_the_portfolio():
    row = portfolio_row(field_seen(BAD))
    assert (row["last_survey"], row["lip_max_mm"], row["lip_over_tolerance_m"], row["low_spots_over_tolerance"]) == ("three", 62.0, 12.0, 2)
    assert (row["planarity_mm"], row["mix_needed_tonnes"], row["verdict"]) == (5.0, pytest.approx(0.2), "unsafe")
    said = "Second base is 70 mm +/- 4 low, over the trip limit of 60 mm. Also unsafe: the outer edge, 8-14 m, highest between first and second base. Held against: "
    limits = ("low spot, unsafe above 60 mm", "lip, unsafe above 50 mm")
    assert row["reason"] == said + "; ".join(f"{v}, set by Board of Nowhere on 3 March 2025" for v in limits) + "." and row["reason"].isascii()


@pytest.mark.invariant
def test_a_field_without_a_usable_survey_has_a_row_and_no_figures():
    from pipeline.report.standing import standing
    from report.scene import LIMITS

    rows = {"survey_quality": [quality("one", "refused", "beside its field")], "lip": [], "low_spots": [], "zones": []}
    seen_field = field_seen(standing("mill-pond", rows, ["one"], (), LIMITS, {}))
    row = portfolio_row(seen_field)
    assert set(row) == {"field_id", "site", "verdict", "reason"} and row["verdict"] == "not_enough_evidence"
    page = index_page([seen_field], config().tolerances, "", WORDS)
    assert page["unmeasured"] == ["Mill Pond Field: no survey can be used."] and "beside its field" in page["refused"][0]


@pytest.mark.invariant
def test_without_a_tolerance_nothing_counts_as_over_it():
    limits = replace(BAD.limits, lip=None, low_spot=None)
    row = portfolio_row(field_seen(stood(seen([spot("first", 30.0)], edge({range(8, 14): 34.0}), limits=limits), limits=limits)))
    assert row["lip_over_tolerance_m"] is None and row["low_spots_over_tolerance"] is None and row["mix_needed_tonnes"] == 0.0


@pytest.mark.analytic
def test_mix_adds_up_with_its_range():
    """Two spots of 0.1 t each, volumes known to 0.01 of 0.06 m3, as if they erred alike: s.d. 2 x 0.1 x 0.01 / 0.06."""
    mass, sigma = field_seen(BAD).mix_t
    assert mass == pytest.approx(0.2) and sigma == pytest.approx(2 * 0.1 / 6)
    unknown = field_seen(stood(seen([spot("first", 30.0, fill_tonnes=None)]))).mix_t
    assert unknown[0] is None


@pytest.mark.analytic
def test_hazards_are_written_in_the_files_units_with_who_set_the_limit():
    now = stood(seen([spot("second", 70.0)], survey="two"), seen([spot("second", 82.0, 3.0)]), walks=({"action": "marked_off"},))
    rows = hazard_rows(field_seen(now), config().tolerances)
    assert rows == [{
        "hazard_id": "mill-pond-second-low-spot", "field_id": "mill-pond", "found_on": "2025-10-06", "source": "two", "measure": "low_spot",
        "action": "marked_off", "action_on": "2026-04-09", "state": "open", "place": "second base",
        "value": "70 mm +/- 4; 82 mm +/- 6 on 2026-04-07", "tolerance": "60 mm", "set_by": "Board of Nowhere",
    }]  # fmt: skip
    walk = {"item": "glass", "place": "home", "finding": "broken bottle", "action": "marked_off"}
    (row,) = hazard_rows(field_seen(stood(seen(), walks=(walk,))), config().tolerances)
    assert (row["source"], row["place"], row["measure"], row["value"], row.get("tolerance")) == ("walk-0", "home", "glass", "broken bottle", None)


@pytest.mark.invariant
def test_fields_stand_worst_first_then_by_how_far_over_then_by_name():
    good, work = stood(seen()), stood(seen([spot("first", 30.0)]))
    worse, watch = stood(seen([spot("first", 40.0)])), stood(seen([spot("first", 20.0)]))
    blind = stood(seen([spot("first", None)]))
    order = ranked([field_seen(s, name) for s, name in ((good, "e"), (blind, "d"), (watch, "c"), (work, "b"), (worse, "a"), (BAD, "z"), (work, "aa"))])
    assert [f.name for f in order] == ["z", "a", "aa", "b", "c", "d", "e"]


@pytest.mark.invariant
def test_the_first_lines_say_which_field_is_unsafe_why_and_what_to_do():
    page = index_page([field_seen(stood(seen()), "Good Field"), field_seen(BAD)], config().tolerances, "", WORDS)
    (box,) = page["unsafe"]
    assert (box["name"], box["site"], len(box["what"])) == ("Mill Pond Field", "Mill Pond", 2)
    assert box["act"] == "Close the 2 places or mark them off." and box["steps"] == "fill second base; take the lip off the outer edge"
    assert [r["next"] for r in page["rows"]] == ["Fill second base; take the lip off the outer edge; fill first base", "No work follows from its survey"]
    assert index_page([field_seen(stood(seen()))], config().tolerances, "", WORDS)["unsafe"] == []


@pytest.mark.invariant
def test_a_hazard_that_only_a_walk_saw_asks_for_no_tonnage_but_for_care():
    now = stood(seen(), walks=({"item": "glass", "place": "home", "action": "marked_off", "finding": "broken bottle"},))
    page = index_page([field_seen(now)], config().tolerances, "", WORDS)
    assert page["unsafe"][0]["act"] == "Keep people away until it is mended." and page["unsafe"][0]["steps"] == ""
    assert page["rows"][0]["next"].startswith("Keep people away")


@pytest.mark.invariant
def test_of_many_changes_the_biggest_four_are_told_and_the_rest_counted():
    places = ("first", "second", "third", "home", "landing", "short-stop")
    two = stood(seen(survey="two"), seen())
    found = tables(change=[], lip_change=[], low_spot_change=[deeper(p, 10.0 + k) for k, p in enumerate(places)])
    (block,) = index_page([field_seen(two, found=found)], config().tolerances, "", WORDS)["changed"]
    assert len(block["found"]) == MOST_CHANGES == 4 and block["found"][0].startswith("Short stop") and block["more"] == "and 2 more"
    found["low_spot_change"] = found["low_spot_change"][:4]
    assert index_page([field_seen(two, found=found)], config().tolerances, "", WORDS)["changed"][0]["more"] == ""


@pytest.mark.invariant
def test_what_was_not_measured_is_one_line_a_field():
    part = [station(k + 0.5, 3.0 if k < 10 else None, 4.0 if k < 10 else None) for k in range(40)]
    now = stood(seen([spot("first", None), spot("second", 2.0)], part))
    (line,) = index_page([field_seen(now, units="metric")], config().tolerances, "", WORDS)["unmeasured"]
    assert line.replace("\u00a0", " ") == "Mill Pond Field: first base and the outer edge (10 m of its 40 m seen)."
    assert index_page([field_seen(stood(seen()))], config().tolerances, "", WORDS)["unmeasured"] == []
    few = config(tolerances={}).tolerances
    assert "No tolerance is set for: " in index_page([field_seen(stood(seen()))], few, "", WORDS)["unmeasured"][-1]


@pytest.mark.invariant
def test_a_refusal_reads_as_it_was_written():
    from pipeline.report.standing import standing
    from report.scene import LIMITS

    rows = {"survey_quality": [quality("one", "refused", "one.laz: found x near 5")], "lip": [], "low_spots": [], "zones": [zone()]}
    page = index_page([field_seen(standing("mill-pond", rows, ["one"], (), LIMITS, {}))], config().tolerances, "", WORDS)
    assert page["refused"] == ["Mill Pond Field, 7\u00a0April 2025 (one): one.laz: found x near 5"]


@pytest.mark.analytic
def test_tables_hold_signs_that_every_spreadsheet_reads():
    assert plain_text("69\u00a0mm\u00a0\u00b1\u00a04, 3\u2060\u2013\u20609 ft, \u22121, owner\u2019s \u201cx\u201d") == "69 mm +/- 4, 3-9 ft, -1, owner's \"x\""


@pytest.mark.invariant
def test_fields_that_nobody_measured_are_no_all_clear():
    from pipeline.report.standing import standing
    from report.scene import LIMITS

    rows = {"survey_quality": [quality("one", "refused", "beside its field")], "lip": [], "low_spots": [], "zones": []}
    refused = standing("mill-pond", rows, ["one"], (), LIMITS, {})
    blind = stood(seen([spot("first", None)], [station(0.5, None, None)]))

    def page(*fields, limits=config().tolerances):
        return index_page([field_seen(s, name) for name, s in fields], limits, "", WORDS)

    for none in ([], [("A", refused)], [("A", blind)], [("A", refused), ("B", blind)]):
        made = page(*none)
        assert made["unsafe"] == [] and made["unsafe_none"].startswith("No field was measured") and "no all-clear" in made["unsafe_none"]
        assert made["changed_none"] == "No field has two surveys that can be compared."
    assert page()["unmeasured_none"] == "No field was measured."
    assert "Not measured: A." in page(("A", refused), ("B", stood(seen())))["unsafe_none"]
    assert page(("B", stood(seen())))["unsafe_none"].startswith("Nothing over a trip limit was found on any field.")
    assert page(("B", stood(seen(survey="two"), seen())))["changed_none"].startswith("No change was detected")
    assert page(("B", stood(seen())), limits=config(tolerances={}).tolerances)["unsafe_none"].startswith("No trip limit is set")


@pytest.mark.invariant
def test_surveys_of_one_day_are_told_apart_by_their_ids():
    two = field_seen(stood(seen(survey="two"), seen()))
    two = replace(two, reader=replace(two.reader, shared_days=frozenset({"2026-04-07"})))
    page = index_page([two], config().tolerances, "", WORDS)
    assert page["rows"][0]["newest"].replace("\u00a0", " ") == "7 April 2026 (three)"
    assert page["changed"][0]["title"].replace("\u00a0", " ") == "Mill Pond Field, 6 October 2025 to 7 April 2026 (three)"


@pytest.mark.analytic
def test_a_thin_skin_asks_for_more_mix_than_its_low_spots():
    """13.6 t (8.7-19.5) to the least depth fill a hollow of 0.1 t on the way."""
    given = seen([spot("first", 30.0)])
    given = replace(given, rows=given.rows | {"mix_depth": [mix()]})
    assert field_seen(stood(given)).mix_t == pytest.approx((13.6, (19.5 - 8.7) / (2 * 1.96)))


@pytest.mark.invariant
@pytest.mark.parametrize("verdict, says", [(seen([spot("first", 20.0, 2.0)]), "Look at what is near its limit"), (seen([spot("first", 30.0)]), "Fill first base")])
def test_what_settles_the_verdict_comes_first(verdict, says):
    assert index_page([field_seen(stood(verdict))], config().tolerances, "Title", WORDS)["rows"][0]["next"].startswith(says)
