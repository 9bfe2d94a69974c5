"""The plan at other budgets, step by step: what is bought, what is added or falls off against the owner's budget, how the fields stand."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.plan.budget_lines import NO_PLAN, OWNER, ROUGH
from pipeline.plan.treatments import NONE, TREATMENTS
from pipeline.report.budget_chart import budget_curve
from pipeline.report.figures import TO, printed
from pipeline.report.plan_reasons import money, points
from pipeline.report.words import Words, opened

COLUMNS = ("budget", "spent", "bought", "mean", "end", "trip")
MOST_NAMED = 6
USED = 0.9  # of the money of a step: below, what is left over is told


def budget_steps_block(record: Mapping, words: Words) -> dict:
    """gist (what more and less money does, in sentences), steps (each with label, title and lines), owner (which of them is the owner's), heads and rows of all, chart and what it reads, what
    a reader should know; empty where no plan was made."""
    steps = record.get("budgets") or []
    if not steps:
        return {}
    same = _like_the_one_before(steps)
    svg, about = budget_curve(record, words)
    return {
        "gist": _gist(steps, record, words),
        "steps": [{"label": words("step_label", pct=s["budget_pct"]), "title": _title(s, record, words), "lines": _lines(s, record, same.get(s["budget_pct"]), words)} for s in steps],
        "owner": next(k for k, s in enumerate(steps) if s["budget_pct"] == 100), "heads": [words(f"step_col_{c}") for c in COLUMNS], "rows": [_row(s, record, words) for s in steps],
        "chart": svg, "reads": words("step_chart_reads"), "about": about, "knows": _knows(steps, record, words),
    }  # fmt: skip


def _like_the_one_before(steps: Sequence[Mapping]) -> dict[int, int]:
    """Step -> the first one below that buys the very same."""
    out: dict[int, int] = {}
    for a, b in zip(steps, steps[1:]):
        if a["state"] != NO_PLAN and b["state"] != NO_PLAN and a["changed"] == b["changed"] and abs(a["spent"] - b["spent"]) < 0.01:
            out[b["budget_pct"]] = out.get(a["budget_pct"], a["budget_pct"])
    return out


def _title(s: Mapping, record: Mapping, words: Words) -> str:
    return words("step_title_owner" if s["state"] == OWNER else "step_title", pct=s["budget_pct"], money=money(s["money"], record["currency"]), years=record["years"])


def _lines(s: Mapping, record: Mapping, like: int | None, words: Words) -> list[str]:
    """What a step means, in sentences."""
    cash = lambda v: money(v, record["currency"])
    if s["state"] == NO_PLAN:
        return [words("step_no_plan"), *([words("step_missing", money=cash(s["missing"]))] if s["missing"] > 0.5 else [])]
    out = [words("step_like", pct=like)] if like else []
    out += [words("step_buys", money=cash(s["spent"]), what=_bought(s["bought"], words) or words("step_buys_nothing"))]
    out += [words("step_stands", mean=points(s["condition_mean"]), range=_range(s, "mean"), end=points(s["condition_end"]), end_range=_range(s, "end"), last=record["first_year"] + record["years"] - 1)]
    out += [_trip(s, record, words)]
    if s["state"] != OWNER:
        more, less = ([_change(c, c[side], record, words) for c in s["changed"] if c[side] != NONE] for side in ("to", "from"))
        out += [words("step_added", what="; ".join(more))] if more else []
        out += [words("step_dropped", what="; ".join(less))] if less else []
        out += [] if more or less else [words("step_as_planned")]
    out += [words("step_rough", share=printed(100 * s["gap"], 0))] if s["state"] == ROUGH else []
    return out


def _trip(s: Mapping, record: Mapping, words: Words) -> str:
    named = lambda ids: words.listed(record["names"][f] for f in ids)
    surely, perhaps = s["over_trip"], s["perhaps_over_trip"]
    if not record["trip_judged"]:
        return words("step_trip_unset")
    if not surely and not perhaps:
        return words("step_trip_none")
    return " ".join([*([words("step_trip", fields=named(surely))] if surely else []), *([words("step_trip_perhaps", fields=named(perhaps))] if perhaps else [])])


def _bought(bought: Mapping[str, int], words: Words) -> str:
    return words.listed(words.count(f"step_{t}", bought[t]) for t in reversed(TREATMENTS) if bought.get(t))


def _range(s: Mapping, which: str) -> str:
    return f"{points(s[f'condition_{which}_low95'])}{TO}{points(s[f'condition_{which}_high95'])}"


def _change(c: Mapping, does: str, record: Mapping, words: Words) -> str:
    return words("step_change", field=record["names"][c["field_id"]], does=words(f"plan_does_{does}"), year=c["year"])


def _row(s: Mapping, record: Mapping, words: Words) -> list[str]:
    cash = lambda v: money(v, record["currency"])
    head = words("step_row_owner" if s["state"] == OWNER else "step_row", pct=s["budget_pct"], money=cash(s["money"]))
    if s["state"] == NO_PLAN:
        return [head, "", words("step_no_plan_short") if s["missing"] <= 0.5 else words("step_no_plan_missing", money=cash(s["missing"])), "", "", ""]
    named = [record["names"][f] for f in s["over_trip"]] + [words("step_perhaps", field=record["names"][f]) for f in s["perhaps_over_trip"]]
    condition = [f"{points(s[f'condition_{w}'])} ({_range(s, w)})" for w in ("mean", "end")]
    return [head, cash(s["spent"]), opened(_bought(s["bought"], words)), *condition, words.listed(named) or words("step_none" if record["trip_judged"] else "not_told")]


def _gist(steps: Sequence[Mapping], record: Mapping, words: Words) -> list[str]:
    """What a reader takes along who moves no slider: what the most money would do, and where it no longer reaches."""
    cash = lambda v: money(v, record["currency"])
    owner, most = next(s for s in steps if s["budget_pct"] == 100), steps[-1]
    out = []
    if NO_PLAN not in (owner["state"], most["state"]) and most is not owner:
        out.append(words("step_gist_more", pct=most["budget_pct"], there=points(most["condition_mean"]), here=points(owner["condition_mean"])))
        if most["spent"] < USED * most["money"]:
            out.append(words("step_gist_left", money=cash(most["money"] - most["spent"])))
    none = [s for s in steps if s["state"] == NO_PLAN]
    if none:
        least = max(none, key=lambda s: s["budget_pct"])
        out.append(words("step_least", pct=least["budget_pct"]))
        out += [words("step_missing", money=cash(least["missing"]))] if least["missing"] > 0.5 else []
    return [" ".join(out)] if out else []


def _knows(steps: Sequence[Mapping], record: Mapping, words: Words) -> list[str]:
    """What holds for all steps."""
    untold = [name for f, name in sorted(record["names"].items()) if f not in record["trip_judged"]]
    return [words("step_hours_stay")] + ([words("step_trip_untold", fields=_few(untold, words))] if untold else []) + ([words("step_trip_hollows")] if any(c.get("limits", {}).get("ring_depth") for c in record["courses"].values()) else [])


def _few(names: Sequence[str], words: Words) -> str:
    return words.listed(names) if len(names) <= MOST_NAMED else ", ".join([*names[:MOST_NAMED], words.count("and_more", len(names) - MOST_NAMED)])
