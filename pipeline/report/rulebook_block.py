"""The rulebook check on a field's page: what lies outside first, what no survey sees in one line, whose rule each is."""

from __future__ import annotations

import re
from typing import Sequence

from pipeline.diamond.dimensions import LAYOUTS, base_feet
from pipeline.report.figures import NBSP, PLUS_MINUS, Z95, figure, limit, reach, rounded
from pipeline.report.saying import FEW, Sayer
from pipeline.report.standing import Standing
from pipeline.report.todo import Task
from pipeline.report.words import opened
from pipeline.surface.rulebook import HEIGHTS, ORDER, by_slope
from pipeline.surface.rulebook_bases import DRAWN, GIVEN
from pipeline.surface.rulebook_item import CANNOT_TELL, NOT_SEEN, OUTSIDE, WITHIN
from pipeline.surface.rulebook_rules import DIAGONALS, PRACTICES, SIDES
from pipeline.units import FOOT_M, MM_PER_M

LONG = {*SIDES, *DIAGONALS, "pitching-distance", "mound-diameter", "mound-centre-from-home", "arc-radius", "arc-centre-from-home", "home-circle-radius"}
BY_TAPE = LONG | {"mound-centre-aside", "arc-centre-aside"}
UNSIGNED = HEIGHTS - {"mound-table-tilt-across", "mound-table-tilt-along", "landing-wear"}
# Remarks of the table that a reader of the page can use; the rest repeats what the columns say.
NOTES = {"by tape": "tape", f"from {GIVEN}": "table", "home plate as": "home", DRAWN: "drawn", "the plate's cells": "dirt"}
PLACES = dict(zip(PRACTICES, ("front", "centre", "back")))  # where an arc's centre is set in practice
AWAY = re.compile(r"([\d.]+) ft (beyond|short) (?:of )?the (.+)")


def rulebook_block(rows: Sequence[dict], now: Standing, sayer: Sayer, main: str | None, relative: bool) -> dict:
    """The newest survey's items as a table and lines; empty where the field has no layout or no survey can be used.

    rows     : rulebook.csv of the field
    main     : the field's layout; another base set is named by its feet
    relative : the newest survey carries shapes only
    """
    mine = newest_items(rows, now)
    if not mine:
        return {}
    words = sayer.words
    counts = {v: sum(r["verdict"] == v for r in mine) for v in (OUTSIDE, WITHIN, CANNOT_TELL, NOT_SEEN)}
    seen = sorted((r for r in mine if r["verdict"] != NOT_SEEN), key=_rank)
    missing = [r for r in mine if r["verdict"] == NOT_SEEN]
    by_hand = [(words(key), [r for r in missing if (r["item"] in BY_TAPE) == tape]) for key, tape in (("rule_by_tape", True), ("rule_by_level", False))]
    unset = sorted({r["reason"].removeprefix("no tolerance: ").split(";")[0] for r in mine if (r["reason"] or "").startswith("no tolerance: ")})
    return {
        "summary": words("rule_summary", **counts), "outside": counts[OUTSIDE], "relative": words("rule_relative") if relative else "",
        "rows": [(opened(item_words(r, sayer, main)), measured(r, sayer), _rule(r, sayer), _verdict(r, sayer), sayer.words.told(r["rule_source"] or "")) for r in seen],
        "by_hand": [words("rule_not_seen", how=how, items=words.listed(item_words(r, sayer, main) for r in found)) for how, found in by_hand if found],
        "unset": words("rule_unset", names=words.listed(unset)) if unset else "",
    }  # fmt: skip


def newest_items(rows: Sequence[dict], now: Standing) -> list[dict]:
    """The newest survey's items in the check's own order, the main base set first."""
    if now.newest is None:
        return []
    mine = [r for r in rows if r["survey_id"] == now.newest.survey_id]
    return sorted(mine, key=lambda r: (ORDER.index(r["item"]), r["layout"]))


def rule_task(rows: Sequence[dict], now: Standing, sayer: Sayer, main: str | None) -> list[Task]:
    """What lies outside, as one thing to check by hand; never unsafe: a rulebook says how to play, not what trips."""
    out = [r for r in newest_items(rows, now) if r["verdict"] == OUTSIDE]
    if not out:
        return []
    words = sayer.words
    names = [item_words(r, sayer, main) for r in out]
    title = words("do_rules", items=words.listed(names)) if len(out) <= FEW else words("do_rules_many", number=len(out))
    lines = [opened(words("rule_line", item=n, measured=measured(r, sayer), rule=_rule(r, sayer), source=words.told(r["rule_source"]))) for n, r in zip(names, out)]
    tools = [words(key) for key, tape in (("rule_tape_how", True), ("rule_level_how", False)) if any((r["item"] in BY_TAPE) == tape for r in out)]
    return [Task((), opened(title), (*lines, *tools))]


def item_words(row: dict, sayer: Sayer, main: str | None) -> str:
    """'third base to home plate (60 ft bases)'."""
    said = sayer.words(f"item_{row['item']}")
    return said if row["layout"] == main else sayer.words("of_base_set", place=said, feet=base_feet(row["layout"]))


def measured(row: dict, sayer: Sayer) -> str:
    """The figure with its 95 % range; a fall also in %, which is how its limit is set."""
    value, sigma, item = row["measured_mm"], row["sigma_mm"], row["item"]
    if value is None:
        return ""
    if item in LONG:
        return reach(value, sigma, sayer.units)
    said = figure(value, sigma, sayer.units.height, signed=item not in UNSIGNED)
    if not item.startswith("fall-") or sigma is None:
        return said
    side = LAYOUTS[row["layout"]].base_m * 10.0  # mm in one percent
    text, half = rounded(value / side, Z95 * sigma / side, 2, signed=True)
    return f"{said} ({text}{NBSP}%{NBSP}{PLUS_MINUS}{NBSP}{half})"


def _rule(row: dict, sayer: Sayer) -> str:
    """'10 in, put up with: 1 in'."""
    if row["rule_mm"] is None:
        return sayer.words("rule_none")
    asked = reach(row["rule_mm"], None, sayer.units) if row["item"] in LONG else _height(row["rule_mm"], sayer)
    if row["tolerance_mm"] is None:
        return asked
    owned = sayer.tolerances.base_line_pct
    slope = by_slope(row["item"], row["layout"]) and owned is not None
    room = f"{owned.of(sayer.placing.layout.field_id):g}{NBSP}%" if slope else limit(row["tolerance_mm"], sayer.units.height)
    return sayer.words("rule_and_room", rule=asked, room=f"{PLUS_MINUS}{NBSP}{room}")


def _height(mm: float, sayer: Sayer) -> str:
    return limit(mm, sayer.units.height) if mm else sayer.words("rule_zero")


def _verdict(row: dict, sayer: Sayer) -> str:
    words = sayer.words
    if row["verdict"] == CANNOT_TELL:
        said = words("rule_told") if row["rule_mm"] is None or row["tolerance_mm"] is None else words("rule_cannot_tell")
    else:
        said = words(f"rule_{row['verdict']}")
    return "; ".join([said, *filter(None, (_note(part, sayer) for part in _remarks(row["reason"] or "")))])


def _remarks(reason: str) -> list[str]:
    """The parts of a reason; the names of practices hold no semicolon."""
    return [p.strip() for p in reason.split("; ")]


def _note(remark: str, sayer: Sayer) -> str:
    """A remark in the page's own words and units, empty where the columns say it already."""
    words = sayer.words
    key = next((k for start, k in NOTES.items() if remark.startswith(start)), None)
    if key is not None:
        return words(f"rule_note_{key}")
    if remark.startswith("agrees with "):
        return words("rule_agrees", place=words.listed(words(f"practice_{PLACES[p]}") for p in remark.removeprefix("agrees with ").split(" or ")))
    found = AWAY.fullmatch(remark)
    if found is None:
        return ""
    away = sayer.height(float(found[1]) * FOOT_M * MM_PER_M)
    return words("rule_beyond" if found[2] == "beyond" else "rule_short", away=away, place=words(f"practice_{PLACES[found[3]]}"))


def _rank(row: dict) -> int:
    """Outside, then what a limit could not settle, then within, then what is told and not judged."""
    if row["verdict"] == CANNOT_TELL:
        return 3 if row["rule_mm"] is None or row["tolerance_mm"] is None else 1
    return {OUTSIDE: 0, WITHIN: 2}[row["verdict"]]
