"""Each budget step told: what it buys, what is added or falls off against the plan, how the fields stand at the end."""

from __future__ import annotations

from collections import Counter
from typing import Iterator

import numpy as np
from scipy.special import ndtr

from pipeline.plan.board import Board
from pipeline.plan.budgets import SOLVED, Other, with_money
from pipeline.plan.condition import SURE
from pipeline.plan.feasible import Infeasible, feasible
from pipeline.plan.lines import ends, mean_excess
from pipeline.plan.treatments import NONE, TREATMENTS
from pipeline.surface.verdict import UNLIKELY

OWNER, AS_GOOD, ROUGH, NO_PLAN = "owner", "solved", "rough", "no_plan"


def budget_steps(made: Board) -> list[dict]:
    """A row a step, as in budget_steps.csv; `bought` treatment -> how many, `changed` field-years that get something else than in the plan."""
    out = []
    for pct, step in made.budgets.items():
        given = with_money(made.programme, pct).means.money
        row = {"budget_pct": pct, "money": float(given.sum()), "state": _state(pct, step)}
        out.append(row | ({"missing": missing(made, pct)} if step is None else _told(made, step)))
    return out


def missing(made: Board, pct: int) -> float:
    """The least money, over all years, that what must be done lacks at a step where no plan keeps to it."""
    try:
        feasible(with_money(made.programme, pct))
    except Infeasible as none:
        return float(sum(none.money))
    return 0.0


def _state(pct: int, step: Other | None) -> str:
    return NO_PLAN if step is None else OWNER if pct == 100 else AS_GOOD if step.gap <= SOLVED else ROUGH


def _told(made: Board, step: Other) -> dict:
    planned = np.array(mean_excess(made, step.picks))
    low, high = ends(made, step.picks)
    low, high = np.minimum(low, planned), np.maximum(high, planned)
    surely, perhaps = over_trip(made, step.picks)
    return {
        "spent": sum(step.spent), "hours": float(made.programme.spent(step.picks)[1].sum()), "loss": step.loss, "gap": step.gap,
        **{f"condition_{name}": float(v[-1]) for name, v in (("end", planned), ("end_low95", low), ("end_high95", high))},
        **{f"condition_{name}": float(v.mean()) for name, v in (("mean", planned), ("mean_low95", low), ("mean_high95", high))},
        "over_trip": surely, "perhaps_over_trip": perhaps, "bought": bought(made, step.picks), "changed": list(changed(made, step.picks)),
    }  # fmt: skip


def bought(made: Board, picks) -> dict[str, int]:
    """How many of each treatment."""
    return dict(Counter(TREATMENTS[w] for c, s in zip(made.programme.choices, picks) for w in c.words[s] if TREATMENTS[w] != NONE))


def changed(made: Board, picks) -> Iterator[dict]:
    """Field-years that get something else than in the plan."""
    for c, a, b in zip(made.programme.choices, made.chosen.picks, picks):
        for t in range(made.programme.years):
            before, after = TREATMENTS[c.words[a, t]], TREATMENTS[c.words[b, t]]
            if before != after:
                yield {"field_id": c.field_id, "year": made.terms.first_year + t, "from": before, "to": after}


def trip_judged(made: Board) -> list[str]:
    """Fields of which the plan holds a measure against a trip limit: of the others `over_trip` says nothing."""
    return sorted(f.state.field_id for f in made.fields if any(np.isfinite(c.trip) for c in f.state.components.values()))


def over_trip(made: Board, picks) -> tuple[list[str], list[str]]:
    """Fields with a measure over its trip limit at the last year's end: with a chance of SURE or more; with one between UNLIKELY and that.
    Measures without a trip limit of their own in the plan (hollows are filled at once) count for nothing."""
    surely, perhaps = [], []
    for f, p, s in zip(made.fields, made.priced, picks):
        trips = np.array([f.state.components[n].trip for n in f.state.names])
        level, sd = p.found.level[s, -1], np.maximum(p.found.sigma[s, -1], 1e-9)
        worst = float(ndtr((level - trips) / sd).max(initial=0.0))
        if worst > UNLIKELY:
            (surely if worst >= SURE else perhaps).append(f.state.field_id)
    return sorted(surely), sorted(perhaps)
