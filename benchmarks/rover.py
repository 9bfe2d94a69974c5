"""What a rover's walks are worth: stretches found by crossings, the raster's sigma. Lip growth: `benchmarks.accuracy`.

    python benchmarks/rover.py [--walks 20] [--seed 1]

Prints each figure beside its limit; exits 1 where one is missed. Scenes are invented (tests/support/rover_scene.py).
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the matrices are small: threads only get in each other's way
ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np  # noqa: E402
from support.rover_scene import Ground2D, as_walk, field_path, field_walk  # noqa: E402

from pipeline.frame import Grid  # noqa: E402
from pipeline.survey.walks.crossings import crossings  # noqa: E402
from pipeline.survey.walks.tin import tin_raster  # noqa: E402
from pipeline.survey.walks.walk import to_ground, white_noise  # noqa: E402
from pipeline.survey.walks.walk_clean import clean  # noqa: E402


class Limits:
    """Prints figures beside their limits and remembers whether one was missed."""

    def __init__(self) -> None:
        self.missed = 0

    def show(self, name: str, value: float, low: float, high: float, unit: str = "") -> None:
        good = low <= value <= high
        self.missed += not good
        print(f"  {name:<52}{value:9.3f} {unit:<3} limit {low:g} to {high:g}{'' if good else '   MISSED'}")


def stretches(walks: int, seed: int, limits: Limits) -> None:
    """A stretch of 60 to 300 rows off by 50 to 300 mm in a walk of some 2,700 rows."""
    rng = np.random.default_rng(seed)
    hit, false, error, spent = [], [], [], 0.0
    for _ in range(walks):
        x, y, z, line = field_walk(rng, Ground2D(rng), field_path())
        first, size = int(rng.integers(100, len(x) - 400)), int(rng.integers(60, 300))
        off = rng.choice([-1, 1]) * rng.uniform(0.05, 0.30)
        z[first : first + size] += off
        cleaned = clean(as_walk(x, y, z, line))
        start = time.process_time()
        told = crossings([cleaned], [white_noise(cleaned.walk)])
        spent += time.process_time() - start
        bad = (cleaned.walk.row > first) & (cleaned.walk.row <= first + size)
        out = ~told.measures(0)
        hit.append(out[bad].mean())
        false.append(out[~bad].mean())
        error += [(s.offset_m - off) * 1e3 for s in told.stretches if s.verdict == "off"]
    print(f"crossings: n {walks}, {spent / walks:.2f} s CPU a walk")
    limits.show("share of the rows off that are left out", float(np.mean(hit)), 0.9, 1)
    limits.show("share of the good rows left out", float(np.mean(false)), 0, 0.01)
    limits.show("rmse of the named offsets", float(np.sqrt(np.mean(np.square(error)))), 0, 12, "mm")


def surface(walks: int, seed: int, limits: Limits) -> None:
    """Errors of the raster over its sigma: smooth and uneven ground, lines 1.2 to 6 m apart."""
    grid = Grid.covering((0, 0, 30, 30), "EPSG:6564", 0.1)
    for rough, reach, apart in ((0.008, 3.0, 1.2), (0.020, 2.0, 1.2), (0.008, 3.0, 2.5), (0.030, 6.0, 6.0)):
        ratio, square, spent = [], [], 0.0
        for k in range(walks):
            rng = np.random.default_rng([seed, k])
            ground = Ground2D(rng, rough, reach)
            walk = as_walk(*field_walk(rng, ground, field_path(apart=apart)))
            start = time.process_time()
            told = tin_raster(to_ground(walk, grid), grid, white_noise(walk)).surface
            spent += time.process_time() - start
            held = np.flatnonzero(np.isfinite(told.z))[::7]
            e, n = (v.ravel()[held] for v in grid.mesh())
            error = told.z.ravel()[held] - ground(e, n)
            ratio.append(np.mean((error / told.sigma.ravel()[held]) ** 2))
            square.append(np.mean(error**2))
        print(f"raster, uneven by {rough * 1e3:.0f} mm over {reach:.0f} m, lines {apart} m: {spent / walks:.2f} s CPU")
        limits.show("rms error", float(np.sqrt(np.mean(square)) * 1e3), 0, 15, "mm")
        limits.show("rms of error over sigma", float(np.sqrt(np.mean(ratio))), 0.8, 1.25)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--walks", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print(f"seed {asked.seed}")
    limits = Limits()
    stretches(asked.walks, asked.seed, limits)
    surface(min(asked.walks, 8), asked.seed, limits)
    return int(limits.missed > 0)


if __name__ == "__main__":
    raise SystemExit(main())
