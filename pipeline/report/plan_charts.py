"""The capital plan as two drawings: what each year asks of money and hours, and how the fields stand with it and without.

Fit for the page at full width and for paper two abreast. Told apart by form and by words at the mark, never by colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Mapping, Sequence

from pipeline.plan.rivals import IN_TURN, WORST_FIRST
from pipeline.report.axis import decimals_of, size_of, step_of
from pipeline.report.figures import printed
from pipeline.report.plan_reasons import money, points
from pipeline.report.svg import el, picture, words as text
from pipeline.report.words import Words

WIDTH, HEIGHT = 420.0, 262.0
TOP, BASE = 40.0, 206.0  # of what is drawn; under it the years, and what the forms mean
LEFT, EDGE = 44.0, 10.0
HOURS_WIDE, BETWEEN = 128.0, 46.0
YEAR_WIDE = 44.0  # drawing units a year's name takes, on a narrow screen too
FIGURE_WIDE = 34.0
STRIPE, LABEL_APART, CLEAR = 4.0, 19.0, 18.0
WAYS = ("untreated", WORST_FIRST, IN_TURN, "planned")


@dataclass(frozen=True)
class Panel:
    """One upright axis and the years along it. slot: width of a year; top: what stands at TOP."""

    left: float
    right: float
    top: float
    first_year: int
    years: int

    @property
    def slot(self) -> float:
        return (self.right - self.left) / self.years

    def x(self, t: float) -> float:
        """The middle of year t."""
        return self.left + (t + 0.5) * self.slot

    def y(self, value: float) -> float:
        return BASE - min(value / self.top, 1.0) * (BASE - TOP)

    def axes(self, size: float = 1.0) -> str:
        """Rules with their figures, and the years that there is room for."""
        step, out = step_of(self.top / size), ""
        for k in range(int(self.top / size / step + 1e-9) + 1):
            at = self.y(k * step * size)
            out += el("path", d=f"M{self.left:g} {at:.1f}H{self.right:g}", class_="rule" if k else "base-line")
            out += text(self.left - 5, at + 4, printed(k * step, decimals_of(step)), class_="small", text_anchor="end")
        every = next(n for n in (1, 2, 5, 10, 20) if n * self.slot >= YEAR_WIDE or n >= self.years)
        return out + "".join(text(self.x(t), BASE + 17, str(self.first_year + t), class_="small", text_anchor="middle") for t in range(0, self.years, every))


def budget_chart(record: Mapping, words: Words) -> tuple[str, str]:
    """The drawing, and what it shows in words. record: of a plan that was made"""
    currency, years = record["currency"], record["years"]
    parts = [words("chart_budget_year", year=record["first_year"] + t, asked=money(record["spent"][t], currency), approved=money(record["money"][t], currency),
                   coming=money(record["comings"][t], currency), hours=printed(record["hours"][t], 0), given=printed(record["crew_hours"][t], 0)) for t in range(years)]  # fmt: skip
    about = " ".join([words("chart_budget_about"), *parts])
    hours = max(*record["hours"], *record["crew_hours"], 0.0)
    split = WIDTH - EDGE - (HOURS_WIDE + BETWEEN if hours > 0 else 0.0)
    most = max(*record["money"], *record["spent"], 0.0) or 1.0
    size, word = size_of(most)
    panel = Panel(LEFT, split, 1.08 * most, record["first_year"], years)
    inner = text(4, 16, words("chart_money", unit=words(f"chart_{word}", currency=currency) if word else currency), class_="place") + panel.axes(size)
    inner += _bars(panel, record["money"], record["spent"], record["comings"], size)
    if hours > 0:
        beside = Panel(WIDTH - EDGE - HOURS_WIDE, WIDTH - EDGE, 1.08 * hours, record["first_year"], years)
        inner += text(beside.left - BETWEEN + 10, 16, words("chart_hours"), class_="place") + beside.axes() + _bars(beside, record["crew_hours"], record["hours"], [0.0] * years, None)
    return picture(WIDTH, HEIGHT, "plan-budget", words("chart_budget"), about, inner + _means(record, words), "chart plan"), about


def _bars(panel: Panel, given: Sequence[float], asked: Sequence[float], coming: Sequence[float], size: float | None) -> str:
    """Of each year an open bar for what is given and a full one in it for what is asked, its topmost part striped for the comings;
    with size the amount asked over it, where there is room."""
    out, wide, narrow = "", 0.84 * panel.slot, 0.5 * panel.slot
    for t, (has, asks, comes) in enumerate(zip(given, asked, coming)):
        x, top, foot = panel.x(t), panel.y(asks), panel.y(asks - comes)
        out += el("rect", x=x - wide / 2, y=panel.y(has), width=wide, height=BASE - panel.y(has), class_="given")
        if asks > 0:
            out += el("rect", x=x - narrow / 2, y=foot, width=narrow, height=BASE - foot, class_="asked")
        if comes > 0:
            out += _striped(x - narrow / 2, top, narrow, foot - top)
        if size is not None and panel.slot >= FIGURE_WIDE and asks > 0:
            over = panel.y(has) if 0 <= top - panel.y(has) < CLEAR else top  # never across the open bar's upper end
            out += text(x, over - 4, printed(asks / size, 1 if size > 1 else 0), class_="figure", text_anchor="middle")
    return out


def _striped(x: float, y: float, width: float, height: float) -> str:
    lines = "".join(f"M{x:.1f} {y + k * STRIPE:.1f}h{width:.1f}" for k in range(1, int(height / STRIPE) + (height % STRIPE > 1)))
    return el("rect", x=x, y=y, width=width, height=height, class_="coming") + (el("path", d=lines, class_="stripe") if lines else "")


def _means(record: Mapping, words: Words) -> str:
    """What the forms mean, under the drawing."""
    y, out = HEIGHT - 20, ""
    shown = [("given", 8.0), ("asked", 108.0)] + ([("coming", 196.0)] if max(record["comings"]) > 0.5 else [])
    for name, x in shown:
        key = _striped(x, y, 14.0, 12.0) if name == "coming" else el("rect", x=x, y=y, width=14, height=12, class_=name)
        out += key + text(x + 19, y + 11, words(f"chart_means_{name}"), class_="small")
    return out


def condition_chart(record: Mapping, words: Words) -> tuple[str, str]:
    """The drawing, and what it shows in words: mean points at each year's end, as planned with its 95 % range, and as else."""
    told, years = record["conditions"], record["years"]
    ways = [w for w in WAYS if w in told]
    ways = [w for w in ways if w != IN_TURN or WORST_FIRST not in told or not _alike(told[w], told[WORST_FIRST])]
    named = {w: words("chart_way_rivals" if w == WORST_FIRST and IN_TURN in told and IN_TURN not in ways else f"chart_way_{w}") for w in ways}
    about = " ".join([words("chart_condition_about"), *(words("chart_condition_way", way=named[w], values=words.listed(points(v) for v in told[w])) for w in reversed(ways))])
    band = "planned_high95" in told
    top = max([v for w in ways for v in told[w]] + (told["planned_high95"] if band else []) + [0.05])
    right = WIDTH - EDGE - 100
    panel = Panel(LEFT, right, 1.06 * top, record["first_year"], years)
    inner = text(4, 16, words("chart_points"), class_="place") + panel.axes()
    if band:
        inner += _band(panel, told["planned_low95"], told["planned_high95"])
    inner += "".join(_line(panel, told[w], w) for w in ways) + _names(panel, {w: told[w][-1] for w in ways}, named)
    if band:
        inner += el("rect", x=8, y=HEIGHT - 20, width=14, height=12, class_="band") + text(27, HEIGHT - 9, words("chart_means_band"), class_="small")
    return picture(WIDTH, HEIGHT, "plan-condition", words("chart_condition"), about, inner, "chart plan"), about


def _alike(a: Sequence[float], b: Sequence[float]) -> bool:
    return all(abs(x - y) < 5e-3 for x, y in zip(a, b))


def _band(panel: Panel, low: Sequence[float], high: Sequence[float]) -> str:
    """The range at each year's end; of one year alone a block."""
    xs = [panel.x(t) for t in range(panel.years)] if panel.years > 1 else [panel.x(-0.2), panel.x(0.2)]
    low, high = (list(v) * 2 if panel.years == 1 else list(v) for v in (low, high))
    corners = [*zip(xs, high), *zip(reversed(xs), reversed(low))]
    return el("path", d="M" + "L".join(f"{x:.1f} {panel.y(v):.1f}" for x, v in corners) + "Z", class_="band")


def _line(panel: Panel, values: Sequence[float], way: str) -> str:
    at = [(panel.x(t), panel.y(v)) for t, v in enumerate(values)]
    line = el("path", d="M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in at), class_=f"way {way}")
    return line + "".join(_dot(x, y, way) for x, y in at)


def _dot(x: float, y: float, way: str) -> str:
    """A mark of its own form a way: round, square, upright and lying triangle."""
    if way == "planned":
        return el("circle", cx=x, cy=y, r=4.0, class_="point")
    if way == "untreated":
        return el("rect", x=x - 3.5, y=y - 3.5, width=7, height=7, class_="open")
    return el("path", d=f"M{x:.1f} {y - 5:.1f}l5 9h-10z" if way == WORST_FIRST else f"M{x:.1f} {y + 5:.1f}l5 -9h-10z", class_="open")


def _names(panel: Panel, ends: Mapping[str, float], named: Mapping[str, str]) -> str:
    """The name of each line at its end, in up to two rows, kept apart from one another."""
    out, x, above = "", panel.x(panel.years - 1) + 10, BASE + 8
    for way in sorted(ends, key=lambda w: ends[w]):
        rows = _rows(named[way])
        low = min(panel.y(ends[way]) + 4.5 + 6.5 * (len(rows) - 1), above)
        for k, row in enumerate(reversed(rows)):
            out += text(x, low - 13 * k, row, class_="limit")
        above = low - 13 * (len(rows) - 1) - LABEL_APART
    return out


def _rows(name: str) -> list[str]:
    """A name in two rows of about one length, or in one where it is short."""
    parts = name.split(" ")
    if len(name) <= 12:
        return [name]
    cut = min(range(1, len(parts)), key=lambda k: max(len(" ".join(parts[:k])), len(" ".join(parts[k:]))), default=0)
    return [" ".join(parts[:cut]), " ".join(parts[cut:])] if cut else [name]
