"""The tie over the skin: misfits of pairs drawn from the declared noise on patches of a ball field, 100 draws a seed.

Patch means are drawn, not flown.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from support.tied_field import ball_field, drawn

from benchmarks.accuracy.conditions import NOISE, longer
from benchmarks.accuracy.judge import Errors, Share, Table
from benchmarks.accuracy.keep import Kept
from benchmarks.accuracy.limits import LEAST_NAMED, TIE_COVER, TIE_RMSE
from pipeline.survey.plane import fit_plane
from pipeline.survey.stable.tie import tie_pair

LAYOUT, DRAWS = "baseball-60", 100
MOVED = 1  # the first dugout's slab
PATCHES = {
    "5 patches": (5, 0.0, 1.0), "7 patches": (7, 0.0, 1.0), "3 patches": (3, 0.0, 1.0), "4 patches": (4, 0.0, 1.0),
    "7, a slab 40 mm up": (7, 0.040, 1.0), "7, a slab 20 mm up": (7, 0.020, 1.0), "5, a slab 20 mm up": (5, 0.020, 1.0),
    "5, noise twice as long": (5, 0.0, 2.0), "5, noise half as long": (5, 0.0, 0.5),
    "7, noise twice as long": (7, 0.0, 2.0), "7, noise half as long": (7, 0.0, 0.5), "7, a slab 15 mm up": (7, 0.015, 1.0),
}  # fmt: skip
PLAIN = ("5 patches", "7 patches", "3 patches", "4 patches", "7, a slab 40 mm up")
HARD = tuple(p for p in PATCHES if p not in PLAIN)


def tie(condition: str, case: str, seed: int) -> dict:
    """Rows of (error left over the skin, claimed s.d., untied, a plane's error, its s.d., absolute, who was named)."""
    count, up_m, factor = PATCHES[case]
    field, noise = ball_field(LAYOUT), NOISE[condition]
    rng = np.random.default_rng([seed, list(PATCHES).index(case)])
    sample = drawn(field, longer(noise, factor), count, DRAWS, rng, noise)
    rows = []
    for found, truth in sample.pairs():
        found = [replace(m, later_m=m.later_m + up_m * (i == MOVED)) for i, m in enumerate(found)]
        told = tie_pair(found, sample.pair, field.centre, field.places)
        plane = fit_plane(*np.array([m.patch.centre for m in found]).T, [m.value_m for m in found]) if count > 3 else None
        at = field.places.mean(axis=0)
        flat = (float(plane.at(*at)) - truth, float(plane.sigma_at(*at))) if plane else (0.0, 0.0)
        named = None if not told.moved else told.moved == (found[MOVED].patch.patch_id,)
        values = (truth + told.shift_m, told.shift_sigma_m, truth, *flat)
        rows.append([*(round(v * 1e3, 3) for v in values), told.verdict == "absolute", named])
    return {"rows": rows}


def jobs(hard: bool, seeds: range) -> list[tuple[str, str, int]]:
    few = seeds[: max(len(seeds) // 10, 1)]  # 1000 draws of each
    return [(c, case, s) for s in few for case in (HARD if hard else PLAIN) for c in NOISE]


def show(kept: Kept, seeds: range, table: Table) -> None:
    _show(kept, seeds, table, PLAIN, True)


def show_hard(kept: Kept, seeds: range, table: Table) -> None:
    _show(kept, seeds, table, HARD, False)


def _show(kept: Kept, seeds: range, table: Table, cases, held: bool) -> None:
    for condition in NOISE:
        table.out(f"tie over the skin of a {LAYOUT} field, {condition}")
        for case in cases:
            rows = [r for t in kept.told(condition, case, seeds) for r in t["rows"]]
            if not rows:
                continue
            count, up_m, _ = PATCHES[case]
            left = Errors.of([(r[0], 0.0, r[1]) for r in rows])
            limit = TIE_RMSE.get((condition, count)) if held and not up_m else None
            table.errors(case, left, limit, None, TIE_COVER if limit else None)
            absolute = Share(sum(r[5] for r in rows), len(rows))
            if held and count == 3:
                table.line("  told as absolute", str(absolute), {"3 patches relative only": absolute.hits == 0})
            if count > 3 and not up_m:
                flat = Errors.of([(r[3], 0.0, r[4]) for r in rows])
                untied = float(np.sqrt(np.mean([r[2] ** 2 for r in rows])))
                table.out(f"    absolute {absolute.value:.2f}; untied {untied:.1f}; plane rmse {flat.rmse:.1f}, cover {flat.cover.value:.2f}")
            if up_m:
                low = LEAST_NAMED if held and condition in ("good", "lidar") else 0.0
                table.share("  the slab named", Share(sum(r[6] is True for r in rows), len(rows)), low)
                table.share("  another named", Share(sum(r[6] is False for r in rows), len(rows)))
