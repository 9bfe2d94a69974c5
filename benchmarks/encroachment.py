"""How well the beginning of the grass is read: simulated edges into which grass has come, by a known amount.

    python benchmarks/encroachment.py                 5 scenes a condition, some 3 minutes on a free core
    python benchmarks/encroachment.py --scenes 12     the table
    python benchmarks/encroachment.py --seed 7000     seeds on which nothing was chosen (6000 and up: the tests' own)

Whole edges and 5 m segments, against the given edge at one date (the survey's own sideways place included) and between
two dates, the later one laid onto the earlier's edges as in a run. Prints rmse, bias and cover of 95 % brackets in mm.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.edge_scene import INSTRUMENTS, Options, Scene, single_arc, small_infield  # noqa: E402
from support.lip_trials import figures, foreign  # noqa: E402
from support.random_ground import random_line, read_line  # noqa: E402

from pipeline.survey.edges.edge_fit import fit_edge  # noqa: E402
from pipeline.survey.edges.edge_table import edge_table  # noqa: E402
from pipeline.survey.edges.encroachment import against_edge, grass_line, onto, since  # noqa: E402
from pipeline.survey.edges.registration import register  # noqa: E402

DECLARED_MM = {"good": 10.0, "weak": 25.0, "lidar": 15.0}  # horizontal, each axis, of one survey
LINES = {"good, one arc alone": single_arc(20, 50)}
CONDITIONS = {
    "good": ("good", Options()),
    "weak": ("weak", Options()),
    "lidar": ("lidar", Options()),
    "lidar, no intensity": ("lidar", Options(colour=False)),
    "good, no colour": ("good", Options(colour=False)),
    "good, dust on the blades later": ("good", Options(dust=0.3)),
    "good, one arc alone": ("good", Options()),
}
LIMITS = {"good": 30.0, "weak": 60.0, "lidar, no intensity": 60.0}


class GrassScene(Scene):
    """A scene whose grass begins further in the skin: each edge its own mean, wandering along it, more at the later date.

    The lip's soil stays where it is. `come_mm(edge, date, stations)` is the truth, the ragged line included.
    """

    def __init__(self, seed, instrument, lines, options=Options(), least_mm=0.0, most_mm=150.0, later_mm=(0.0, 80.0)):
        rng = np.random.default_rng([seed, 21])
        self.come, self.ragged = {}, {}
        for line in lines:
            n = int(line.length / 0.1) + 60
            first = rng.uniform(least_mm, most_mm) * (1 + 0.3 * random_line(rng, n, 6.0))
            gained = rng.uniform(*later_mm) * (1 + 0.3 * random_line(rng, n, 6.0))
            self.come[line.edge_id] = first / 1000, (first + gained) / 1000
        super().__init__(seed, instrument, lines, None, options)

    def _strip(self, rng, line, date, canopy, strip, ragged, texture, skin_move):
        moved = ragged - self.come[line.edge_id][date]
        self.ragged[line.edge_id, date] = moved
        return super()._strip(rng, line, date, canopy, strip, moved, texture, skin_move)

    def begins(self, edge_id: str, date: int, stations: np.ndarray) -> np.ndarray:
        """Where the grass begins, + in the grass, m; the survey of that date must have been drawn."""
        return read_line(self.ragged[edge_id, date], stations)


def records(scene: GrassScene, declared_mm: float):
    """(read, true, sigma) in mm of whole edges and segments at one date and between two, edges told, shift applied."""
    grounds = [scene.survey(0), scene.survey(1)]
    series = [fit_edge(grounds[0], e).measured for e in scene.edges]
    blind = foreign(series, scene)
    first = [edge_table(grounds[0], e, f) for e, f in zip(series, blind)]
    shift, _, later = register(grounds[1], series, blind, first, declared_mm / 1000 * 2**0.5)
    out, told = {"edge": [], "5 m": [], "edge, since": [], "5 m, since": []}, 0
    for given, line, a, b in zip(scene.edges, series, first, later):
        one, two = grass_line(a, line), grass_line(b, line)
        told += bool(one.told_by)
        held = onto(one, given)
        begins = [scene.begins(given.edge_id, k, held.station) for k in (0, 1)]
        drawn = read_line(scene.true[given.edge_id]["drawn"], held.station)
        collect(out, "", against_edge(one, given, declared_mm / 1000), held.station, held.seen, drawn - begins[0])
        begins = [scene.begins(given.edge_id, k, one.station) for k in (0, 1)]
        collect(out, ", since", since(one, two, shift.sigma_m), one.station, one.seen & two.seen, begins[0] - begins[1])
    return out, told, shift


def collect(out, name, found, station, seen, true) -> None:
    """Add an edge's figures beside their truth over the very rows that were read."""
    for part in (found.whole, *found.segments):
        if np.isfinite(part.encroached_m):
            mine = seen if part.station_m is None else seen & (np.abs(station - part.station_m) < 2.5)
            key = ("edge" if part.station_m is None else "5 m") + name
            out[key].append((part.encroached_m * 1000, 1000 * float(true[mine].mean()), part.sigma_m * 1000))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=5)
    parser.add_argument("--seed", type=int, default=7000)
    parser.add_argument("--only", choices=tuple(CONDITIONS))
    asked = parser.parse_args()
    seeds = range(asked.seed, asked.seed + asked.scenes)
    print(f"seeds {seeds.start}..{seeds.stop - 1}, millimetres")
    for label, (name, options) in CONDITIONS.items():
        if asked.only and label != asked.only:
            continue
        began, pooled, told, edges, left = time.perf_counter(), {}, 0, 0, []
        for seed in seeds:
            scene = GrassScene(seed, INSTRUMENTS[name], LINES.get(label, small_infield()), options)
            found, seen, shift = records(scene, DECLARED_MM[name])
            told, edges = told + seen, edges + len(scene.edges)
            left.append(scene.moved(0) - scene.moved(1) - [shift.e_m, shift.n_m])
            for key, values in found.items():
                pooled.setdefault(key, []).extend(values)
        east, north = 1000 * np.sqrt(np.mean(np.square(left), axis=0))
        took = time.perf_counter() - began
        print(f"{label}: told on {told} of {edges} edges, sideways left {east:.0f} / {north:.0f}, {took:.0f} s")
        for key, values in pooled.items():
            if not values:
                continue
            f = figures(values)
            limit = LIMITS.get(label)
            verdict = "" if limit is None else f"  limit {limit:g}: {'ok' if f['rmse'] <= limit else 'MISSED'}"
            figure = f"rmse {f['rmse']:5.1f}  bias {f['bias']:+6.1f}  cover {f['cover']:.3f}  sigma {f['sigma']:5.1f}"
            print(f"  {key:12s} n {f['n']:4d}  {figure}{verdict}")


if __name__ == "__main__":
    main()
