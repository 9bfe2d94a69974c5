"""The next runs over the skin: bearing, corner and time in words, and a drawing of them with what they keep off."""

from __future__ import annotations

from itertools import groupby
from typing import Mapping, Sequence

import numpy as np
from shapely.geometry import LineString

from pipeline.report.field_input import FieldInput
from pipeline.report.field_map import cleared, foot
from pipeline.report.figures import Unit, figure, printed
from pipeline.report.saying import Sayer
from pipeline.report.svg import Frame, barb, el, picture, words as text
from pipeline.report.words import opened

TICK_PX = 5.0


def runs_block(given: FieldInput, sayer: Sayer) -> dict:
    """Sentences and the drawing; empty where no design was made."""
    found, words = given.designs.get("passes"), sayer.words
    if found is None:
        return {}
    if not found["runs"]:
        return {"lines": [words("runs_none", why=words.told(found["reason"]))], "svg": "", "title": ""}
    lines = [_said(purpose, list(runs), found, sayer) for purpose, runs in groupby(found["runs"], key=lambda r: r["purpose"])]
    lines += [words("runs_before", bearings=words.listed([f"{printed(b, 0)}°" for b in found["last_bearings"][:3]]))] if found["last_bearings"] else [words("runs_first")]
    gap = _gap(given)
    lines = [words("runs_gap", day=words.date(gap)), *lines] if gap else lines
    if found["hand_m2"] >= 1:
        lines.append(words("runs_hand", area=figure(found["hand_m2"], None, sayer.units.area)))
    title = words("runs_map")
    return {"lines": lines, "title": title, "svg": _drawing(given, found["runs"], title, sayer)}


def _gap(given: FieldInput) -> str:
    """The day of the newest work written down, where the newest survey is younger; empty where none is, or none was written down."""
    done = max((str(w.get("ended_on") or w["done_on"]) for w in given.works), default="")
    newest = given.standing.newest
    return done if newest is not None and done < newest.flown_on else ""


def _said(purpose: str, runs: list[dict], found: Mapping, sayer: Sayer) -> str:
    words, first = sayer.words, runs[0]
    minutes = [r["minutes"] for r in runs]
    time = words("runs_no_time") if any(m is None for m in minutes) else words("runs_time", minutes=printed(max(sum(minutes), 1), 0))
    length = figure(sum(r["length_m"] for r in runs), None, sayer.units.length)
    corner = words(f"runs_entry_{first['entry']}") if first["entry"] else words("runs_entry_any")
    return opened(words(f"runs_{purpose}", machine=found["machine"], runs=words.count("runs_lines", len(runs)), bearing=f"{printed(first['bearing_deg'], 0)}°", corner=corner, length=length, time=time)) + " " + words("runs_first_run", start=sayer.placing.at(*first["line"][0]), end=sayer.placing.at(*first["line"][-1]), width=figure(found["width_m"], None, Unit(sayer.units.length.name, sayer.units.length.size, 1)))


def _drawing(given: FieldInput, runs: Sequence[dict], title: str, sayer: Sayer) -> str:
    layout, words = given.layout, sayer.words
    frame, inner = cleared(layout, given.edges, given.designs.get("keep_outs", ()))
    for purpose, group in groupby(runs, key=lambda r: r["purpose"]):
        for k, run in enumerate(group):
            inner += _run(frame, LineString(run["line"]), purpose, words("runs_start") if k == 0 else "")
    return picture(frame.width, frame.height, "runs-map", title, words("runs_map_about", number=len(runs)), inner + foot(frame, sayer.units, words("north")), "map")


def _run(frame: Frame, line: LineString, purpose: str, label: str) -> str:
    """A run with a barb in the direction it is driven; the first of each covering is labelled at its start."""
    (x0, x1), (y0, y1) = (along.tolist() for along in frame.xy(*np.transpose(line.coords)))
    out = el("path", d=frame.path(line) + barb(x0, y0, x1, y1, TICK_PX), class_=f"run {purpose.replace('_', '-')}")
    return out + (el("circle", cx=round(x0, 1), cy=round(y0, 1), r=4.5, class_="core") + text(x0 + 7, y0 + 4, label, class_="figure") if label else "")
