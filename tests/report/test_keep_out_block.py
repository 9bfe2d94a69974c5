"""The sheet of what lies in the ground, as a reader gets it."""

from __future__ import annotations

import pytest

from pipeline.report.keep_out_block import keep_out_block
from report.scene import sayer

TAPES = {"first": "home-plate", "first_m": 18.288, "second": "pitchers-plate", "second_m": 13.0, "sigma_m": 0.06, "crossing_deg": 45.0, "left": False}


def item(**over) -> dict:
    return {"kind": "base_anchor", "name": "first", "end": "", "e": 0.0, "n": 0.0, "free_m": 0.6, "found": False, "computed": True, "located_on": "", "located_by": "",
            "ahead": False, "tapes": TAPES} | over  # fmt: skip


def plain(cells: list[str]) -> list[str]:
    return [c.replace("\u00a0", " ") for c in cells]


@pytest.mark.analytic
def test_a_row_reads_as_a_tape_is_read():
    us, metric = (plain(keep_out_block([item()], sayer(units))["rows"][0]) for units in ("us", "metric"))
    assert us[1] == "60 ft 0 in from the rear point of home plate (± 5 in)" and us[2].endswith("from the middle of the pitcher’s plate, on the right")
    assert us[3] == "24 in" and us[4] == "no: worked out from the layout"
    assert metric[1].startswith("18.29 m from") and metric[3] == "0.60 m"


@pytest.mark.analytic
def test_what_was_found_says_when_and_by_whom_and_an_old_find_is_not_this_seasons():
    rows = [item(found=True, located_on="2026-03-20", located_by="A. Person"), item(name="third", located_on="2024-05-01"), item(name="second", computed=False), item(kind="cable", name="lights", end="bend 2", tapes=None)]
    made = keep_out_block(rows, sayer())
    assert [plain(r)[4] for r in made["rows"][:3]] == ["20 March 2026, A. Person", "not this season (last 1 May 2024)", "no: drawn, nobody says when it was found"]
    assert made["lead"].startswith("3 of 4 places are not found") and "probe" in made["rows"][3][1] and made["rows"][3][0] == "K4 cable lights, bend 2"
    ahead = keep_out_block([item(located_on="2026-12-05", ahead=True)], sayer())
    assert plain(ahead["rows"][0])[4] == "not yet: 5 December 2026 is later than any survey or work in the tables; enter that day’s work"
    assert "found by hand this season" in keep_out_block(rows[:1], sayer())["lead"]


@pytest.mark.invariant
def test_nothing_in_the_ground_makes_no_table():
    assert keep_out_block([], sayer()) == {}
