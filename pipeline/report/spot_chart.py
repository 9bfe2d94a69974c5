"""The depth of one place by date: a range at each survey, the owner's limits, and the work on it between them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Sequence

from pipeline.report.figures import Z95, Units
from pipeline.report.lip_chart import LEFT, LimitLine, height_rules
from pipeline.report.svg import el, picture, words

WIDTH, HEIGHT = 340.0, 190.0
RIGHT, TOP, BOTTOM = 14.0, 34.0, 30.0  # left as the charts along an edge
DOT_R = 4.0
LETTER = 8.6  # of a work's word, drawing units, on a phone's width too
WORD_APART = 13.0  # drawing units between the words of two works, one under the other


@dataclass(frozen=True)
class Depth:
    """One survey's: day, label, mm (positive is low) and one s.d."""

    day: dt.date
    label: str
    mm: float
    sigma_mm: float


@dataclass(frozen=True)
class Done:
    """A work: day, word, and whether it was done at this very place."""

    day: dt.date
    word: str
    here: bool


def scale_of(found: Sequence[Depth], limits: Sequence[LimitLine]) -> tuple[float, float]:
    """Least and most depth that charts beside one another share, mm."""
    ends = [d.mm + k * Z95 * d.sigma_mm for d in found for k in (-1, 1)]
    return min([*ends, 0.0]) - 2.0, max([*ends, *(1.08 * m.mm for m in limits), 10.0]) + 2.0


def spot_chart(name: str, found: Sequence[Depth], done: Sequence[Done], limits: Sequence[LimitLine], ends: tuple[float, float], units: Units, title: str, about: str) -> str:
    """The drawing, down is low.

    found : oldest first, two or more days
    ends  : of the depths, `scale_of`
    """
    first, last = found[0].day.toordinal(), found[-1].day.toordinal()
    x = lambda day: LEFT + 10 + (day.toordinal() - first) / max(last - first, 1) * (WIDTH - LEFT - RIGHT - 20)
    y = lambda mm: TOP + (mm - ends[0]) / (ends[1] - ends[0]) * (HEIGHT - TOP - BOTTOM)
    inner = height_rules(*ends, y, WIDTH - RIGHT, units) + words(LEFT - 6, TOP - 14, units.height.name, class_="small", text_anchor="end")
    for limit in limits:
        inner += el("path", d=f"M{LEFT:g} {y(limit.mm):.1f}H{WIDTH - RIGHT:g}", class_="trip" if limit.trip else "tolerance")
    up, down = ([f"{x(d.day):.1f} {y(d.mm + k * Z95 * d.sigma_mm):.1f}" for d in found] for k in (-1, 1))
    inner += el("path", d="M" + "L".join(up + down[::-1]) + "Z", class_="band")
    inner += _works(done, found, x)
    inner += el("path", d="M" + "L".join(f"{x(d.day):.1f} {y(d.mm):.1f}" for d in found), class_="height")
    inner += "".join(el("circle", cx=round(x(d.day), 1), cy=round(y(d.mm), 1), r=DOT_R, class_="point") for d in found)
    return picture(WIDTH, HEIGHT, name, title, about, inner + _days(found, x), "chart spots")


def _works(done: Sequence[Done], found: Sequence[Depth], x) -> str:
    """An upright line at each work between the surveys: whole where it was done here, broken where on all of the skin."""
    out, row, before = "", 0, -1e9
    for work in sorted((w for w in done if found[0].day <= w.day <= found[-1].day), key=lambda w: w.day):
        at = x(work.day)
        wide = LETTER * len(work.word)
        right = at + 4 + wide > WIDTH
        row = (row + 1) % 2 if at - (wide if right else 0) < before else 0
        before = at if right else at + 4 + wide
        out += el("path", d=f"M{at:.1f} {TOP - 18 + row * WORD_APART:.1f}V{HEIGHT - BOTTOM:g}", class_="done" if work.here else "done around")
        out += words(at + (-4 if right else 4), TOP - 10 + row * WORD_APART, work.word, class_="work-word", text_anchor="end" if right else "start")
    return out


def _days(found: Sequence[Depth], x) -> str:
    base = HEIGHT - BOTTOM
    out = "".join(el("path", d=f"M{x(d.day):.1f} {base:g}v5", class_="tick") for d in found)
    out += words(LEFT, base + 20, found[0].label, class_="small", text_anchor="start")
    return out + words(WIDTH - RIGHT, base + 20, found[-1].label, class_="small", text_anchor="end")
