"""What no blade may touch: each thing with two tapes, how far to stay off, and whether somebody found it this season."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.report.field_map import KEY
from pipeline.report.figures import NBSP, PLUS_MINUS, Z95, Unit, figure, printed
from pipeline.report.placing import place_words
from pipeline.report.saying import Sayer
from pipeline.units import INCH_M
from pipeline.works.keep_outs import ANCHOR, PLATE

MARKS = ("home-plate", "pitchers-plate")


def keep_out_block(rows: Sequence[Mapping], sayer: Sayer) -> dict:
    """A table, nearest kinds first, and the sentences around it; empty where nothing is known to lie in the ground."""
    if not rows:
        return {}
    words = sayer.words
    return {
        "lead": lost_words(rows, sayer),
        "heads": [words(f"keep_head_{k}") for k in ("what", "one", "other", "free", "found")],
        "rows": [[f"{KEY}{k} {cells[0]}", *cells[1:]] for k, cells in enumerate((thing_cells(r, sayer) for r in rows), start=1)],
    }  # fmt: skip


def thing_cells(row: Mapping, sayer: Sayer) -> list[str]:
    """What it is, two tapes, how far to keep off, when it was found."""
    return [name_words(row, sayer), *tape_words(row, sayer), figure(row["free_m"], None, short_unit(sayer)), found_words(row, sayer)]


def lost_words(rows: Sequence[Mapping], sayer: Sayer) -> str:
    """How many things are still to be found, in a sentence."""
    lost, of = lost_of(rows)
    return sayer.words.count("keep_lost", lost, of=of) if lost else sayer.words("keep_all_found")


def lost_of(rows: Sequence[Mapping]) -> tuple[int, int]:
    """How many things are not found this season, of how many: ends and bends of one cable, corners of one area are one thing, found
    where all of it is."""
    found: dict[tuple[str, str], bool] = {}
    for r in rows:
        found[r["kind"], r["name"]] = found.get((r["kind"], r["name"]), True) and r["found"]
    return sum(not f for f in found.values()), len(found)


def short_unit(sayer: Sayer) -> Unit:
    """Small distances in inches or metres."""
    return Unit("in", INCH_M, 0) if sayer.units.system == "us" else Unit("m", 1.0, 2)


def tape(metres: float, sayer: Sayer) -> str:
    """'63 ft 8 in' or '19.40 m': as a tape is read."""
    if sayer.units.system != "us":
        return f"{printed(metres, 2)}{NBSP}m"
    inches = round(metres / INCH_M)
    return f"{inches // 12}{NBSP}ft{NBSP}{inches % 12}{NBSP}in"


def name_words(row: Mapping, sayer: Sayer) -> str:
    words = sayer.words
    named = place_words(words, row["name"]) if row["kind"] == ANCHOR else row["name"].replace("-", " ")
    if row["kind"] == PLATE and row["name"] in MARKS:
        named = words(f"keep_plate_{row['name'].replace('-', '_')}")
    return words(f"keep_kind_{row['kind']}", name=named) + (f", {_end(row['end'], sayer)}" if row["end"] else "")


def _end(end: str, sayer: Sayer) -> str:
    """Which end or bend of a cable, or corner of an area, is taped."""
    if end.startswith("corner"):
        return sayer.words("keep_end_corner", number=end.removeprefix("corner "))
    if end.startswith("bend"):
        return sayer.words("keep_end_bend", number=end.removeprefix("bend "))
    return sayer.words("keep_end_one" if end == "one end" else "keep_end_other")


def tape_words(row: Mapping, sayer: Sayer) -> list[str]:
    t = row["tapes"]
    if t is None:
        return [sayer.words("keep_no_tape"), ""]
    half = figure(Z95 * t["sigma_m"], None, short_unit(sayer))
    hand = sayer.words("keep_left" if t["left"] else "keep_right")
    one, other = (f"{tape(t[f'{k}_m'], sayer)} {sayer.words('keep_from', mark=_mark(t[k], sayer))}" for k in ("first", "second"))
    return [f"{one} ({PLUS_MINUS}{NBSP}{half})", f"{other}, {hand}"]


def _mark(name: str, sayer: Sayer) -> str:
    if name.startswith(f"{ANCHOR} "):
        return sayer.words("keep_mark_anchor", place=sayer.placing.place(name.removeprefix(f"{ANCHOR} ")))
    return sayer.words(f"keep_mark_{name.replace('-', '_')}") if name in MARKS else sayer.words("keep_mark_slab", name=name.replace("-", " "))


def found_words(row: Mapping, sayer: Sayer) -> str:
    words = sayer.words
    if row["found"]:
        by = f", {row['located_by']}" if row["located_by"] else ""
        return words.date(row["located_on"]) + by
    if row["located_on"]:
        return words("keep_ahead" if row["ahead"] else "keep_old", day=words.date(row["located_on"]))
    return words("keep_computed" if row["computed"] else "keep_drawn")
