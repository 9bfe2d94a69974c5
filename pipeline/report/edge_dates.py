"""The grass edge unrolled: along it from left to right, dates from top to bottom, the height of the lip as tone.

A lip that grows is seen at once, and where; the plan of the field is the key to where along the edge that is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

from pipeline.report import palette
from pipeline.report.edge_plan import marked_stations
from pipeline.report.field_map import HALF_STATION_M, Look, lookalikes
from pipeline.report.figures import Units
from pipeline.report.svg import el, picture, words

WIDTH, LEFT, RIGHT = 880.0, 150.0, 20.0
TOP, ROW, BAR, UNSURE, WORK_ROW = 40.0, 26.0, 20.0, 7.0, 22.0
BELOW = 58.0
MARK_R, MARK_APART = 11.0, 24.0


@dataclass(frozen=True)
class Dated:
    """One survey's row. label: its day; rows: of lip.csv along this edge; said: what stands in its place where no station has a figure."""

    label: str
    rows: Sequence[dict]
    said: str = ""


@dataclass(frozen=True)
class Between:
    """Work on the edge between two surveys: above the row of that number."""

    above: int
    label: str


@dataclass(frozen=True)
class At:
    """A mark of the plan, at its station, with its verdict."""

    key: str
    station_m: float
    word: str


def edge_dates(
    name: str, dates: Sequence[Dated], length_m: float, steps: Sequence[float], works: Sequence[Between], marks: Sequence[At], places: Sequence[tuple[float, str]],
    units: Units, title: str, about: str,
) -> str:  # fmt: skip
    """The drawing of one edge.

    dates  : oldest first, top to bottom
    steps  : where the shades change, mm, as on the plan
    places : station and name of what lies beside the edge
    """
    x = lambda s: LEFT + min(max(s, 0.0), length_m) / length_m * (WIDTH - LEFT - RIGHT)
    inner, y = "", TOP
    for k in range(len(dates) + 1):
        for work in (w for w in works if w.above == k):
            inner += _work(work, y + WORK_ROW / 2)
            y += WORK_ROW
        if k < len(dates):
            inner += _date(dates[k], y + ROW / 2, x, length_m, steps)
            y += ROW
    inner += _marks(marks, x) + _along(length_m, x, y, places, units)
    return picture(WIDTH, y + BELOW, name, title, about, inner, "chart dates")


def _date(dated: Dated, middle: float, x, length_m: float, steps: Sequence[float]) -> str:
    """One survey's row."""
    out = words(LEFT - 12, middle + 4.5, dated.label, class_="small", text_anchor="end")
    if dated.said:
        out += words(LEFT, middle + 4.5, dated.said, class_="small quiet")
    return out + "".join(_run(seen, x(first - HALF_STATION_M), x(last + HALF_STATION_M), middle) for seen, first, last in lookalikes(dated.rows, steps, length_m))


def _run(seen: Look, x0: float, x1: float, middle: float) -> str:
    """One stretch that looks alike: a bar where the kind is known, a thin broken line where it is not, a comb below low skin."""
    tone = palette.LIP[seen.level]
    if not seen.sure:
        return el("path", d=f"M{x0:.1f} {middle:g}H{x1:.1f}", class_="unsure", stroke=tone, stroke_width=UNSURE)
    bar = el("rect", x=round(x0, 1), y=middle - BAR / 2, width=round(x1 - x0, 1), height=BAR, fill=tone, class_="over" if seen.level > 1 else "bar")
    if not seen.low_skin:
        return bar
    teeth = "".join(f"M{x0 + d:.1f} {middle + 2:g}V{middle + BAR / 2:g}" for d in range(3, int(x1 - x0), 7))
    return bar + (el("path", d=teeth, class_="comb") if teeth else "")


def _work(work: Between, middle: float) -> str:
    """A heavy line between two dates, with what was done."""
    said = words(LEFT, middle + 4.5, work.label, class_="small work-word")
    return said + el("path", d=f"M{min(LEFT + 7.8 * len(work.label) + 10, WIDTH - RIGHT - 40):.0f} {middle:g}H{WIDTH - RIGHT:g}", class_="work")


def _marks(marks: Sequence[At], x) -> str:
    """The plan's letters over the stations they stand at; what would run into a neighbour is moved along, with a line to its place."""
    out, before = "", LEFT - MARK_APART
    for mark in sorted(marks, key=lambda m: m.station_m):
        at = x(mark.station_m)
        shown = max(at, before + MARK_APART)
        before = shown
        out += el("path", d=f"M{shown:.1f} {TOP - 10:g}L{at:.1f} {TOP - 1:g}", class_="tick")
        drawn = el("circle", cx=round(shown, 1), cy=TOP - 22, r=MARK_R) + words(round(shown, 1), TOP - 17.5, mark.key, class_="small", text_anchor="middle")
        out += el("g", drawn, class_=f"mark {mark.word.replace('_', '-')}")
    return out


def _along(length_m: float, x, foot: float, places: Sequence[tuple[float, str]], units: Units) -> str:
    """Distances as on the tape and as on the plan, and the places beside the edge."""
    out = ""
    for s, label in marked_stations(length_m, units.length):
        out += el("path", d=f"M{x(s):.1f} {foot:g}v5", class_="tick")
        out += words(x(s), foot + 20, label, class_="small", text_anchor="middle")
    for s, text in places:
        at = x(s)
        anchor = "start" if at < LEFT + 60 else "end" if at > WIDTH - RIGHT - 60 else "middle"
        out += words(at, foot + 44, text, class_="place", text_anchor=anchor)
    return out
