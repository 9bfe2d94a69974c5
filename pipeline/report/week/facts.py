"""What the crew has to know of one field before it begins, in short lines: hazards, bearing, bases, keep-outs, mix, moisture."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import groupby
from math import isfinite
from typing import Mapping, Sequence

from pipeline.diamond.dimensions import base_feet
from pipeline.plan.season_days import WEEK
from pipeline.report.figures import Z95, figure, printed
from pipeline.report.keep_out_block import lost_of, name_words
from pipeline.report.papers.work_tables import chosen_row
from pipeline.report.placing import compass, place_words
from pipeline.report.saying import Sayer
from pipeline.report.todo import fill_sigma
from pipeline.report.standing import over_tolerance
from pipeline.report.unsafe_block import first_act
from pipeline.report.week.field_week import FieldWeek
from pipeline.report.words import Words, opened
from pipeline.surface.verdict import WORK
from pipeline.tables import MOISTURES
from pipeline.works.keep_outs import ANCHOR
from pipeline.works.moisture import ALLOWED, JUDGED, WET_FIRST, possible

WHOLE, ACROSS = "whole_skin", "across_low_spots"
REMEMBERED = 2  # bearings before this one that are named
MOST_KEPT_OFF = 4  # things in the ground that are named; the others are counted
LEAST_T = 0.05  # less mix than a barrow of it is not brought
WITH_MIX = ("level", "mix_add")


def hazard_lines(field: FieldWeek) -> list[str]:
    """Open hazards, worst first, then what is to be done about them at once."""
    now = field.seen.now
    return [field.seen.reader.open_hazard(h, now) for h in now.open] + ([first_act(now, field.seen.reader.words)] if now.open else [])


def next_run(field: FieldWeek, purpose: str = WHOLE) -> Mapping | None:
    """The first run of the next covering; None where none is worked out."""
    found = field.designs.get("passes") or {}
    return next((r for r in found.get("runs", ()) if r["purpose"] == purpose), None)


def run_of(field: FieldWeek, task: str) -> Mapping | None:
    """The run that a work begins with: to level, across the low spots where there are any."""
    return (next_run(field, ACROSS) if task == "level" else None) or next_run(field)


def bearing_lines(field: FieldWeek) -> list[str]:
    """Where to begin and which way to drive: over the whole skin, and across low spots where they are to be levelled."""
    reader, run = field.seen.reader, next_run(field)
    words = reader.words
    if run is None:
        why = words.told((field.designs.get("passes") or {}).get("reason") or "") or words("week_run_untold")
        return [words("week_run_none", why=why)]
    out = [_run("week_run", run, reader)]
    across = next_run(field, ACROSS)
    return out + ([_run("week_run_across", across, reader)] if across is not None else [])


def _run(key: str, run: Mapping, reader: Sayer) -> str:
    words, (e0, n0), (e1, n1) = reader.words, run["line"][0], run["line"][-1]
    corner = words(f"runs_entry_{run['entry']}") if run["entry"] else words("runs_entry_any")
    return opened(words(key, corner=corner, way=words(f"compass_{compass(e1 - e0, n1 - n0)}"), bearing=f"{printed(run['bearing_deg'], 0)}°", start=reader.placing.at(e0, n0)))


def last_line(field: FieldWeek) -> str:
    """The last two runs on record, newest first."""
    words, said = field.seen.reader.words, []
    for w in field.runs[:REMEMBERED]:
        bearing, corner = w.get("bearing_deg"), w.get("entry")
        told = [f"{printed(bearing, 0)}°" if bearing is not None else words("week_no_bearing")] + ([words("week_from", corner=words(f"runs_entry_{corner}"))] if corner else [])
        said.append(words("week_last_one", what=", ".join(told), day=words.date(w["done_on"])))
    return words("week_last", runs="; ".join(said)) if said else words("week_last_none")


def gap_line(field: FieldWeek, monday: dt.date, quiet_weeks: int) -> str:
    """What nobody wrote down, where that makes the bearing a guess; else empty."""
    words, runs = field.seen.reader.words, field.runs
    if not runs:
        return words("week_gap_never")
    last = runs[0].get("ended_on") or runs[0]["done_on"]
    return words("week_gap", day=words.date(last)) if monday - last > quiet_weeks * WEEK else ""


def bases_line(field: FieldWeek, monday: dt.date, words: Words) -> str:
    """Which base set is played on in a week, by the games; empty where nobody said any layout."""
    if not field.main:
        return ""
    if not field.other:
        return opened(words("week_bases_one", bases=_bases(field.main, words))) + "."
    mine = sorted((g for g in field.games if g.get("layout")), key=lambda g: (g["on"], g["starts"]))
    now = [g for g in mine if monday <= g["on"] < monday + WEEK]
    before = next((g["layout"] for g in reversed(mine) if g["on"] < monday), "")
    if not now:
        return words("week_bases_before", bases=_bases(before, words)) if before else words("week_bases_unknown", one=_bases(field.main, words), other=_bases(field.other, words))
    turns = [next(games) for _, games in groupby(now, key=lambda g: g["layout"])]
    named = [words("week_bases_from", bases=_bases(g["layout"], words), day=weekday(g["on"], words), time=f"{g['starts']:%H:%M}") for g in turns]
    return opened("; ".join(named)) + "." + (" " + words("week_bases_stand", bases=_bases(before, words)) if before and before != turns[0]["layout"] else "")


def _bases(layout: str, words: Words) -> str:
    return words("day_base", feet=base_feet(layout))


def weekday(day: dt.date, words: Words) -> str:
    """'Monday 13 April'."""
    return words("week_weekday", name=words(f"week_day_{day.weekday()}"), day=day.day, month=words(f"month_{day.month}"))


def keep_line(field: FieldWeek) -> str:
    """What lies in the ground: how much of it, and what of it nobody found this season; with tapes it stands on the keep-out sheet."""
    rows, words = field.designs.get("keep_outs") or (), field.seen.reader.words
    if not rows:
        return words("week_keep_none")
    lost, of = lost_of(rows)
    if not lost:
        return words.count("week_keep_found", of)
    names = list(dict.fromkeys(_named(r, field.seen.reader) for r in rows if not r["found"]))
    shown = names if len(names) <= MOST_KEPT_OFF + 1 else names[:MOST_KEPT_OFF]
    more = words.count("week_keep_more", len(names) - len(shown)) if len(shown) < len(names) else ""
    return words.count("week_keep_lost", lost, of=of, names="; ".join(shown) + more)


def _named(row: Mapping, reader: Sayer) -> str:
    if row["kind"] == ANCHOR:
        return reader.words("week_anchor", place=place_words(reader.words, row["name"]))
    return name_words({**row, "end": ""}, reader)


def mix_line(field: FieldWeek, task: str) -> str:
    """Mix to bring for a work; empty for works that take none."""
    if task not in WITH_MIX:
        return ""
    reader, found = field.seen.reader, _mix(field, task)
    words, units = reader.words, reader.units
    if found is None:
        return words("week_mix_untold")
    tonnes, sigma = found
    if tonnes < LEAST_T:
        return words("week_mix_none")
    loose = field.seen.material.of("loose_t_per_m3")
    unit = replace(units.mass, name=words("week_short_tons" if units.system == "us" else "week_tonnes"))  # a bare ton can be two things
    mass = figure(tonnes, sigma, unit)
    return words("week_mix_loose", mass=mass, volume=figure(tonnes / loose, None, units.volume)) if loose else words("week_mix", mass=mass)


def _mix(field: FieldWeek, task: str) -> tuple[float, float | None] | None:
    """Tonnes and one s.d.: to add, as the survey asks; to level, as the design fills, else as the low spots take."""
    newest = field.seen.now.newest
    if task == "mix_add":
        skin = next((r for r in newest.rows.get("mix_depth", ()) if r["zone"] == "skin" and r["verdict"] == WORK and r["tonnes"] is not None), None) if newest is not None else None
        return None if skin is None else (skin["tonnes"], (skin["tonnes_high95"] - skin["tonnes_low95"]) / (2 * Z95))
    row = chosen_row(field.designs)
    if row is not None and row["mix_tonnes"] is not None and isfinite(row["mix_tonnes"]):
        return row["mix_tonnes"], (row["mix_high95_t"] - row["mix_low95_t"]) / (2 * Z95)
    spots = [f.row for f in over_tolerance(newest)] if newest is not None else []
    known = [r for r in spots if r["fill_tonnes"] is not None]
    return None if not known or len(known) < len(spots) else (sum(r["fill_tonnes"] for r in known), sum(fill_sigma(r) or 0.0 for r in known))


def handful_line(tasks: Sequence[str], words: Words) -> str:
    """The moisture rule for some works in one line; empty where none of them hangs on it."""
    judged = [t for t in tasks if t in JUDGED]
    if not judged:
        return ""
    groups: dict[str, list[str]] = {"go": [], "wet": [], "off": []}
    for moisture in MOISTURES:
        said = {possible(t, moisture) for t in judged}
        groups["go" if said == {ALLOWED} else "wet" if said <= {ALLOWED, WET_FIRST} else "off"].append(words(f"week_hand_{moisture}"))
    return words("week_handful", rules=" ".join(words(f"week_handful_{k}", what=opened(_either(names, words))) for k, names in groups.items() if names))


def _either(names: list[str], words: Words) -> str:
    return names[0] if len(names) == 1 else words("week_or", before=", ".join(names[:-1]), last=names[-1])
