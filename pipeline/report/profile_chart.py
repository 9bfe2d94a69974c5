"""The cross-section of one edge: skin, crest and turf as the survey saw them, and the height that was made of it."""

from __future__ import annotations

import math

import numpy as np

from pipeline.report.figures import Units, printed
from pipeline.report.lip_chart import LEFT, WIDTH, height_rules
from pipeline.report.svg import el, picture, words
from pipeline.surface.lip_profile import Profile

HEIGHT = 250.0
RIGHT, TOP, BOTTOM = 30.0, 42.0, 52.0  # left and width as the chart along the edge
ACROSS = {"us": (1.0, 0.3048), "metric": (0.5, 1.0)}  # tick, and metres a unit


def profile_chart(name: str, seen: Profile, height: dict, units: Units, labels: dict[str, str], title: str, about: str) -> str:
    """The drawing.

    height : the station's row of lip.csv: height_mm and its range over the skin
    labels : words for `skin`, `crest`, `turf`, `across`, `height`
    """
    mm = 1000 * (seen.height_m - seen.skin_m)
    low95, high95 = height["rise_low95_mm"], height["rise_high95_mm"]
    values = np.concatenate([mm[np.isfinite(mm)], [v for v in (low95, high95, height["height_mm"]) if v is not None], [0.0]])
    floor, top = min(float(values.min()), -5.0), 1.08 * max(float(values.max()), 10.0)

    def x(d: float) -> float:
        return LEFT + (d - seen.d[0]) / (seen.d[-1] - seen.d[0]) * (WIDTH - LEFT - RIGHT)

    def y(v: float) -> float:
        return HEIGHT - BOTTOM - (v - floor) / (top - floor) * (HEIGHT - TOP - BOTTOM)

    inner = _windows(seen, labels, x, y)
    inner += _axes(floor, top, seen, units, labels, x, y)
    held = np.isfinite(mm)
    inner += el("path", d="M" + "L".join(f"{x(d):.1f} {y(v):.1f}" for d, v in zip(seen.d[held], mm[held])), class_="height")
    middle = x(sum(seen.crest) / 2)
    if low95 is not None and high95 is not None:
        inner += el("path", d=f"M{middle:.1f} {y(low95):.1f}V{y(high95):.1f}M{middle - 6:.1f} {y(low95):.1f}h12M{middle - 6:.1f} {y(high95):.1f}h12", class_="range")
    inner += el("circle", cx=middle, cy=y(height["height_mm"]), r=5, class_="point") + words(middle + 11, y(height["height_mm"]) + 4, labels["height"], class_="small figure")
    return picture(WIDTH, HEIGHT, name, title, about, inner, "chart")


def _windows(seen: Profile, labels: dict[str, str], x, y) -> str:
    """The three stretches that are compared, each with the mean height seen in it."""
    out = ""
    for key, (low, high), mean in (("skin", seen.skin, 0.0), ("crest", seen.crest, seen.crest_m - seen.skin_m), ("turf", seen.turf, seen.turf_m - seen.skin_m)):
        out += el("rect", x=x(low), y=TOP, width=x(high) - x(low), height=HEIGHT - BOTTOM - TOP, class_="window")
        out += el("path", d=f"M{x(low):.1f} {y(1000 * mean):.1f}H{x(high):.1f}", class_="mean")
        out += words((x(low) + x(high)) / 2, TOP - 8, labels[key], class_="small", text_anchor="middle")
    return out


def _axes(floor: float, top: float, seen: Profile, units: Units, labels: dict[str, str], x, y) -> str:
    out = height_rules(floor, top, y, WIDTH - RIGHT, units)
    out += words(LEFT, TOP - 24, units.height.name, class_="small")
    tick, metres = ACROSS[units.system]
    base = HEIGHT - BOTTOM
    for k in range(math.ceil(seen.d[0] / metres / tick), math.floor(seen.d[-1] / metres / tick) + 1):
        out += el("path", d=f"M{x(k * tick * metres):.1f} {base:g}v5", class_="tick")
        out += words(x(k * tick * metres), base + 19, printed(k * tick, 1).rstrip("0").rstrip(".") if k else "0", class_="small", text_anchor="middle")
    return out + words((LEFT + WIDTH - RIGHT) / 2, base + 40, labels["across"], class_="small", text_anchor="middle")
