"""What time and work do to a field: its state on one day, a pure function of the scenario and the date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from pipeline.simulate import draws
from pipeline.simulate.draws import Lattice
from pipeline.simulate.scenario import Event, FieldTruth, Lip, Pit
from pipeline.simulate.scene import Scene
from pipeline.simulate.shapes import smoothstep
from pipeline.units import YEAR_DAYS

NODE_M = 0.1  # spacing of what is known along an edge
RAG_M, RAG_RANGE_M = 0.015, 0.4  # ragged beginning of the grass
STRIP_SD = 0.03  # grass at the edge against grass inside, an edge and date
UNIFORM_M = (-0.001, 0.002)  # loose top of the skin on one day: mean, s.d. everywhere
PATCHY_M, PATCHY_RANGE_M = 0.003, 4.0  # and from place to place
SLAB_SD_M = 0.001
WAVE_RANGE_M = 3.0


@dataclass(frozen=True)
class Along:
    """What is known along all edges, node by node, edges one after another.

    first  : (edges + 1,) where each edge's nodes begin;  step : (edges,) their spacing, m
    lip    : crest height, m;  crest : its offset into the grass, m;  rag : grass begins so far inside the line, m
    inside, outside, strip : (edges,) half-widths of the lip, m; grass height at this edge against the interior
    """

    first: np.ndarray
    step: np.ndarray
    lip: np.ndarray
    crest: np.ndarray
    rag: np.ndarray
    inside: np.ndarray
    outside: np.ndarray
    strip: np.ndarray

    def between(self, edge: np.ndarray, station: np.ndarray, of: np.ndarray) -> np.ndarray:
        """One of `lip, crest, rag` at stations of edges, (n,)."""
        t = station / self.step[edge]
        last = self.first[edge + 1] - 1
        i = np.minimum(self.first[edge] + t.astype(np.int64), last - 1)
        share = np.clip(t - (i - self.first[edge]), 0.0, 1.0)
        return of[i] * (1.0 - share) + of[i + 1] * share


@dataclass(frozen=True)
class State:
    """A field on one day.

    pits     : (n, 4) easting, northing, depth, spread, m
    skin_m   : height of the whole skin over its design plane
    patchy   : loose material from place to place, m
    waves    : unevenness of skin and of turf, m
    encroach_m : how far grass has come into the skin
    lifts_m  : height of each stable patch over the design surface
    """

    on: date
    pits: np.ndarray
    along: Along
    skin_m: float
    patchy: Lattice
    waves: tuple[Lattice, Lattice]
    encroach_m: float
    lifts_m: np.ndarray


def state_at(scene: Scene, first_day: date, on: date) -> State:
    """The field on a day; days before the scenario's first are an error."""
    if on < first_day:
        raise ValueError(f"{on} is before the scenario's first day, {first_day}")
    truth, day = scene.truth, on.isoformat()
    years = (on - first_day).days / YEAR_DAYS
    done = sorted((e for e in truth.events if e.day <= on), key=lambda e: e.day)
    graded = [e for e in done if e.work == "laser_grade"]
    uniform = scene.rng(day, "uniform").normal(*UNIFORM_M) * truth.movement
    added = sum(e.raise_mm for e in done)
    skin_mm = truth.level_mm - truth.wear_mm_per_year * years + added
    waves_mm, epoch = (truth.finish_waves_mm, graded[-1].day.isoformat()) if graded else (truth.skin_waves_mm, "first")
    return State(
        on,
        np.array([(*scene.spot(p.at), pit_depth_m(p, done, first_day, on), p.sd_m) for p in truth.pits]).reshape(-1, 4),
        _along(scene, done, first_day, on),
        skin_mm / 1000.0 + uniform,
        draws.lattice(scene.rng(day, "patchy"), scene.flown, PATCHY_M * truth.movement, PATCHY_RANGE_M),
        (draws.lattice(scene.rng("skin waves", epoch), scene.flown, waves_mm / 1000.0, WAVE_RANGE_M),
         draws.lattice(scene.rng("turf waves"), scene.flown, truth.turf_waves_mm / 1000.0, WAVE_RANGE_M)),
        truth.encroach_mm_per_year * years / 1000.0,
        _lifts(scene, truth, on),
    )  # fmt: skip


def pit_depth_m(pit: Pit, done: list[Event], first_day: date, on: date) -> float:
    """Depth at a pit's middle: what was there or was left by the last levelling, and growth since."""
    depth, since = pit.depth_mm, first_day
    for event in done:
        if event.work == "laser_grade" or (event.work == "level" and (not event.only or pit.name in event.only)):
            depth, since = event.leaves_mm, event.day
    return (depth + pit.growth_mm_per_year * (on - since).days / YEAR_DAYS) / 1000.0


def _along(scene: Scene, done: list[Event], first_day: date, on: date) -> Along:
    first, step, lip, crest, rag, inside, outside, strip = [0], [], [], [], [], [], [], []
    named = {one.edge: one for one in scene.truth.lips}
    unknown = set(named) - {e.edge_id for e in scene.edges}
    if unknown:
        raise ValueError(f"{scene.field_id} has no edge {sorted(unknown)[0]!r}")
    for edge in scene.edges:
        one = named.get(edge.edge_id, Lip(edge=edge.edge_id, height_mm=0.0))
        heights, offsets = _lip(scene, edge, one, done, first_day, on)
        lip.append(heights)
        crest.append(offsets)
        day = on.isoformat()
        generator = scene.rng(day, "rag", edge.edge_id)
        rag.append(draws.line(generator, edge.length_m, edge.closed, RAG_M, RAG_RANGE_M, NODE_M))
        inside.append(one.inside_m)
        outside.append(one.outside_m)
        strip.append(1.0 + STRIP_SD * scene.rng(day, "strip", edge.edge_id).standard_normal())
        first.append(first[-1] + len(heights))
        step.append(edge.length_m / (len(heights) - 1) if edge.closed else NODE_M)
    return Along(np.array(first), np.array(step), *(np.concatenate(v) for v in (lip, crest, rag)),
                 *(np.array(v) for v in (inside, outside, strip)))  # fmt: skip


def _lip(scene, edge, one: Lip, done, first_day: date, on: date) -> tuple[np.ndarray, np.ndarray]:
    """Crest height and offset at every node of one edge, m."""
    def drawn(what: str, sd: float, range_m: float) -> np.ndarray:
        return draws.line(scene.rng("lip", edge.edge_id, what), edge.length_m, edge.closed, sd, range_m, NODE_M)

    height = one.height_mm + drawn("height", one.wander_mm, 6.0)
    s = np.linspace(0.0, edge.length_m, len(height)) if edge.closed else np.arange(len(height)) * NODE_M
    growth = one.growth_mm_per_year * (1.0 + drawn("growth", 0.3, 8.0))
    for bulge in one.bulges:
        share = smoothstep((s - bulge.from_m) / 0.5 + 0.5) * smoothstep((bulge.to_m - s) / 0.5 + 0.5)
        height, growth = height + share * bulge.height_mm, growth + share * bulge.growth_mm_per_year
    since = first_day
    for event in done:
        if event.work == "lip_cut" and (not event.only or edge.edge_id in event.only):
            height, since = np.full_like(height, event.leaves_mm), event.day
    height = np.maximum(height + growth * (on - since).days / YEAR_DAYS, 0.0)
    if not edge.closed:
        height = height * smoothstep(np.minimum(s, edge.length_m - s) / 1.5)
    return height / 1000.0, np.clip(one.crest_m + drawn("crest", 0.02, 5.0), 0.06, 0.22)


def _lifts(scene: Scene, truth: FieldTruth, on: date) -> np.ndarray:
    """Plates lie at the design surface, slabs above it; all move by a millimetre, some heave."""
    built = {s.name: s.lift_mm / 1000.0 for s in truth.slabs}
    out = []
    for patch in scene.patches:
        moved = scene.rng(on.isoformat(), "slab", patch.patch_id).standard_normal() * SLAB_SD_M
        heaved = sum(h.mm for h in truth.heaves if h.slab == patch.patch_id and h.since <= on) / 1000.0
        out.append(built.get(patch.patch_id, 0.0) + moved + heaved)
    return np.array(out)
