"""Height of the lip along one edge, metre by metre, with its 95 % range and the owner's limits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Callable, Sequence

import numpy as np

from pipeline.report import palette
from pipeline.report.figures import Z95, Units, printed
from pipeline.report.findings import LOW_SKIN
from pipeline.report.svg import el, picture, words
from pipeline.surface.verdict import UNKNOWN

WIDTH, HEIGHT = 560.0, 226.0
LEFT, RIGHT, TOP, BOTTOM = 70.0, 98.0, 28.0, 56.0
STEPS = {"us": (0.25, 0.5, 1.0, 2.0, 4.0), "metric": (5, 10, 20, 25, 50, 100)}
MOST_TICKS = 5
ALONG = (1, 2, 5, 10, 20, 50, 100)
GAP_M = 1.5
LABEL_APART = 19.0  # drawing units between the words of two limits


@dataclass(frozen=True)
class LimitLine:
    """One of the owner's limits: height and the words on it."""

    mm: float
    label: str
    trip: bool


def lip_chart(
    name: str, rows: Sequence[dict], length_m: float, limits: Sequence[LimitLine], places: Sequence[tuple[float, str]], units: Units,
    title: str, about: str,
) -> str:  # fmt: skip
    """The drawing of one edge.

    rows   : rows of lip.csv of one edge at one survey, stations only
    places : station and name of what lies beside the edge, for the axis
    """
    rows = sorted((r for r in rows if r["height_mm"] is not None), key=lambda r: r["station_m"])
    low, high = ([band(r)[i] for r in rows] for i in (0, 1))
    top = max([*(v for v in high if v < 200), *(1.12 * m.mm for m in limits), 10.0])
    floor = min([*(v for v in low if v > -100), 0.0])
    scale = Scale(length_m, floor, top)
    inner = axes(scale, units, places)
    for run in _runs(rows):
        s = np.array([r["station_m"] for r in run])
        ends = np.concatenate([[s[0] - 0.5], s, [s[-1] + 0.5]])
        up = np.array([band(run[0])[1], *(band(r)[1] for r in run), band(run[-1])[1]])
        down = np.array([band(run[0])[0], *(band(r)[0] for r in run), band(run[-1])[0]])
        inner += el("path", d=scale.path(np.concatenate([ends, ends[::-1]]), np.concatenate([up, down[::-1]])) + "Z", class_="band")
    inner += _limits(scale, limits)
    for run in _runs(rows):
        for sure, part in _parts(run):
            d = scale.path(np.array([r["station_m"] for r in part]), np.array([r["height_mm"] for r in part]))
            inner += el("path", d=d, class_="height" if sure else "height unsure")
    inner += "".join(_low(scale, r) for r in rows if r["kind"] == LOW_SKIN)
    return picture(WIDTH, HEIGHT, name, title, about, inner, "chart")


def band(row: dict) -> tuple[float, float]:
    """The 95 % range of a station's height, mm: of a rise the bracket, of a step of low skin its own range."""
    half = Z95 * row["height_sigma_mm"]
    if row["kind"] == LOW_SKIN or row["rise_low95_mm"] is None:
        return row["height_mm"] - half, row["height_mm"] + half
    return row["rise_low95_mm"], row["rise_high95_mm"]


@dataclass(frozen=True)
class Scale:
    length_m: float
    floor: float
    top: float

    def x(self, s):
        return LEFT + np.asarray(s, float) / self.length_m * (WIDTH - LEFT - RIGHT)

    def y(self, mm):
        inside = np.clip(np.asarray(mm, float), self.floor, self.top)
        return HEIGHT - BOTTOM - (inside - self.floor) / (self.top - self.floor) * (HEIGHT - TOP - BOTTOM)

    def path(self, s, mm) -> str:
        return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(self.x(s), self.y(mm)))


def height_rules(floor: float, top: float, y: Callable[[float], float], right: float, units: Units) -> str:
    """A line across at each round height between floor and top, mm, as far as `right`, its figure before it; y: mm to the drawing's own."""
    size, steps, out = units.height.size, STEPS[units.system], ""
    step = next(s for s in steps if (top - floor) / size / s <= MOST_TICKS + 1 or s == steps[-1])
    for k in range(math.ceil(floor / size / step), math.floor(top / size / step) + 1):
        at = float(y(k * step * size))
        out += el("path", d=f"M{LEFT:g} {at:.1f}H{right:g}", class_="rule" if k else "base-line")
        out += words(LEFT - 6, at + 4, printed(k * step, 2).rstrip("0").rstrip(".") if k else "0", class_="small", text_anchor="end")
    return out


def axes(scale: Scale, units: Units, places: Sequence[tuple[float, str]]) -> str:
    out = [height_rules(scale.floor, scale.top, scale.y, WIDTH - RIGHT, units), words(LEFT, TOP - 10, units.height.name, class_="small")]
    unit = units.length
    along = next(a for a in ALONG if scale.length_m / unit.size / a <= 9)
    base = HEIGHT - BOTTOM
    for k in range(0, int(scale.length_m / unit.size / along) + 1):
        x = float(scale.x(k * along * unit.size))
        out.append(el("path", d=f"M{x:.1f} {base:g}v5", class_="tick"))
        out.append(words(x, base + 21, f"{k * along}" if k else f"0\u00a0{unit.name}", class_="small", text_anchor="middle"))
    for s, text in places:
        x = float(scale.x(s))
        anchor = "start" if x < LEFT + 90 else "end" if x > WIDTH - RIGHT - 90 else "middle"
        out.append(el("path", d=f"M{x:.1f} {base + 27:.1f}v5", class_="tick"))
        out.append(words(x, base + 45, text, class_="place", text_anchor=anchor))
    return "".join(out)


def _limits(scale: Scale, limits: Sequence[LimitLine]) -> str:
    """A line across for each limit, its words beside it in the margin, where no height is drawn."""
    out, above = [], math.inf
    for limit in sorted(limits, key=lambda m: m.mm):
        y = float(scale.y(limit.mm))
        out.append(el("path", d=f"M{LEFT:g} {y:.1f}H{WIDTH - RIGHT:g}", class_="trip" if limit.trip else "tolerance"))
        above = min(y + 4.5, above - LABEL_APART)
        out.append(words(WIDTH - RIGHT + 5, above, limit.label, class_="limit"))
    return "".join(out)


def _runs(rows: Sequence[dict]) -> list[list[dict]]:
    """Rows without a gap between them."""
    out: list[list[dict]] = []
    for row in rows:
        if out and row["station_m"] - out[-1][-1]["station_m"] < GAP_M:
            out[-1].append(row)
        else:
            out.append([row])
    return out


def _parts(run: Sequence[dict]) -> list[tuple[bool, list[dict]]]:
    """A run cut where the evidence begins or ends; neighbours share their end so that the line does not break."""
    out: list[tuple[bool, list[dict]]] = []
    for row in run:
        sure = row["kind"] != UNKNOWN
        if out and out[-1][0] == sure:
            out[-1][1].append(row)
        else:
            out.append((sure, [out[-1][1][-1], row] if out else [row]))
    return out


def _low(scale: Scale, row: dict) -> str:
    x, y = float(scale.x(row["station_m"])), float(scale.y(row["height_mm"]))
    return el("path", d=f"M{x - 3:.1f} {y:.1f}h6v4h-6z", class_="low-skin", fill=palette.LIP[2])
