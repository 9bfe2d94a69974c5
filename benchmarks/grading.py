"""CPU seconds of one grading design: nodes every metre under a whole skin, cones for the most fall.

    .venv/bin/python benchmarks/grading.py --cells 28000
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from pipeline.works.grading.contradictions import designed
from pipeline.works.grading.forms import free
from pipeline.works.grading.programme import Ground
from pipeline.works.grading.wishes import Wishes, Worth

CELL_M = 0.25


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--cells", type=int, default=28000, help="cells of a quarter metre")
    cells = given.parse_args().cells
    side = int(round(np.sqrt(cells)))
    at = (np.arange(side) + 0.5) * CELL_M
    x, y = (v.ravel() for v in np.meshgrid(at, at))
    rng = np.random.default_rng(11)
    z = -0.008 * x + sum(a * np.sin(2 * np.pi * (x * np.cos(t) + y * np.sin(t)) / w + p) for a, w, t, p in zip((0.012, 0.008, 0.006), (11, 7, 4), (0.3, 1.7, 2.4), rng.uniform(0, 6, 3)))
    z += rng.normal(0, 0.003, z.size)
    ground = Ground(x, y, z, np.full(z.size, 0.05), CELL_M**2)
    for what, worth in (("nothing bought", Worth(14, 82, 22, 1.15, False, False)), ("bought and taken", Worth(14, 82, 22, 1.15))):
        began, wall = time.process_time(), time.perf_counter()
        form = free(x, y, 90.0)
        found, _, told = designed(ground, form, Wishes(0.005, 0.012, 20.0), worth)
        print(f"{what:17} {z.size} cells, {form.parameters} nodes: {time.process_time() - began:5.1f} s CPU, {time.perf_counter() - wall:5.1f} s wall,"
              f" cut {found.cut_m3:.2f} m3, fill {found.fill_m3:.2f} m3, wishes that gave way: {len(told)}")  # fmt: skip


if __name__ == "__main__":
    main()
