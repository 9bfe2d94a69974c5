"""Series of surveys of still ground on a grid, their errors drawn from one spectrum and taken for another.

    .venv/bin/python -m tests.support.noisy_series [--series 40]

prints how often 95 % intervals of zone means hold the truth, which is no change, with the declared noise and with what the
field's own differences show of it.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np
import shapely

from pipeline.change.difference import tied_change
from pipeline.frame import Grid
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, WEAK_PHOTOGRAMMETRY, Noise, of_difference
from pipeline.survey.stable.correlated import error_fields
from pipeline.survey.stable.drift import drift_basis
from pipeline.survey.stable.misfit import misfits
from pipeline.survey.stable.noise_fit import combined, fit_noise
from pipeline.survey.stable.patches import Footprint, PatchHeight, footprint, height_from_cells, spread_places
from pipeline.survey.stable.tie import tie_pair

CELL, SIDE = 0.25, 48.0
GRID = Grid.covering((0.0, 0.0, SIDE, SIDE), "EPSG:6550", CELL)
MIDDLE = (SIDE / 2, SIDE / 2)
SKIN = shapely.Point(24, 12).buffer(22).intersection(shapely.box(2, 8, 46, 46)).difference(shapely.Point(24, 20).buffer(6))
ZONES = {f"disc-{k}": shapely.Point(x, y).buffer(0.9) for k, (x, y) in enumerate(((10, 14), (14, 26), (24, 31), (33, 26), (38, 14), (24, 10)))}
SLABS = ((5, 4), (24, 3), (43, 4), (4, 30), (44, 30), (24, 44), (24, 20))
PATCHES: list[Footprint] = [footprint(f"slab-{k}", shapely.box(x - 1, y - 1, x + 1, y + 1)) for k, (x, y) in enumerate(SLABS)]
SOURCES = {"good": GOOD_PHOTOGRAMMETRY, "lidar": LIDAR, "weak": WEAK_PHOTOGRAMMETRY}
WHITE_SHARE = 0.15  # of a point's s.d. left in a cell of some 50 points


def lengthened(noise: Noise, factor: float) -> Noise:
    return replace(noise, parts=tuple((sd, range_m * factor) for sd, range_m in noise.parts))


def series(truth: Noise, count: int, rng: np.random.Generator) -> list[np.ndarray]:
    """Heights of so many surveys of level ground, (ny, nx) each, m: shift, tilt, dome, correlated parts, white."""
    fields = error_fields(truth, GRID.shape, CELL, count, rng, WHITE_SHARE * truth.white_m)
    spread = np.array([truth.shift_m, truth.tilt * 30, truth.tilt * 30, truth.dome_m])
    basis = drift_basis(*GRID.mesh(), MIDDLE)
    return [100.0 + f + basis @ (spread * rng.standard_normal(4)) for f in fields]


def used_noise(surveys: list[np.ndarray], declared: Noise) -> Noise:
    """What the differences of one survey and the next show, with what is declared."""
    pair, skin = of_difference(declared, declared), GRID.mask(SKIN)
    white = WHITE_SHARE * declared.white_m * 2**0.5
    fits = [fit_noise(np.where(skin, b - a, np.nan), CELL, pair, white) for a, b in zip(surveys, surveys[1:])]
    return combined(pair, [replace(f, freedom=tuple(v * 2 / 3 for v in f.freedom)) for f in fits])


def zone_scores(surveys: list[np.ndarray], declared: Noise, pair: Noise) -> tuple[list[float], list[float]]:
    """Mean change over its s.d., of the skin and of the discs, between the first survey and each other."""
    white = np.full(GRID.shape, WHITE_SHARE * declared.white_m)
    heights = [_heights(z, declared) for z in surveys]
    masks = {"skin": GRID.mask(SKIN)} | {k: GRID.mask(v) for k, v in ZONES.items()}
    skin, discs = [], []
    for z, h in zip(surveys[1:], heights[1:]):
        tie = tie_pair(misfits(PATCHES, heights[0], h, pair), pair, MIDDLE, spread_places(SKIN, 150))
        change = tied_change(GRID, surveys[0], z, white, white, pair, tie)
        weights = [m / m.sum() for m in masks.values()]
        sigma = np.sqrt(np.diag(change.uncertainty.covariance(weights)))
        score = [float((w * change.dz).sum() / s) for w, s in zip(weights, sigma)]
        skin.append(score[0])
        discs += score[1:]
    return skin, discs


def _heights(z: np.ndarray, declared: Noise) -> dict[str, PatchHeight]:
    return {p.patch_id: height_from_cells(z, GRID, p, WHITE_SHARE * declared.white_m) for p in PATCHES}


def covered(truth: Noise, declared: Noise, count: int, rng: np.random.Generator, surveys: int = 4) -> dict[str, tuple[float, float]]:
    """Share of 95 % intervals that hold no change, (skin, discs), with the declared noise and with the fitted."""
    scores: dict[str, tuple[list[float], list[float]]] = {"declared": ([], []), "fitted": ([], [])}
    for _ in range(count):
        found = series(truth, surveys, rng)
        for word, pair in (("declared", of_difference(declared, declared)), ("fitted", used_noise(found, declared))):
            for kept, new in zip(scores[word], zone_scores(found, declared, pair)):
                kept += new
    return {word: tuple(float(np.mean(np.abs(s) < 1.96)) for s in kept) for word, kept in scores.items()}


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--series", type=int, default=40)
    asked.add_argument("--seed", type=int, default=5000)
    given = asked.parse_args()
    print(f"four surveys a series, {given.series} series a line: cover of skin / of discs of 0.9 m")
    for name, noise in SOURCES.items():
        for change, truth in ((f"length x {f:g}", lengthened(noise, f)) for f in (0.5, 1.0, 2.0)):
            found = covered(truth, noise, given.series, np.random.default_rng(given.seed))
            print(f"{name:6s} {change:13s}" + "".join(f"   {w} {a:.3f} / {b:.3f}" for w, (a, b) in found.items()), flush=True)
        found = covered(noise.scaled(1.5), noise, given.series, np.random.default_rng(given.seed))
        print(f"{name:6s} {'s.d. x 1.5':13s}" + "".join(f"   {w} {a:.3f} / {b:.3f}" for w, (a, b) in found.items()), flush=True)


if __name__ == "__main__":
    main()
