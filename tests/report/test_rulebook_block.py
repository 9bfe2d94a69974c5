"""The rulebook check on the page: order, words, what is collapsed, what becomes something to do."""

from __future__ import annotations

import pytest
from report.scene import WORDS, book, given, rule, sayer, seen, stood, tables

from pipeline.report.field_page import field_page
from pipeline.report.figures import METRIC, US, reach
from pipeline.report.rulebook_block import item_words, rule_task, rulebook_block

NOW, SAYER = stood(seen()), sayer("us")
LOW = rule("mound-height", 190.0, 8.0, 254.0, 25.0, "outside")
OFF = rule("third-home", 18354.0, 9.0, 18288.0, 25.0, "outside", "home plate as the table gives it", layout="softball-60")


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def block(rows, units: str = "us", relative: bool = False) -> dict:
    return rulebook_block(rows, NOW, sayer(units), "softball-55", relative)


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("mm", "sigma", "us", "metric"),
    [
        (27432.0, None, "90 ft", "27.432 m"), (38795.3, None, "127 ft 3.37 in", "38.795 m"),  # 127 ft 3-3/8 in: Official Baseball Rules 2.01
        (18440.4, 7.0, "60 ft 6.0 in \u00b1 0.5", "18.440 m \u00b1 0.014"), (304.7, None, "1 ft", "0.305 m"), (16764.0, 14.0, "55 ft 0.0 in \u00b1 1.1", "16.764 m \u00b1 0.027"),
    ],
)  # fmt: skip
def test_distances_are_printed_as_a_tape_reads_them(mm, sigma, us, metric):
    assert plain(reach(mm, sigma, US)) == us
    assert plain(reach(mm, sigma, METRIC)) == metric


@pytest.mark.invariant
def test_outside_comes_first_and_what_is_only_told_last():
    rows = block([*book(), OFF, LOW])["rows"]
    said = [r[3].split(";")[0].split(":")[0] for r in rows]
    assert said == ["outside", "outside", "cannot tell", "within", "told, not judged", "told, not judged"]
    assert plain(rows[0][0]) == "Third base to home plate (60 ft bases)" and "home plate as the table gives it" in rows[0][3]
    assert plain(rows[1][1]) == "7.5 in \u00b1 0.6" and plain(rows[1][2]).startswith("10 in, \u00b1 ") and rows[1][4] == "a book of Nowhere"


@pytest.mark.invariant
def test_what_is_not_seen_is_one_line_a_tool_and_says_how_to_check():
    found = block(book())
    assert found["summary"] == "Against the rulebook: 0 outside, 1 within, 3 not settled, 2 not seen"
    assert [("tape" in line, "level" in line) for line in found["by_hand"]] == [(True, False), (False, True)]
    assert "first to second base" in found["by_hand"][0] and "mound’s table over home plate" in found["by_hand"][1]
    assert "base_line_pct" in found["unset"]


@pytest.mark.analytic
def test_a_fall_is_told_in_per_cent_too():
    row = next(r for r in block(book(), "metric")["rows"] if r[0].startswith("Rise"))
    assert plain(row[1]) == "\u221295 mm \u00b1 18 (\u22120.57 % \u00b1 0.11)"  # 95 mm over 55 ft


@pytest.mark.analytic
def test_where_an_arc_s_centre_lies_is_told_in_the_reader_s_units():
    us, metric = ([r for r in block(book(), units)["rows"] if r[0].startswith("Arc")][0] for units in ("us", "metric"))
    assert plain(us[3]) == "told, not judged; 4.80 in beyond the front of the pitcher’s plate"
    assert plain(metric[3]) == "told, not judged; 122 mm beyond the front of the pitcher’s plate"
    agreeing = rule("arc-centre-from-home", 10668.0, 40.0, None, None, "cannot_tell", "agrees with front of the pitcher's plate or back edge of the pitcher's plate")
    assert "agrees with the front of the pitcher’s plate and the back edge" in block([agreeing])["rows"][0][3]


@pytest.mark.invariant
def test_what_is_outside_is_to_be_checked_by_hand_and_never_unsafe():
    (task,) = rule_task([*book(), OFF, LOW], NOW, SAYER, "softball-55")
    assert not task.unsafe and not task.findings
    assert "third base to home plate (60 ft bases)" in plain(task.title) and "before you move anything" in " ".join(task.lines)
    assert any("tape it by hand" in line.lower() for line in task.lines) and any("string level" in line for line in task.lines)
    assert rule_task(book(), NOW, SAYER, "softball-55") == []
    (many,) = rule_task([*book(), *(rule(f"fall-{s}", 300.0, 9.0, 0.0, 90.0, "outside") for s in ("home-first", "first-second", "second-third", "third-home"))], NOW, SAYER, "softball-55")
    assert "4 things" in many.title


@pytest.mark.invariant
def test_an_outside_item_changes_no_verdict_of_the_field():
    before, after = (field_page(given(tables=tables(rulebook=rows)), WORDS) for rows in (book(), [*book(), LOW]))
    assert before["head"]["verdict"] == after["head"]["verdict"] and before["unsafe"] == after["unsafe"]
    assert len(after["next"]["items"]) == len(before["next"]["items"]) + 1 and not after["next"]["items"][-1]["unsafe"]


@pytest.mark.invariant
def test_a_relative_survey_says_what_it_does_not_carry_and_another_survey_s_items_stay_out():
    assert "rose or sank" in block(book(), relative=True)["relative"] and block(book())["relative"] == ""
    assert block([rule("home-first", 1.0, 1.0, 1.0, 1.0, "within", survey="two")]) == {}
    assert item_words(LOW, SAYER, "softball-55") == "mound’s table over home plate"
