"""The tables of the lip at one date."""

from __future__ import annotations

from benchmarks.accuracy.conditions import DECLARED, FLOWN
from benchmarks.accuracy.heights import MIXED, READINGS
from benchmarks.accuracy.judge import Errors, Share, Table
from benchmarks.accuracy.keep import Kept
from benchmarks.accuracy.limits import HEIGHT_RMSE, WRONG_KIND


def show(kept: Kept, seeds: range, table: Table) -> None:
    for condition in FLOWN:
        for case in (DECLARED, MIXED):
            told = kept.told(condition, case, seeds)
            if told:
                table.out(f"lip height, {condition}, {case}: {len(told)} scenes")
                for name in READINGS:
                    _one(name, [t[name] for t in told], case, table)


def _one(name: str, parts: list[dict], case: str, table: Table) -> None:
    rows = [r for p in parts for r in p["rows"]]
    whole, stations = ([r for r in rows if (r[1] is None) == one] for one in (True, False))
    table.errors(f"{name}: edges", Errors.of([r[2:5] for r in whole]), HEIGHT_RMSE.get(name) if case == DECLARED else None)
    table.errors("  stations", Errors.of([r[2:5] for r in stations]))
    table.share("  in the range shown", Share(sum(r[5] for r in stations), len(stations)))
    total = {k: sum(p[k] for p in parts) for k in ("stations", "decided", "wrong", "no_lip", "called_lip")}
    decided = Share(total["decided"], total["stations"])
    table.out(f"    kind decided at {decided.value:.2f} of {decided.n} stations")
    if total["decided"]:
        table.share("  wrong of those decided", Share(total["wrong"], total["decided"]), 0.0, WRONG_KIND)
    if total["no_lip"]:
        table.share("  called lip where there is none", Share(total["called_lip"], total["no_lip"]), 0.0, WRONG_KIND)
