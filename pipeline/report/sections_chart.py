"""Profiles of all dates along one line: the newest heavy with its range, the first broken with its, those between thin."""

from __future__ import annotations

import math
from typing import Sequence

import numpy as np

from pipeline.report.figures import Z95, Units, printed
from pipeline.report.lip_chart import LEFT, WIDTH, height_rules
from pipeline.report.sections import Section
from pipeline.report.svg import el, picture, words

HEIGHT = 230.0
RIGHT, TOP, BOTTOM = 24.0, 34.0, 52.0
TICKS = {"us": (1, 2, 3, 5), "metric": (0.5, 1, 2)}
MOST_TICKS = 11


def sections_chart(name: str, found: Sequence[Section], marks: Sequence[tuple[float, str]], across: str, units: Units, title: str, about: str) -> str:
    """The drawing.

    found : oldest first, the last the newest
    marks : distance and words of what lies along the line
    across : words under the lower axis
    """
    ends = (found[0], found[-1]) if len(found) > 1 else (found[-1],)
    values = np.concatenate([s.over_mm[np.isfinite(s.over_mm)] for s in found])
    spread = np.concatenate([(s.over_mm + k * Z95 * s.sigma_mm)[np.isfinite(s.over_mm)] for s in ends for k in (-1, 1)])
    floor, top = float(min(values.min(), np.percentile(spread, 5))), float(max(values.max(), np.percentile(spread, 95)))
    floor, top = floor - 0.05 * (top - floor) - 2.0, top + 0.05 * (top - floor) + 2.0
    low, high = float(found[0].d[0]), float(found[0].d[-1])
    x = lambda d: LEFT + (d - low) / (high - low) * (WIDTH - LEFT - RIGHT)
    y = lambda v: HEIGHT - BOTTOM - (np.clip(v, floor, top) - floor) / (top - floor) * (HEIGHT - TOP - BOTTOM)
    inner = "".join(_band(s, x, y, k) for k, s in zip(("band early", "band"), ends[-2:] if len(ends) > 1 else ends))
    inner += height_rules(floor, top, y, WIDTH - RIGHT, units) + words(LEFT, TOP - 14, units.height.name, class_="small")
    for k, s in enumerate(found):
        inner += _line(s, x, y, "height" if k == len(found) - 1 else "height first" if k == 0 else "height between")
    for d, text in marks:
        inner += el("path", d=f"M{x(d):.1f} {TOP:g}V{HEIGHT - BOTTOM:g}", class_="window")
        inner += words(x(d), TOP - 6, text, class_="small place", text_anchor="middle")
    return picture(WIDTH, HEIGHT, name, title, about, inner + _axis(low, high, across, x, units), "chart sections")


def _runs(s: Section) -> list[np.ndarray]:
    """Places of the line, cut where nothing was measured."""
    held = np.flatnonzero(np.isfinite(s.over_mm))
    return [r for r in np.split(held, np.flatnonzero(np.diff(held) > 1) + 1) if len(r) > 1]


def _line(s: Section, x, y, kind: str) -> str:
    d = "".join("M" + "L".join(f"{x(s.d[k]):.1f} {y(s.over_mm[k]):.1f}" for k in run) for run in _runs(s))
    return el("path", d=d, class_=kind) if d else ""


def _band(s: Section, x, y, kind: str) -> str:
    out = ""
    for run in _runs(s):
        up = [f"{x(s.d[k]):.1f} {y(s.over_mm[k] + Z95 * s.sigma_mm[k]):.1f}" for k in run]
        down = [f"{x(s.d[k]):.1f} {y(s.over_mm[k] - Z95 * s.sigma_mm[k]):.1f}" for k in run[::-1]]
        out += "M" + "L".join(up + down) + "Z"
    return el("path", d=out, class_=kind) if out else ""


def _axis(low: float, high: float, across: str, x, units: Units) -> str:
    metres = units.length.size
    step = next((t for t in TICKS[units.system] if (high - low) / metres / t <= MOST_TICKS), TICKS[units.system][-1])
    base, out = HEIGHT - BOTTOM, ""
    for k in range(math.ceil(low / metres / step), math.floor(high / metres / step) + 1):
        at = x(k * step * metres)
        out += el("path", d=f"M{at:.1f} {base:g}v5", class_="tick")
        out += words(at, base + 19, printed(k * step, 1).rstrip("0").rstrip(".") if k else "0", class_="small", text_anchor="middle")
    return out + words((LEFT + WIDTH - RIGHT) / 2, base + 40, across, class_="small", text_anchor="middle")
