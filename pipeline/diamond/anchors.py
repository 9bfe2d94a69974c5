"""Drawn base anchors: which base of which base set each is, two drawn of one base, and the day each was located."""

from __future__ import annotations

import datetime as dt
from typing import Iterable

from pipeline.diamond.days import day_of
from pipeline.diamond.dimensions import base_feet
from pipeline.errors import Problem

ANCHOR = "base_anchor"
NOT_THERE = ("missing", "not_found")


def missing(props: dict) -> bool:
    """Whether somebody looked for it and did not find it."""
    return str(props.get("state", "")).strip().replace(" ", "_") in NOT_THERE


def name_of(feature, main: str | None) -> str:
    """The anchor's id: its base, with the base set's feet at its end where that is another than `main`, whether its name says so
    or its `layout`."""
    base, own = str(feature.props.get("base") or feature.name), feature.props.get("layout") or main
    suffix = f"-{base_feet(own)}" if own != main else ""
    return base if base.endswith(suffix) else base + suffix


def twice(file: str, features: Iterable, main: str | None) -> list[Problem]:
    """Two drawn anchors of one base of one base set, both of them there: nobody can tell which one the bag stands on."""
    first, out = {}, []
    for f in features:
        if f.role != ANCHOR or missing(f.props):
            continue
        name = name_of(f, main)
        if name in first:
            out.append(Problem(file, None, "base", f"base_anchor {f.name!r} for {name}, as {first[name]!r} is", "one anchor for each base of each base set",
                               "Leave the one that holds the bag; an old anchor still in the ground is drawn as a keep_out, or has another layout.", code="anchor-twice"))  # fmt: skip
        first.setdefault(name, f.name)
    return out


def ahead(file: str, features: Iterable, newest: dt.date, what: str) -> list[Problem]:
    """Things that were located on a day that has not come yet. newest: the newest day known; what: it in words."""
    out = []
    for f in features:
        day = day_of(f.props.get("located_on")) if f.props.get("located_on") else None
        if day is not None and day > newest:
            out.append(Problem(file, None, "located_on", f"{f.role} {f.name!r} on {day}", f"{what}, {newest}, or earlier", "Correct the date: a place counts as located once somebody has found it.", code="day-to-come"))
    return out


def located_fault(file: str, row: int, props: dict) -> list[Problem]:
    """A day of locating that is no date would pass for none."""
    found = props.get("located_on")
    if found in (None, "") or day_of(found) is not None:
        return []
    return [Problem(file, row, "located_on", repr(str(found)), "the day it was found by hand, like 2026-04-15", "Rewrite the date, or leave it empty.", code="not-a-day")]
