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
                "loss_without": _without(p, s, t), "share": float(made.share[i, t]), "loss": float(p.choice.loss[s]), **_promise(f, p, s, t, done, why), "left": _left(f, p, s, t, why),
            }  # fmt: skip
            out.append((row, why))
    return out


def _bare(p, s: int, t: int) -> int | None:
    """The schedule with year t left out and all else as planned."""
    words = p.choice.words[s].copy()
    words[t] = TREATMENTS.index(NONE)
    at = np.flatnonzero((p.choice.words == words).all(axis=1))
    return int(at[0]) if len(at) else None


def _without(p, s: int, t: int) -> float:
    """The field's loss with year t left out and all else as planned."""
    at = _bare(p, s, t)
    return float("nan") if at is None else float(p.choice.loss[at])


def _left(f, p, s: int, t: int, why: Reason) -> list[float] | None:
    """Level and s.d., mm, of the measure that the line mends, at the year's end with the line left out; None where it mends none."""
    at = _bare(p, s, t)
    if at is None or at == s or not why.component:
        return None
    c = f.state.names.index(why.component)
    return [float(p.found.level[at, t, c]), float(p.found.sigma[at, t, c])]


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
    """Mean over the fields of the expected excess at each year's end: as planned, with nothing done, and as each rival would have it;
    of the first two the 95 % ends `<name>_low95` and `<name>_high95`, see `ends`. Rivals that cannot keep to what must be done are not in it."""
    ways = {"planned": made.chosen.picks, "untreated": [0] * len(made.fields)}
    out = {name: mean_excess(made, picks) for name, picks in (ways | {n: o.picks for n, o in made.others.items() if o is not None}).items()}
    for name, picks in ways.items():
        low, high = ends(made, picks)
        out[f"{name}_low95"], out[f"{name}_high95"] = np.minimum(low, out[name]).tolist(), np.maximum(high, out[name]).tolist()
    return out


def mean_excess(made: Board, picks) -> list[float]:
    """Mean over the fields of the expected excess at each year's end, each in tolerances."""
    bare = lambda p, f: p.parts / made.terms.discount ** np.arange(made.programme.years)[:, None] / f.state.weight
    return [float(v) for v in np.mean([bare(p, f)[s].sum(axis=1) for p, f, s in zip(made.priced, made.fields, picks)], axis=0)]


def ends(made: Board, picks) -> tuple[np.ndarray, np.ndarray]:
    """(T,) each: 95 % ends of the mean excess, as if all measures of all fields erred the same way. How far their errors go together is
    not known; a sum of figures that err alike spreads the most, so the truth is no wider.

    source : quantiles of a comonotone sum add up, Dhaene et al. 2002 (from memory)
    """
    def of(f, p, s: int, z: float) -> np.ndarray:
        limit, scale = (np.array([getattr(f.state.components[n], what) for n in f.state.names]) for what in ("limit", "scale"))
        return (np.maximum(p.found.level[s] + z * p.found.sigma[s] - limit, 0.0) / scale).sum(axis=1)

    low, high = (np.mean([of(f, p, s, z) for f, p, s in zip(made.fields, made.priced, picks)], axis=0) for z in (-Z95, Z95))
    return low, high


def over_years(made: Board) -> dict[str, dict[str, list[int]]]:
    """Field -> the years at whose end some measure is more likely over tolerance than not: as planned, and with nothing done."""
    out = {}
    for f, p, s in zip(made.fields, made.priced, made.chosen.picks):
        limits = np.array([f.state.components[n].limit for n in f.state.names])
        years = lambda pick: [made.terms.first_year + int(t) for t in np.flatnonzero((p.found.level[pick] > limits).any(axis=1))]
        out[f.state.field_id] = {"planned": years(s), "untreated": years(0)}
    return out


def courses(made: Board) -> dict[str, dict[str, dict[str, list]]]:
    """Field -> `limits`: component -> limit and the least depth of mix or the tolerance, mm; `planned` and `untreated`: component ->
    level and s.d. at each year's end, mm, as planned and with nothing done."""
    out = {}
    for f, p, s in zip(made.fields, made.priced, made.chosen.picks):
        of = lambda pick: {n: [[float(m), float(sd)] for m, sd in zip(p.found.level[pick, :, c], p.found.sigma[pick, :, c])] for c, n in enumerate(f.state.names)}
        limits = {n: [float(f.state.components[n].limit), float(f.state.components[n].scale)] for n in f.state.names}
        out[f.state.field_id] = {"limits": limits, "planned": of(s), "untreated": of(0)}
    return out


def comings(made: Board) -> list[float]:
    """(T,) money that contractors' comings cost, which no field's line holds."""
    money, _ = made.programme.spent(made.chosen.picks)
    return [float(m - sum(p.choice.cost[s, t] for p, s in zip(made.priced, made.chosen.picks))) for t, m in enumerate(money)]


