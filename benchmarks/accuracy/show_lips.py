"""The tables of lip growth."""

from __future__ import annotations

import numpy as np

from benchmarks.accuracy.conditions import DECLARED, FAR, FLOWN, HARD, SHIFTED
from benchmarks.accuracy.judge import Errors, Share, Table
from benchmarks.accuracy.keep import Kept
from benchmarks.accuracy.limits import COVER, LONG_M, LONG_RMSE, MOST_BIAS, MOST_FLAGGED, PIECE_RMSE, SHIFT_COST
from benchmarks.accuracy.lips import scene_of
from pipeline.survey.edges.horizontal import LIMIT_M

NEAR_M = 0.010  # of the limit: either answer is right


def rows_of(told: list[dict]) -> list[list]:
    return [row for scene in told for row in scene["rows"]]


def _triples(rows) -> Errors:
    return Errors.of([row[3:6] for row in rows])


def show(kept: Kept, seeds: range, table: Table) -> None:
    for condition in FLOWN:
        told = kept.told(condition, DECLARED, seeds)
        if not told:
            continue
        rows = rows_of(told)
        whole, pieces = ([r for r in rows if (r[1] is None) == one] for one in (True, False))
        long = [r for r in whole if r[2] >= LONG_M]
        table.out(f"lip growth, {condition}: {len(told)} scenes, {len(whole)} edges, {len(long)} of {LONG_M:g} m usable and more")
        table.errors("long edges", _triples(long), LONG_RMSE[condition], MOST_BIAS, COVER)
        table.errors("all edges", _triples(whole))
        table.share("  in the range shown", Share(sum(r[7] for r in whole), len(whole)))
        table.errors("5 m pieces", _triples(pieces), PIECE_RMSE[condition])
        for name, held in (("still edges flagged", whole), ("of them long", long)):
            still = [r for r in held if r[4] == 0]
            table.share(name, Share(sum(r[6] for r in still), len(still)), 0.0, MOST_FLAGGED)
        e, n = np.sqrt(np.mean(np.square([t["left"] for t in told]), axis=0))
        table.out(f"  sideways left, rms east/north {e:.1f} / {n:.1f} mm, claimed {np.mean([t['shift_sigma'] for t in told]):.1f}")
        _sideways(kept, condition, seeds, table)


def _sideways(kept: Kept, condition: str, seeds: range, table: Table) -> None:
    both = [s for s in seeds if (condition, SHIFTED, s) in kept.found and (condition, DECLARED, s) in kept.found]
    if not both:
        return
    plain, moved = (
        _triples([r for s in both for r in kept.found[condition, case, s]["rows"] if r[1] is None]).rmse
        for case in (DECLARED, SHIFTED)
    )
    cost = float(np.sqrt(max(moved**2 - plain**2, 0.0)))
    words = f"{len(both)} scenes, whole-edge rmse {plain:.2f} -> {moved:.2f}, cost {cost:.2f}"
    table.line(SHIFTED, words, {f"cost <= {SHIFT_COST:g}": cost <= SHIFT_COST})
    _far(kept, condition, seeds, table)


def _far(kept: Kept, condition: str, seeds: range, table: Table) -> None:
    """What is over the limit is refused; with a survey's own shift on top of it, 200 mm may be less than the limit."""
    seen = [s for s in seeds if (condition, FAR, s) in kept.found]
    refused = {s: "refused" in kept.found[condition, FAR, s] for s in seen}
    beyond = [s for s in seen if _apart_m(scene_of(condition, FAR, s)) > LIMIT_M + NEAR_M]
    words = f"refused {sum(refused.values())} of {len(seen)}; of the {len(beyond)} really beyond {LIMIT_M * 1e3:.0f} mm {sum(refused[s] for s in beyond)}"
    table.line(FAR, words, {"all beyond refused": all(refused[s] for s in beyond)})


def _apart_m(scene) -> float:
    return float(np.hypot(*(scene.moved(1) - scene.moved(0))))


def show_hard(kept: Kept, seeds: range, table: Table) -> None:
    for condition in FLOWN:
        table.out(f"lip growth when what is assumed is wrong, {condition}: whole edges")
        for case in (DECLARED, *HARD):
            told = kept.told(condition, case, seeds[: max(len(seeds) // 8, 1)])
            whole = [r for r in rows_of(told) if r[1] is None]
            table.errors(case, _triples(whole))
            growing = [r for r in whole if r[4] > 0]
            if growing:
                table.errors("  of them grown", _triples(growing))
                table.share("  of them in the range shown", Share(sum(r[7] for r in growing), len(growing)))
            still = [r for r in whole if r[4] == 0]
            if whole:
                refused = sum("refused" in t for t in told)
                table.share("  still ones flagged" + (f", {refused} scenes refused" if refused else ""),
                            Share(sum(r[6] for r in still), len(still)))  # fmt: skip
