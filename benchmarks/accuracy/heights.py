"""The lip at one date: kinds and heights without a ruler, with 15 readings over the field's other edges, with 15 on the edge.

As declared every edge has a lip; MIXED has edges with a lip, with low skin, with neither, and with a lip over a small step,
by lot, which the kinds are told by.
"""

from __future__ import annotations

import numpy as np
from support.edge_scene import Scene
from support.lip_trials import lips, mixed_scene, one_date, ruled, true_kind

from benchmarks.accuracy.conditions import CASES, DECLARED, FLOWN
from benchmarks.accuracy.lips import lips_of

TURF_M, MIXED = 0.028, "mixed"
NO_RULER, TURF, HERE = "no ruler", "turf height given", "15 readings on the edge"
ONE_OTHER, OTHERS = "15 readings on one other edge", "15 readings over the other edges"
READINGS = (NO_RULER, TURF, ONE_OTHER, OTHERS, HERE)
SPREAD = (4, 4, 4, 3)  # of the readings over the other edges


def height(condition: str, case: str, seed: int) -> dict:
    """By way of calibration: stations, decided, wrong; stations that are no lip, called one; and rows of figures.

    rows : (edge, station or None, read, true, sigma, in the bracket), of edges calibrated as the name says
    """
    scene = mixed_scene(condition, seed) if case == MIXED else Scene(seed, CASES[case].instrument(condition), lips=lips_of(seed))
    edges, seen = one_date(scene)
    out = {}
    for name in READINGS:
        found = _read(name, scene, edges, seen)
        told = {"stations": 0, "decided": 0, "wrong": 0, "no_lip": 0, "called_lip": 0, "rows": []}
        for number, (edge, table) in enumerate(zip(found, seen)):
            if name == ONE_OTHER and not number:
                continue
            for q in edge[:-1]:
                kind, rise, _ = true_kind(scene, q.edge_id, q.station_m)
                told["stations"] += 1
                told["decided"] += q.kind != "not_enough_evidence"
                told["wrong"] += q.kind not in ("not_enough_evidence", kind)
                told["no_lip"] += kind != "lip"
                told["called_lip"] += kind != "lip" and q.kind == "lip"
                told["rows"] += _row(q, rise)
            true = float(np.mean([true_kind(scene, edge[-1].edge_id, s)[1] for s in table.s[table.usable]]))
            told["rows"] += _row(edge[-1], true)
        out[name] = told
    return out


def _read(name: str, scene, edges, seen) -> list:
    """Every edge's stations under a way of calibration; for OTHERS each edge is read with the readings on the rest."""

    def read(counts) -> list:
        readings = ruled(scene, seen, list(counts), scene.seed)
        return lips(scene, edges, seen, readings, TURF_M if name == TURF else None)

    if name != OTHERS:
        return read({ONE_OTHER: (15, 0, 0, 0, 0), HERE: (15,) * 5}.get(name, (0,) * 5))
    out = []
    for left_out in range(len(seen)):
        rest = iter(SPREAD)
        out.append(read([0 if k == left_out else next(rest) for k in range(len(seen))])[left_out])
    return out


def _row(q, true: float) -> list[list]:
    """No row where nothing is told, or where what is told is the turf over the skin and not a lip."""
    if not np.isfinite(q.height_m) or q.kind == "low_skin":
        return []
    inside = bool(q.rise_low95_m * 1e3 <= true <= q.rise_high95_m * 1e3)
    return [[q.edge_id, q.station_m, round(q.height_m * 1e3, 2), round(float(true), 2), round(q.height_sigma_m * 1e3, 2), inside]]


def jobs(hard: bool, seeds: range) -> list[tuple[str, str, int]]:
    """Two scenes in five are enough: each has 160 stations."""
    return [(c, case, s) for s in seeds[: max(len(seeds) * 2 // 5, 1)] for case in (DECLARED, MIXED) for c in FLOWN]
