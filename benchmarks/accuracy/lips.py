"""Lip growth between two simulated flights of a grass infield: 5 edges, curved, with cut-outs and corners."""

from __future__ import annotations

import os
import pickle
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
from support.edge_scene import Lip, Scene, grass_infield, random_lip
from support.lip_trials import Pair, growth_records, pair

from benchmarks.accuracy.conditions import CASES, DECLARED, FAR, FLOWN, HARD, SHIFTED
from benchmarks.accuracy.keep import stamp
from pipeline.errors import Refused

STILL = 2  # of a scene's five edges
FLOWN_FOLDER = "SKINPLANE_FLOWN"  # where tables are kept, so that new lip maths is judged without flying again


def lips_of(seed: int) -> dict[str, Lip]:
    """Drawn as declared; STILL edges, drawn by lot, did not grow."""
    rng = np.random.default_rng([seed, 21])
    lines = grass_infield()
    still = set(rng.permutation(len(lines))[:STILL].tolist())
    return {
        line.edge_id: replace(random_lip(rng), growth=0.0 if k in still else rng.uniform(2, 14)) for k, line in enumerate(lines)
    }


def scene_of(condition: str, case: str, seed: int) -> Scene:
    options = CASES[case].options
    if case in (SHIFTED, FAR):
        metres, bearing = (0.05 if case == SHIFTED else 0.20), 2.4 * seed
        options = replace(options, shift_later_m=(metres * np.cos(bearing), metres * np.sin(bearing)))
    return Scene(seed, CASES[case].instrument(condition), lips=lips_of(seed), options=options)


def growth(condition: str, case: str, seed: int) -> dict:
    """Rows of (edge, station or None, usable m, read, true, sigma, detected, in the range shown); `left` the shift not taken off, mm."""
    try:
        seen = _flown(condition, case, seed)
    except Refused as refused:
        return {"refused": refused.code, "rows": []}
    rows = [
        [r.edge_id, r.station_m, r.length_m, round(r.read, 3), round(float(r.true), 3), round(r.sigma, 3), bool(r.detected),
         bool(r.low <= r.true <= r.high)]
        for r in growth_records(seen)
    ]
    return {"rows": rows, "left": [round(float(v), 2) for v in seen.left_mm], "shift_sigma": round(seen.shift.sigma_m * 1e3, 2)}


def _flown(condition: str, case: str, seed: int) -> Pair:
    """The pair's tables, from the folder named by FLOWN_FOLDER where they are there."""
    scene = scene_of(condition, case, seed)
    folder = os.environ.get(FLOWN_FOLDER)
    if not folder:
        return pair(scene)
    path = Path(folder) / f"{stamp('flown')}-{condition}-{case.replace(' ', '_').replace('%', 'pct')}-{seed}"
    if path.exists():
        return Pair(scene, *pickle.loads(zlib.decompress(path.read_bytes())))
    seen = pair(scene)
    Path(folder).mkdir(parents=True, exist_ok=True)
    parts = seen.earlier, seen.later, seen.shapes, seen.shift, seen.left_mm
    beside = path.with_suffix(f".{os.getpid()}")
    beside.write_bytes(zlib.compress(pickle.dumps(parts), 1))
    beside.replace(path)
    return seen


def jobs(hard: bool, seeds: range) -> list[tuple[str, str, int]]:
    """The declared case on all seeds; sideways and hard cases on the first of them."""
    few = seeds[: max(len(seeds) // 8, 1)]
    out = [(c, DECLARED, s) for s in seeds for c in FLOWN]
    out += [(c, case, s) for s in few for case in (SHIFTED, FAR) for c in FLOWN]
    return out if not hard else [(c, case, s) for s in few for case in (DECLARED, *HARD) for c in FLOWN]
