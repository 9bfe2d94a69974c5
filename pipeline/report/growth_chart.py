"""Growth of one edge's lip between two dates, every 5 m with its 95 % range."""

from __future__ import annotations

from typing import Sequence

import numpy as np

from pipeline.report.figures import Units
from pipeline.report.lip_chart import HEIGHT, WIDTH, Scale, axes
from pipeline.report.svg import el, picture

HALF_M = 2.3  # drawn half-length of a segment of 5 m


def growth_chart(name: str, rows: Sequence[dict], length_m: float, places: Sequence[tuple[float, str]], units: Units, title: str, about: str) -> str:
    """The drawing. rows : of lip_change.csv, one pair and edge, segments only."""
    told = sorted((r for r in rows if r["growth_mm"] is not None), key=lambda r: r["station_m"])
    low, high = ([r[f"growth_{end}95_mm"] for r in told] for end in ("low", "high"))
    scale = Scale(length_m, min([*low, -5.0]), max([*high, 5.0]))
    inner = axes(scale, units, places)
    for row, down, up in zip(told, low, high):
        ends = np.clip(np.array([row["station_m"] - HALF_M, row["station_m"] + HALF_M]), 0.0, length_m)
        inner += el("path", d=scale.path(ends[[0, 1, 1, 0]], [up, up, down, down]) + "Z", class_="band")
        inner += el("path", d=scale.path(ends, [row["growth_mm"]] * 2), class_="height" if row["detected"] else "height unsure")
    return picture(WIDTH, HEIGHT, name, title, about, inner, "chart")
