"""How good the lip figures are: simulated edges with known lips, against the limits the methods set.

    python benchmarks/lip.py                  6 scenes per instrument, under a minute on a free core
    python benchmarks/lip.py --scenes 24      the table of the methods
    python benchmarks/lip.py --only growth    growth, shift, kinds or hard

Prints rmse, bias and cover in mm. Seeds are printed; the same seeds give the same table.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.edge_scene import INSTRUMENTS, Options, Scene  # noqa: E402
from support.lip_trials import (  # noqa: E402
    figures,
    growth_records,
    lips,
    mixed_scene,
    one_date,
    pair,
    ruled,
    true_kind,
)

from pipeline.errors import Refused  # noqa: E402

LONG_M = 37.5
LIMITS = {"good": (2.0, 4.0), "lidar": (2.0, 3.0), "weak": (2.5, 6.0)}
NAMES = ("good", "lidar", "weak")
SHARE = {"growth": 1, "kinds": 3}  # of the scenes, when all parts run


def line(label: str, records, limit: float | None = None) -> None:
    if not len(records):
        return
    f = figures(records)
    verdict = "" if limit is None else f"  limit {limit:g}: {'ok' if f['rmse'] <= limit else 'MISSED'}"
    print(
        f"  {label:26s} n {f['n']:5d}  rmse {f['rmse']:5.2f}  bias {f['bias']:+5.2f}  cover {f['cover']:.3f}"
        f"  sigma {f['sigma']:5.2f}{verdict}"
    )


def growth(seeds: range) -> None:
    for name in NAMES:
        began, records, left = time.perf_counter(), [], []
        for seed in seeds:
            p = pair(Scene(seed, INSTRUMENTS[name]))
            records += growth_records(p)
            left.append(p.left_mm)
        whole = [r for r in records if r.station_m is None]
        still = [r for r in whole if r.true == 0]
        print(f"growth, {name}, {time.perf_counter() - began:.0f} s")
        line("edges >= 37.5 m usable", [r for r in whole if r.length_m >= LONG_M], LIMITS[name][0])
        line("all edges", whole)
        line("5 m segments", [r for r in records if r.station_m is not None], LIMITS[name][1])
        print(f"  still edges flagged {sum(r.detected for r in still)} of {len(still)} (limit 8 %)")
        e, n = np.sqrt(np.mean(np.square(left), axis=0))
        print(f"  sideways shift, rms by axis {e:.1f} / {n:.1f}")


def shift(seeds: range) -> None:
    """50 mm put on the later date and taken off again, against the same scenes without; 200 mm must be refused."""
    for name in NAMES:
        costs, refused = {}, 0
        for moved in (0.0, 0.05):
            records = []
            for seed in seeds:
                angle = 2 * np.pi * seed / 7
                options = Options(shift_later_m=(moved * np.cos(angle), moved * np.sin(angle)))
                records += growth_records(pair(Scene(seed, INSTRUMENTS[name], options=options)))
            costs[moved] = figures([r for r in records if r.station_m is None])["rmse"]
        for seed in seeds:
            try:
                pair(Scene(seed, INSTRUMENTS[name], options=Options(shift_later_m=(0.16, 0.12))))
            except Refused:
                refused += 1
        cost = np.sqrt(max(costs[0.05] ** 2 - costs[0.0] ** 2, 0))
        print(f"shift, {name}: whole-edge rmse {costs[0.0]:.2f} -> {costs[0.05]:.2f} with 50 mm (cost {cost:.2f},")
        print(f"  limit 1.5); 200 mm refused {refused} of {len(seeds)}")


def kinds(seeds: range) -> None:
    for name in NAMES:
        seen = [(scene := mixed_scene(name, seed), *one_date(scene)) for seed in seeds]
        for label, counts, height in (
            ("no ruler", (0, 0, 0, 0, 0), None),
            ("turf height", (0, 0, 0, 0, 0), 0.028),
            ("15 readings on `outer`", (15, 0, 0, 0, 0), None),
            ("15 readings on each edge", (15,) * 5, None),
        ):
            wrong = decided = stations = 0
            edge_mean, other_mean, at_station = [], [], []
            for scene, edges, date in seen:
                found = lips(scene, edges, date, ruled(scene, date, list(counts), scene.seed), height)
                for number, (edge, table) in enumerate(zip(found, date)):
                    for q in edge[:-1]:
                        kind, rise, _ = true_kind(scene, q.edge_id, q.station_m)
                        stations += 1
                        decided += q.kind != "not_enough_evidence"
                        wrong += q.kind not in ("not_enough_evidence", kind)
                        if np.isfinite(q.height_m) and q.kind != "low_skin":
                            at_station.append((q.height_m * 1000, rise, q.height_sigma_m * 1000))
                    q = edge[-1]
                    true = np.mean([true_kind(scene, q.edge_id, s)[1] for s in table.s[table.usable]])
                    if q.kind != "low_skin":
                        group = edge_mean if counts[number] else other_mean
                        group.append((q.height_m * 1000, true, q.height_sigma_m * 1000))
            print(f"kinds, {name}, {label}: wrong {wrong} of {decided} decided (limit 5 %), {stations} stations")
            line("rise at stations", at_station)
            line("rise of ruled edges", edge_mean, 2.0)
            line("rise of other edges", other_mean, 4.0 if sum(counts) else None)


def hard(seeds: range) -> None:
    """What a field does besides: whole-edge growth under each."""
    cases = {
        "as declared": Options(),
        "grass 30 mm taller": Options(canopy_mm=(22, 52)),
        "mown by 30 mm": Options(canopy_mm=(52, 22)),
        "edge drawn 100 mm off": Options(drawn_shift_m=0.10),
        "edge drawn -100 mm off": Options(drawn_shift_m=-0.10),
        "10 mm of new mix on the skin": Options(topdress_mm=10),
        "no colour, no intensity": Options(colour=False),
        "blades thin on the lip twice as much": Options(thinning=0.30),
        "dust on the blades, later date": Options(dust=0.2),
    }
    for name in NAMES:
        print(f"hard, {name}")
        for label, options in cases.items():
            records = []
            for seed in seeds:
                records += growth_records(pair(Scene(seed, INSTRUMENTS[name], options=options)))
            line(label, [r for r in records if r.station_m is None])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=6)
    parser.add_argument("--seed", type=int, default=5000)
    parser.add_argument("--only", choices=("growth", "shift", "kinds", "hard"))
    asked = parser.parse_args()
    seeds = range(asked.seed, asked.seed + asked.scenes)
    print(f"seeds {seeds.start}..{seeds.stop - 1}, heights in mm")
    parts = {"growth": growth, "kinds": kinds, "shift": shift, "hard": hard}
    chosen = [asked.only] if asked.only else ["growth", "kinds"]
    for part in chosen:
        parts[part](seeds if asked.only else seeds[: max(len(seeds) // SHARE[part], 1)])


if __name__ == "__main__":
    main()
