"""Levels that somebody fixed for a design: those that no design could meet, found before anything runs."""

from __future__ import annotations

from itertools import combinations
from typing import Sequence

from pipeline.errors import Problem

FIXED, INLET = "fixed_grade", "inlet"
IN_GROUND = ("keep_out", "irrigation_head", "valve_box", "cable", "base_anchor")
CLOSE_M = 0.3  # no blade comes nearer to what lies in the ground, however well it is located
GIVEN_MM = 5.0  # a level without a tolerance


def fixed_faults(file: str, features: Sequence, most_pct: float | None) -> list[Problem]:
    """Fixed levels without a height, where no blade goes, or further apart in height than the most fall between them allows.

    features : in metres; most_pct: the most fall wished for, or None
    """
    out = []
    kept = [f for f in features if f.role in IN_GROUND]
    for f in (f for f in features if f.role == FIXED):
        if f.props.get("height_m") is None:
            out.append(Problem(file, None, "height_m", f"fixed_grade {f.name!r} without a height", "its level, m, in the field's own heights", "Write the height, or take the point out.", code="fixed-no-height"))
        near = next((k for k in kept if k.geometry.distance(f.geometry) < CLOSE_M), None)
        if near is not None:
            out.append(Problem(file, None, "role", f"fixed_grade {f.name!r} {f.geometry.distance(near.geometry):.2f} m from {near.role} {near.name!r}", f"a place that a blade can reach: {CLOSE_M:g} m or more from what lies in the ground",
                               "Move the point to where the ground is graded, or take it out.", code="fixed-in-the-way"))  # fmt: skip
    return out + ([] if most_pct is None else _too_steep(file, [f for f in features if f.role in (FIXED, INLET) and f.props.get("height_m") is not None], most_pct))


def _too_steep(file: str, levels: Sequence, most_pct: float) -> list[Problem]:
    out = []
    for a, b in combinations(levels, 2):
        away = a.geometry.centroid.distance(b.geometry.centroid)
        spare = sum(float(f.props.get("tolerance_mm") or GIVEN_MM) for f in (a, b)) / 1000
        rise = abs(float(a.props["height_m"]) - float(b.props["height_m"])) - spare
        if rise > away * most_pct / 100:
            found = f"{a.role} {a.name!r} and {b.role} {b.name!r}: {100 * rise / away if away else float('inf'):.2f} % between them at least"
            out.append(Problem(file, None, "height_m", found, f"{most_pct:g} % or less, the most fall wished for", "Correct a height, widen a tolerance_mm, or raise grading.slope_max_pct.", code="fixed-too-steep"))
    return out
