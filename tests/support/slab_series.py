"""Heights of a field's patches over several surveys, drawn from the declared noise, and slabs that move in them.

    .venv/bin/python -m tests.support.slab_series [--draws 300]

prints how often a slab that moved is named, and how often any patch of a still field is.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

if __package__ in (None, "", "tests.support"):
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from support.tied_field import MOVES_M, BallField, _drift, _mean, _random_places, _white, ball_field  # noqa: E402

from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, WEAK_PHOTOGRAMMETRY, Noise  # noqa: E402
from pipeline.survey.stable.patch_series import PatchDay, moved_patches  # noqa: E402
from pipeline.survey.stable.patches import PatchHeight  # noqa: E402

SOURCES = {"good": GOOD_PHOTOGRAMMETRY, "lidar": LIDAR, "weak": WEAK_PHOTOGRAMMETRY}
DATES = 6


def drawn_series(field: BallField, truth: Noise, count: int, draws: int, rng: np.random.Generator, dates: int = DATES,
                 declared: Noise | None = None) -> list[list[PatchDay]]:  # fmt: skip
    """Series of surveys of a still field, a quarter of a year apart; `declared`: what the surveys are taken for, None: the truth."""
    patches = field.chosen(count)
    where = [_random_places(p.shape, 60, rng) for p in patches]
    basis = np.array([_drift(w, field.centre).mean(axis=0) for w in where])
    spread = np.array([truth.shift_m, truth.tilt * 30, truth.tilt * 30, truth.dome_m])
    shared = np.array([[_mean(truth, a, b, 1.0, np.inf) for b in where] for a in where])
    root = np.linalg.cholesky(shared + 1e-15 * np.eye(count))
    short = np.array([_mean(truth, w, w, 0.0, 1.0) for w in (_random_places(p.shape, 300, rng) for p in patches)])
    white = np.array([_white(truth, p) for p in patches])
    own = np.sqrt(white**2 + MOVES_M**2 + short)
    size = (draws, dates)
    error = rng.standard_normal((*size, 4)) * spread @ basis.T + rng.standard_normal((*size, count)) @ root.T + rng.standard_normal((*size, count)) * own
    level = 100 + rng.standard_normal((draws, 1, count))
    return [
        [PatchDay(f"s{t}", t / 4, {p.patch_id: PatchHeight(p.patch_id, float(h), float(w), 100, 0) for p, h, w in zip(patches, row, white)},
                  declared or truth) for t, row in enumerate(one)]
        for one in level + error
    ]  # fmt: skip


def moved_by(days: list[PatchDay], patch_id: str, by_m: np.ndarray) -> list[PatchDay]:
    """The same surveys with one patch standing higher at each date, by_m (T,)."""
    return [
        replace(d, heights=d.heights | {patch_id: replace(d.heights[patch_id], height_m=d.heights[patch_id].height_m + float(b))})
        for d, b in zip(days, by_m)
    ]  # fmt: skip


def named(field: BallField, series: list[list[PatchDay]], count: int, patch_id: str = "", by_m: np.ndarray | None = None) -> tuple[float, float]:
    """Share of series in which the moved patch is named, and in which any other is."""
    right = wrong = 0
    for days in series:
        days = days if by_m is None else moved_by(days, patch_id, by_m)
        found = {m.patch_id for m in moved_patches(field.chosen(count), days, field.centre)}
        right += patch_id in found
        wrong += bool(found - {patch_id})
    return right / len(series), wrong / len(series)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--draws", type=int, default=300)
    asked.add_argument("--seed", type=int, default=5000)
    given = asked.parse_args()
    field = ball_field()
    step = np.arange(DATES) >= DATES // 2
    print(f"{DATES} surveys in 15 months, 7 patches, {given.draws} series a figure: share named (share in which another patch was)")
    print(f"{'':8}{'still':>10}{'step 15 mm':>16}{'10 mm':>16}{'drift to 15 mm':>16}{'last date 15 mm':>17}")
    for name, noise in SOURCES.items():
        series = drawn_series(field, noise, 7, given.draws, np.random.default_rng(given.seed))
        cells = [f"{named(field, series, 7)[1]:10.3f}"]
        for by in (0.015 * step, 0.010 * step, 0.015 * np.linspace(0, 1, DATES), 0.015 * (np.arange(DATES) == DATES - 1)):
            cells.append("{:10.2f} ({:.2f})".format(*named(field, series, 7, "dugout-first", by)))
        print(f"{name:8}" + "".join(cells), flush=True)
    for factor in (0.5, 2.0):
        for name, noise in SOURCES.items():
            parts = tuple((sd, r * (factor if r >= 1.0 else 1.0)) for sd, r in noise.parts)
            series = drawn_series(field, replace(noise, parts=parts), 7, given.draws, np.random.default_rng(given.seed + 1), declared=noise)
            print(f"correlation length x {factor:g}, {name}: still field named {named(field, series, 7)[1]:.3f}", flush=True)
    for name, noise in SOURCES.items():
        louder = drawn_series(field, noise.scaled(1.5), 7, given.draws, np.random.default_rng(given.seed + 2), declared=noise)
        print(f"correlated noise x 1.5, {name}: still field named {named(field, louder, 7)[1]:.3f}", flush=True)


if __name__ == "__main__":
    main()
