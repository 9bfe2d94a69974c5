"""The plan as lines, a field and year each: what is done, what it takes, what it promises, why."""

from __future__ import annotations

import numpy as np

from pipeline.plan.board import Board
from pipeline.plan.schedules import forced
from pipeline.plan.firmness import WORDS, word
from pipeline.plan.outcome import Z95
from pipeline.plan.reasons import Reason, reason
from pipeline.plan.treatments import LEVEL, LEVELLED, NONE, RESETS, TREATMENTS


def lines(made: Board) -> list[tuple[dict, Reason]]:
    """Rows of capital_plan.csv without their `reason`, each with it as data; by field, then year."""
    out = []
    for i, (f, p, s) in enumerate(zip(made.fields, made.priced, made.chosen.picks)):
        names, must = f.state.names, forced(f.state)
        condition = p.parts / made.terms.discount ** np.arange(made.programme.years)[:, None] / f.state.weight
        for t in range(made.programme.years):
            done = TREATMENTS[p.choice.words[s, t]]
            pinned = any(w.field_id == f.state.field_id and w.year == made.terms.first_year + t and w.treatment in (None, done) for w in made.terms.pins)
            mends = [n for n in must if n in RESETS[done] or done == LEVEL and n in LEVELLED]
            why = reason(made.programme, made.chosen.picks, i, t, p.parts, names, t == 0 and bool(mends), pinned, p.sure)
            row = {
                "year": made.terms.first_year + t, "field_id": f.state.field_id, "treatment": done, "cost": float(p.choice.cost[s, t]), "hours": float(p.choice.hours[s, t]),
                "tonnes": float(p.tonnes[s, t]), "expected_condition_after": float(condition[s, t].sum()), "firmness": WORDS[2] if why.doubtful else word(made.share[i, t]), "pinned": pinned,
                "loss_without": _without(p, s, t), "share": float(made.share[i, t]), "loss": float(p.choice.loss[s]), **_promise(f, p, s, t, done, why),
            }  # fmt: skip
            out.append((row, why))
    return out


def _without(p, s: int, t: int) -> float:
    """The field's loss with year t left out and all else as planned."""
    words = p.choice.words[s].copy()
    words[t] = TREATMENTS.index(NONE)
    at = np.flatnonzero((p.choice.words == words).all(axis=1))
    return float(p.choice.loss[at[0]]) if len(at) else float("nan")


def _promise(f, p, s: int, t: int, done: str, why: Reason) -> dict:
    """The treated component that the line is for, at the year's end with its band; nothing for a year without treatment."""
    treated = [n for n in f.state.names if n in RESETS[done] or done == LEVEL and n in LEVELLED]
    if not treated:
        return {}
    name = why.component if why.component in treated else treated[0]
    c = f.state.names.index(name)
    level, sd = p.found.level[s, t, c], p.found.sigma[s, t, c]
    return {"component": name, "promised_mm": float(level), "promised_low95_mm": float(level - Z95 * sd), "promised_high95_mm": float(level + Z95 * sd)}


def conditions(made: Board) -> dict[str, list[float]]:
    """Mean over the fields of the expected excess at each year's end, as planned and with nothing done."""
    bare = lambda p, f: p.parts / made.terms.discount ** np.arange(made.programme.years)[:, None] / f.state.weight
    of = lambda pick: [float(v) for v in np.mean([bare(p, f)[pick[i]].sum(axis=1) for i, (p, f) in enumerate(zip(made.priced, made.fields))], axis=0)]
    return {"planned": of(made.chosen.picks), "untreated": of([0] * len(made.fields))}


def over_years(made: Board) -> dict[str, dict[str, list[int]]]:
    """Field -> the years at whose end some measure is more likely over tolerance than not: as planned, and with nothing done."""
    out = {}
    for f, p, s in zip(made.fields, made.priced, made.chosen.picks):
        limits = np.array([f.state.components[n].limit for n in f.state.names])
        years = lambda pick: [made.terms.first_year + int(t) for t in np.flatnonzero((p.found.level[pick] > limits).any(axis=1))]
        out[f.state.field_id] = {"planned": years(s), "untreated": years(0)}
    return out


def comings(made: Board) -> list[float]:
    """(T,) money that contractors' comings cost, which no field's line holds."""
    money, _ = made.programme.spent(made.chosen.picks)
    return [float(m - sum(p.choice.cost[s, t] for p, s in zip(made.priced, made.chosen.picks))) for t, m in enumerate(money)]


