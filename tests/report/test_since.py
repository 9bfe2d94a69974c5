"""What a page says since a report that was handed on: new, gone, revised with why, nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.report.figures import plain_text
from pipeline.report.overview import hazard_rows, portfolio_row
from pipeline.report.since import Handed, Today, since_block
from pipeline.report.since_district import issued_list, since_district
from pipeline.report.since_why import MadeOf, differing
from report.scene import FIELD, TOLERANCES, WORDS, config, edge, field_seen, quality, reads, seen, spot, stood

ONE, TWO = seen([spot("second", 30.0)], edge({range(8, 14): 40.0}), survey="one"), seen([spot("second", 33.0)], edge({range(8, 14): 41.0}), survey="two")
THREE = seen([spot("second", 70.0), spot("first", 30.0, probability=0.99)], edge({range(8, 14): 62.0, range(24, 30): 34.0}))
SETTINGS = {"tolerances": {"lip_mm": {**TOLERANCES["lip_mm"], "fields": {}}}}


def made(**given) -> MadeOf:
    base = MadeOf({"inputs": {"two": [{"path": "two.laz", "sha256": "a"}]}, "settings": {}, "versions": {"numpy": "1"}}, {}, {s: quality(s) for s in ("one", "two")}, {"readings": {}, "works": {}}, SETTINGS, {"measure": "c0de"})
    return replace(base, **given)


def tables_of(*shown) -> dict:
    empty = {n: [] for n in ("mix_depth", "change", "lip_change", "low_spot_change")}
    return empty | {"survey_quality": [quality(s.survey_id) for s in shown]} | {n: [r for s in shown for r in s.rows.get(n, ())] for n in ("lip", "low_spots", "zones")}


def handed(*shown, **given) -> Handed:
    seen_field = field_seen(stood(*shown))
    return replace(Handed(3, "2026-04-10", "the board", "", "issued/0003-2026-04-10/index.html", (), tables_of(*shown), portfolio_row(seen_field), hazard_rows(seen_field, config().tolerances), made()), **given)


def today(*shown, **given) -> Today:
    seen_field = field_seen(stood(*shown))
    return replace(Today(tables_of(*shown), portfolio_row(seen_field), seen_field.now, (), made()), **given)


def block(then: Handed, now: Today) -> dict:
    return since_block(then, now, field_seen(now.stands).reader)


@pytest.mark.invariant
def test_a_run_with_nothing_changed_says_nothing_new_and_nothing_revised():
    said = block(handed(ONE, TWO), today(ONE, TWO))
    assert plain_text(said["title"]) == "Since the report of 10 April 2026 (given to the board)" and said["quiet"] == ["Nothing new.", "Nothing revised."]
    assert not (said["new"] or said["gone"] or said["rows"] or said["small"] or said["altered"]) and since_block(None, today(ONE, TWO), field_seen(stood(TWO)).reader) == {}


@pytest.mark.invariant
def test_a_new_survey_is_new_and_revises_nothing():
    works = reads("works", {"work_id": "w9", "field_id": FIELD, "done_on": "2026-03-01", "work": "lip_cut"})
    said = block(handed(ONE, TWO), today(ONE, TWO, THREE, works=works, made_of=made(rows={"readings": {}, "works": {"w9": {"done_on": "2026-03-01"}}})))
    text = plain_text(" ".join(said["new"]))
    assert said["rows"] == [] and said["quiet"] == ["Nothing revised."] and "New survey: 7 April 2026 (three)." in text and "is now \"Unsafe\"" in text
    assert "New unsafe place: Second base is" in text and "Newly over the low-spot tolerance: first base" in text and "Work: 1 March 2026" in text and "Lip over the tolerance along" in text


@pytest.mark.analytic
@pytest.mark.parametrize("later, said", [
    ([spot("second", 4.0, probability=0.01)], "No longer over the low-spot tolerance: second base."), ([], "the newest survey neither shows it gone nor surely there: second base."),
    ([spot("second", 20.0, probability=0.5)], "the newest survey neither shows it gone nor surely there: second base."),
    ([spot("second", None, probability=None)], "the newest survey neither shows it gone nor surely there: second base."), ([spot("second", 33.0, probability=0.99)], ""),
])  # fmt: skip
def test_a_low_spot_is_no_longer_over_only_where_a_survey_says_so(later, said):
    then = handed(ONE, seen([spot("second", 33.0, survey="two", probability=0.99)], edge(survey="two"), survey="two"))
    text = plain_text(" ".join(block(then, today(ONE, TWO, seen(later, edge())))["new"]))
    assert said in text and ("low-spot tolerance" in text) == bool(said)


@pytest.mark.invariant
def test_an_older_survey_that_comes_late_changes_nothing_of_how_the_field_stands():
    low = [spot("second", 33.0, survey="two", probability=0.99)]
    then = handed(seen([], edge(survey="two"), survey="two"))
    said = block(then, today(ONE, seen(low, edge({range(8, 14): 41.0}, survey="two"), survey="two")))
    assert [plain_text(line) for line in said["new"]] == ["New survey: 7 April 2025 (one)."] and {plain_text(r[1]) for r in said["rows"]} == {"6 October 2025"}


@pytest.mark.invariant
def test_against_a_kept_report_whose_tables_are_lost_nothing_is_held():
    lost = handed(ONE, TWO, altered=("a.csv",), unread=("a.csv",))
    said = block(lost, today(ONE, TWO, THREE))
    assert said["quiet"] == ["Nothing can be held against the kept report number 3: these tables of it are gone or cannot be read any more: a.csv."] and not (said["new"] or said["rows"]) and "is held" not in said["altered"]
    fields = [field_seen(stood(ONE, TWO, THREE))]
    told = since_district({FIELD: lost}, lost, fields, {FIELD: portfolio_row(fields[0])}, {FIELD: made()}, WORDS)
    assert len(told["new"]) == 1 and "nothing can be held against that report" in told["new"][0] and not told["rows"]


@pytest.mark.analytic
@pytest.mark.parametrize("now, why", [
    (made(rows={"readings": {"r7": {"kind": "lip_rise"}}, "works": {}}), "readings added: r7"),
    (made(provenance={"inputs": {"two": [{"path": "two.laz", "sha256": "b"}]}, "settings": {}, "versions": {"numpy": "1"}}), "another file stands behind two"),
    (made(quality={"one": quality("one"), "two": {**quality("two"), "tie_shift_mm": 31.0}}), "two was tied to stable ground anew"),
    (made(provenance={"versions": {"numpy": "2"}}), "made with other versions: numpy 1"), (made(code={"measure": "0ther"}), "the program that makes it changed (measure)"), (made(), "not known"),
])  # fmt: skip
def test_a_figure_that_is_otherwise_now_is_marked_with_what_it_was_and_why(now, why):
    lower = seen([spot("second", 33.0)], edge({range(8, 14): 31.0}), survey="two")
    said = block(handed(ONE, TWO), today(ONE, lower, made_of=now))
    row = next(r for r in said["rows"] if "Highest lip of all edges" in r[0])
    cells = [plain_text(c) for c in row]
    assert cells[1:4] == ["6 October 2025", "1.22 in", "revised from 1.61 in"]  # 31 and 41 mm over 25.4
    lip = next(r for r in said["rows"] if r[0].startswith("Highest lip along the outer"))
    assert why in cells[4] and why in lip[4]


@pytest.mark.analytic
def test_a_tolerance_that_moved_revises_the_fields_word_on_the_same_survey():
    now = today(ONE, TWO, made_of=made(settings={"tolerances": {"lip_mm": {**SETTINGS["tolerances"]["lip_mm"], "value": 60.0}}}))
    said = block(handed(ONE, TWO), replace(now, field=now.field | {"verdict": "watch", "lip_over_tolerance_m": 0.0}))
    assert [plain_text(r[3]) for r in said["rows"]] == ["revised from Work", "revised from 20 ft"] and all("was 25, is 60" in r[4] for r in said["rows"])


@pytest.mark.invariant
def test_a_survey_that_was_refused_or_is_gone_is_said_and_its_figures_are_no_revision():
    refused = today(ONE, TWO)
    refused.tables["survey_quality"][1] = quality("two", "refused", "Too little stable ground.")
    said = block(handed(ONE, TWO), refused)
    assert "is refused now, 6 October 2025 (two): Too little stable ground." in plain_text(said["gone"][0]) and not [r for r in said["rows"] if "October" in r[1]]
    assert "no longer in the tables: 6 October 2025 (two)" in plain_text(block(handed(ONE, TWO), today(ONE))["gone"][0])


@pytest.mark.invariant
def test_a_kept_report_that_was_altered_is_named_and_a_small_move_is_counted():
    hair = seen([spot("second", 33.12)], edge({range(8, 14): 41.0}), survey="two")
    said = block(handed(ONE, TWO, altered=("fields/mill-pond/lip.csv",)), today(ONE, hair))
    assert "number 3 is no longer as it was handed on: fields/mill-pond/lip.csv" in said["altered"] and said["rows"] == [] and said["small"] == "One figure moved by less than is printed."


@pytest.mark.invariant
def test_hazards_that_closed_or_that_nothing_shows_any_more():
    then = handed(ONE, THREE)
    closed = replace(field_seen(stood(ONE, THREE, walks=({"action": "repaired"},))))
    said = plain_text(" ".join(block(then, today(ONE, THREE, stands=closed.now))["new"]))
    assert "Second base: no longer open as unsafe (repaired, 9 April 2026)." in said
    said = plain_text(" ".join(block(then, today(ONE))["new"]))
    assert "is no longer shown by anything: walk it" in said


@pytest.mark.invariant
def test_over_all_fields_only_the_one_that_changed_is_told():
    fields = [field_seen(stood(ONE, TWO)), field_seen(stood(ONE, TWO), "Other Field")]
    fields[1] = replace(fields[1], field_id="other")
    then = {f.field_id: handed(ONE, TWO) for f in fields}
    rows = {f.field_id: portfolio_row(f) for f in fields}
    said = lambda rows: since_district(then, then[FIELD], fields, rows, {f: made() for f in then}, WORDS)
    assert said(rows)["quiet"] == ["Nothing new.", "Nothing revised."]
    rows["other"] = rows["other"] | {"lip_max_mm": 31.0}
    assert [plain_text(r[0] + r[3]) for r in said(rows)["rows"]] == ["Other Field: Highest lip of all edgesrevised from 1.61 in"]
    rows["other"] = portfolio_row(field_seen(stood(ONE, TWO, THREE)))
    fields[1] = replace(field_seen(stood(ONE, TWO, THREE), "Other Field"), field_id="other")
    assert "its word is \"Unsafe\", then it was \"Work\"" in plain_text(" ".join(said(rows)["new"])) and since_district({}, None, fields, rows, {}, WORDS) == {}


@pytest.mark.invariant
def test_settings_are_compared_by_value_and_who_set_them_when_counts_for_nothing():
    before = {"tolerances": {"lip_mm": {"value": 25.0, "set_by": "a", "fields": {}}, "low_spot_mm": None}}
    assert differing(before, {"tolerances": {"lip_mm": {"value": 25, "set_by": "b", "fields": {}}, "low_spot_mm": None}}) == []
    assert differing(before, {"tolerances": {"lip_mm": {"value": 30.0, "set_by": "a", "fields": {}}, "low_spot_mm": None}}) == [("tolerances.lip_mm", 25.0, 30.0)]


@pytest.mark.invariant
def test_the_list_of_what_was_handed_on_is_newest_first():
    one = {"on": "2026-04-10", "to": "", "note": "", "links": [("all fields", "x")], "altered": []}
    found = issued_list([{"number": 1, **one}, {"number": 2, **one, "altered": ["index.html"]}], WORDS)
    assert [r["number"] for r in found["rows"]] == [2, 1] and found["rows"][0]["state"] == "altered since: index.html" and issued_list([], WORDS) == {}
