"""What is left on ground that should not have moved: each patch's residual against the range expected of it."""

from __future__ import annotations

from typing import Sequence

from pipeline.report.figures import Units, Z95, printed
from pipeline.report.svg import el, picture, words

WIDTH, ROW, LEFT, RIGHT, TOP, BOTTOM = 560.0, 42.0, 34.0, 34.0, 6.0, 26.0
STEPS = {"us": (0.1, 0.25, 0.5, 1.0, 2.0, 5.0), "metric": (2, 5, 10, 20, 50, 100)}
MOST_TICKS = 6


def residual_chart(name: str, patches: Sequence[tuple[str, float, float, bool]], units: Units, title: str, about: str) -> str:
    """One line a patch, its name above it: names as drawn may be long.

    patches : words for the patch, residual and one expected s.d. in mm, and whether it was used
    """
    size = units.height.size
    reach = max(max(abs(r), Z95 * s) for _, r, s, _ in patches) * 1.08
    height = TOP + ROW * len(patches) + BOTTOM
    middle, k = (LEFT + WIDTH - RIGHT) / 2, (WIDTH - LEFT - RIGHT) / 2 / reach
    base = TOP + ROW * len(patches)
    inner = ""
    step = next(s for s in STEPS[units.system] if 2 * reach / size / s <= MOST_TICKS or s == STEPS[units.system][-1])
    for tick in range(-int(reach / size / step), int(reach / size / step) + 1):
        x = middle + tick * step * size * k
        inner += el("path", d=f"M{x:.1f} {TOP:g}V{base:.1f}", class_="base-line" if tick == 0 else "rule")
        label = printed(tick * step, 2, signed=True).rstrip("0").rstrip(".") if tick else f"0\u00a0{units.height.name}"
        inner += words(x, base + 18, label, class_="small", text_anchor="middle")
    for i, (label, residual, sigma, used) in enumerate(patches):
        y = TOP + ROW * (i + 1) - 11
        a, b = middle - Z95 * sigma * k, middle + Z95 * sigma * k
        inner += words(10, y - 13, label, class_="place")
        inner += el("path", d=f"M{a:.1f} {y:.1f}H{b:.1f}M{a:.1f} {y - 5:.1f}v10M{b:.1f} {y - 5:.1f}v10", class_="expected")
        inner += el("circle", cx=middle + residual * k, cy=y, r=5, class_="used" if used else "moved")
    return picture(WIDTH, height, name, title, about, inner, "chart")
