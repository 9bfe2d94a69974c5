"""Scenes with known lips put through the edge measures: what was read, true and claimed. Heights in mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from support.edge_scene import INSTRUMENTS, Line, Lip, Scene, cover_at, grass_infield, random_lip

from pipeline.change.lip_growth import EdgeGrowth, lip_growth
from pipeline.diamond.edges import Edge
from pipeline.surface.calibration import calibrate
from pipeline.surface.lip import Station, lip_of_edge, one_date_noise, ruler_mark
from pipeline.surface.lip_shape import LipShape, contrast, freeze
from pipeline.survey.edges.edge_fit import fit_edge
from pipeline.survey.edges.edge_table import EdgeTable, edge_table, foreign_cells
from pipeline.survey.edges.horizontal import Shift
from pipeline.survey.edges.registration import register
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, WEAK_PHOTOGRAMMETRY

NOISE = {"good": GOOD_PHOTOGRAMMETRY, "weak": WEAK_PHOTOGRAMMETRY, "lidar": LIDAR}
CANOPY_M = 0.028
LINE_SIGMA_M = 0.013  # of a line laid onto the grass


@dataclass(frozen=True)
class Record:
    """One figure: read, true, claimed s.d. and ends of the range (mm), and whether a change was claimed."""

    edge_id: str
    station_m: float | None
    length_m: float
    read: float
    true: float
    sigma: float
    detected: bool
    low: float
    high: float


@dataclass(frozen=True)
class Pair:
    """A scene's tables at two dates, the later one moved onto the earlier one's edges where that was asked."""

    scene: Scene
    earlier: list[EdgeTable]
    later: list[EdgeTable]
    shapes: list[LipShape]
    shift: Shift | None
    left_mm: np.ndarray  # sideways, still to be added after what was added

    @property
    def noise(self):
        return NOISE[self.scene.instrument.name]


def foreign(edges: list[Edge], scene: Scene) -> list[np.ndarray]:
    return [foreign_cells(e, edges, scene.skin) for e in edges]


def one_date(scene: Scene) -> tuple[list[Edge], list[EdgeTable]]:
    """Each drawn edge laid onto where the first date shows the grass begin, and the first date's tables there."""
    ground = scene.survey(0)
    edges = [fit_edge(ground, e).measured for e in scene.edges]
    return edges, [edge_table(ground, e, f) for e, f in zip(edges, foreign(edges, scene))]


def tables(scene: Scene, date: int, edges: list[Edge], blind: list[np.ndarray] | None = None) -> list[EdgeTable]:
    ground = scene.survey(date)
    return [edge_table(ground, e, f) for e, f in zip(edges, blind or foreign(edges, scene))]


def pair(scene: Scene, registered: bool = True, fitted: bool = True) -> Pair:
    ground = scene.survey(0)
    edges = [fit_edge(ground, e).measured for e in scene.edges] if fitted else scene.edges
    blind = foreign(edges, scene)
    earlier = [edge_table(ground, e, f) for e, f in zip(edges, blind)]
    true = scene.moved(0) - scene.moved(1)
    if registered:
        shift, _, later = register(scene.survey(1), edges, blind, earlier, 0.02)
        true = true - [shift.e_m, shift.n_m]
    else:
        shift, later = None, tables(scene, 1, edges, blind)
    return Pair(scene, earlier, later, [freeze(a, b) for a, b in zip(earlier, later)], shift, true * 1000)


def growths(p: Pair) -> list[EdgeGrowth]:
    sigma = 0.0 if p.shift is None else p.shift.sigma_m
    return lip_growth(p.earlier, p.later, p.shapes, p.noise, p.noise, sigma)


def growth_records(p: Pair) -> list[Record]:
    """Whole edges (station None) and 5 m segments, against the truth over the very rows that were read."""
    out = []
    for edge, table, before, shape in zip(growths(p), p.later, p.earlier, p.shapes):
        read = table.usable & before.usable & np.isfinite(contrast(table.z - before.z, shape))
        for g in (edge.whole, *edge.segments):
            if not np.isfinite(g.growth_m):
                continue
            rows = read if g.station_m is None else read & (np.abs(table.s - g.station_m) < 2.5)
            true = p.scene.growth(g.edge_id, table.s[rows])
            ends = g.low95_m * 1000, g.high95_m * 1000
            figure = g.growth_m * 1000, true, g.sigma_m * 1000
            out.append(Record(g.edge_id, g.station_m, g.usable_m, *figure, g.detected, *ends))
    return out


def mixed_scene(name: str, seed: int, lines: tuple[Line, ...] | None = None) -> Scene:
    """Edges with a lip, with low skin, with neither, and with a lip over a small step, in random order."""
    rng = np.random.default_rng([seed, 9])
    lips = {}
    lines = grass_infield() if lines is None else lines
    for line in lines:
        lip, kind = random_lip(rng), rng.integers(0, 4)
        height = (lip.height, 0.0, rng.uniform(0, 2), lip.height)[kind]
        step = (0.0, rng.uniform(15, 40), 0.0, rng.uniform(5, 20))[kind]
        lips[line.edge_id] = Lip(height, 0.0, lip.crest, lip.w_in, lip.w_out, lip.power, step, lip.kink)
    return Scene(seed, INSTRUMENTS[name], lines, lips)


def true_kind(scene: Scene, edge_id: str, station_m: float) -> tuple[str, float, float]:
    """Kind, rise and fall in mm by the definitions, at the crest."""
    lip = scene.lips[edge_id]
    height, cover = float(scene.height(edge_id, np.array([station_m]), 0)[0]), float(cover_at(np.float64(lip.crest)))
    rise, fall = height + lip.step * cover, height - lip.step * (1 - cover)
    return ("flush" if rise <= 6 else "lip" if fall > 4 else "low_skin"), rise, fall


def lips(
    scene: Scene, edges: list[Edge], seen: list[EdgeTable], readings=(), turf_height_m: float | None = None
) -> list[list[Station]]:
    """The stations of every edge (the whole edge last); readings are (edge number, station m, value m)."""
    noise = NOISE[scene.instrument.name]
    shapes = [freeze(t) for t in seen]
    still = one_date_noise(seen, shapes, noise, CANOPY_M)
    marks = [ruler_mark(seen[i], shapes[i], s, v, still, 0.003) for i, s, v in readings]
    canopy = calibrate([m for m in marks if m], [t.edge_id for t in seen], noise.canopy_reach, turf_height_m)
    return [
        lip_of_edge(t, e, s, still, canopy[t.edge_id], turf_height_m, LINE_SIGMA_M)
        for t, e, s in zip(seen, edges, shapes)
    ]


def ruled(scene: Scene, seen: list[EdgeTable], counts: list[int], seed: int) -> list[tuple[int, float, float]]:
    """So many ruler readings on each edge at random usable stations, s.d. 3 mm."""
    rng = np.random.default_rng([seed, 11])
    out = []
    for number, (table, count) in enumerate(zip(seen, counts)):
        for station in rng.choice(table.s[table.usable], count):
            true = true_kind(scene, table.edge_id, float(station))[1]
            out.append((number, float(station), (true + 3 * rng.standard_normal()) / 1000))
    return out


def figures(records) -> dict[str, float]:
    """n, rmse, bias, cover of +/- 1.96 s.d., mean s.d., over (read, true, sigma) triples or Records."""
    x = np.array([(r.read, r.true, r.sigma) if isinstance(r, Record) else r for r in records], float).reshape(-1, 3)
    miss = x[:, 0] - x[:, 1]
    return {
        "n": len(x),
        "rmse": float(np.sqrt(np.mean(miss**2))),
        "bias": float(miss.mean()),
        "cover": float(np.mean(np.abs(miss) < 1.96 * x[:, 2])),
        "sigma": float(np.sqrt(np.mean(x[:, 2] ** 2))),
    }
