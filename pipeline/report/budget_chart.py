"""Money against condition: a mark a budget step with its 95 % range, the owner's own the full one."""

from __future__ import annotations

from typing import Mapping

from pipeline.plan.budget_lines import NO_PLAN, OWNER
from pipeline.report.axis import decimals_of, size_of, step_of
from pipeline.report.figures import printed
from pipeline.report.plan_charts import BASE, EDGE, HEIGHT, LEFT, TOP, WIDTH
from pipeline.report.plan_reasons import money, points
from pipeline.report.svg import el, picture, words as text
from pipeline.report.words import Words

CAP = 5.0  # half the width of a range's end
ROOM = 56.0  # drawing units that a mark's words take


def budget_curve(record: Mapping, words: Words) -> tuple[str, str]:
    """The drawing, and what it shows in words. record: of a plan that was made, with its budget steps"""
    steps, currency = record["budgets"], record["currency"]
    known = [s for s in steps if s["state"] != NO_PLAN]
    about = " ".join([words("step_chart_about"), *(words("step_chart_none" if s["state"] == NO_PLAN else "step_chart_step", pct=s["budget_pct"], money=money(s["money"], currency),
                     mean=points(s.get("condition_mean", 0.0)), low=points(s.get("condition_mean_low95", 0.0)), high=points(s.get("condition_mean_high95", 0.0))) for s in steps)])  # fmt: skip
    most, top = max(s["money"] for s in steps) or 1.0, 1.06 * max([s["condition_mean_high95"] for s in known] + [0.05])
    size, word = size_of(most)
    x = lambda s: LEFT + 14 + (WIDTH - EDGE - 28 - LEFT) * (s["budget_pct"] - steps[0]["budget_pct"]) / max(steps[-1]["budget_pct"] - steps[0]["budget_pct"], 1)
    y = lambda v: BASE - min(v / top, 1.0) * (BASE - TOP)
    step, out = step_of(top), text(4, 16, words("step_chart_points"), class_="place")
    for k in range(int(top / step + 1e-9) + 1):
        out += el("path", d=f"M{LEFT:g} {y(k * step):.1f}H{WIDTH - EDGE:g}", class_="rule" if k else "base-line") + text(LEFT - 5, y(k * step) + 4, printed(k * step, decimals_of(step)), class_="small", text_anchor="end")
    if len(known) > 1:
        out += el("path", d="M" + "L".join(f"{x(s):.1f} {y(s['condition_mean']):.1f}" for s in known), class_="way planned")
    named: list[Mapping] = []
    for s in sorted(steps, key=lambda s: (s["state"] != OWNER, s["budget_pct"] % 25 != 0, s["budget_pct"])):
        named += [s] if all(abs(x(s) - x(other)) >= ROOM for other in named) else []
    for k, s in enumerate(steps):
        out += el("g", _mark(s, x(s), y, words), class_="step-mark", data_step=k)
        if s not in named:
            continue
        out += text(x(s), BASE + 17, printed(s["money"] / size, 0 if most / size >= 20 else 1), class_="small", text_anchor="middle")
        out += text(x(s), BASE + 34, words("step_chart_pct", pct=s["budget_pct"]), class_="limit" if s["state"] == OWNER else "small", text_anchor="middle")
    out += text(4, HEIGHT + 12, words("step_chart_money", unit=words(f"chart_{word}", currency=currency) if word else currency), class_="small")
    return picture(WIDTH, HEIGHT + 20, "plan-steps", words("step_chart"), about, out, "chart plan"), about


def _mark(s: Mapping, x: float, y, words: Words) -> str:
    """A round mark with its range, the owner's full; a cross on the ground line where no plan is."""
    if s["state"] == NO_PLAN:
        return el("path", d=f"M{x - 5:.1f} {BASE - 13:.1f}l10 10m0 -10l-10 10", class_="range") + text(x, BASE - 20, words("step_chart_no_plan"), class_="small", text_anchor="middle")
    low, high = y(s["condition_mean_low95"]), y(s["condition_mean_high95"])
    ends = el("path", d=f"M{x - CAP:.1f} {low:.1f}h{2 * CAP:g}m{-CAP:g} 0V{high:.1f}m{-CAP:g} 0h{2 * CAP:g}", class_="range")
    return ends + el("circle", cx=x, cy=y(s["condition_mean"]), r=6.0 if s["state"] == OWNER else 4.5, class_="point" if s["state"] == OWNER else "open")
