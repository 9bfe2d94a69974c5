"""A rover walk over one field: slabs first, then zig-zags along the edges, the declared places, the skin in lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.simulate import draws
from pipeline.simulate.cloud import Look
from pipeline.simulate.ground import grass_on, heights
from pipeline.simulate.instruments import ROVER_DRIFT_M, ROVER_DRIFT_S, ROVER_GRASS_M, ROVER_SKIN_M
from pipeline.simulate.scene import Scene

EDGE_POINTS, SHORT_EDGE_M, SHORT_EDGE_POINTS = 240, 15.0, 120
ACROSS, FROM_M, TO_M = 9, -0.9, 1.1  # points of one crossing of an edge, from the skin into the grass
PATCH_POINTS, SLAB_INSET_M = (4, 3), 0.08
LINES_M, STEP_M, OFF_GRASS_M = 2.0, 1.0, 0.4
SECOND_S, TURN_S = 1.0, 15.0  # a point a second; the way to the next line
STANDING, FLOATING = 0.02, 0.015  # shares of rows stood still on, and without a fixed solution
SPIKES = 2.0  # wild rows a walk
FIXED, FLOAT = 1, 2


@dataclass(frozen=True)
class Walk:
    """Rows in walking order, working CRS, m. `quality` 1 fixed, 2 float; `line` numbers the lines walked from 1."""

    e: np.ndarray
    n: np.ndarray
    z: np.ndarray
    quality: np.ndarray
    line: np.ndarray


def walked(look: Look) -> Walk:
    """One walk of a field, as the receiver logs it."""
    scene, state, rover, error, rng = look.scene, look.state, look.instrument, look.seen.error, look.rng
    lines = [*_patches(scene), *(_zigzag(edge) for edge in scene.edges), *_places(scene), *_skin_lines(scene)]
    lines = [one for one in lines if len(one)]
    xy = np.vstack(lines)
    line = np.repeat(np.arange(1, len(lines) + 1), [len(one) for one in lines])
    again = np.repeat(np.arange(len(xy)), 1 + rng("standing").poisson(STANDING, len(xy)))
    xy, line = xy[again], line[again]
    time = np.cumsum(np.full(len(xy), SECOND_S)) + TURN_S * line
    true = xy + rng("pole").normal(0.0, 0.002, xy.shape)
    ground = heights(scene, state, *true.T)
    lawn = grass_on(scene, look.survey.day.isoformat(), look.survey.canopy_mm / 1000.0)
    green, _ = lawn.over(scene, state, ground, *true.T)
    skin, grass = (rng(f"tip {k}").normal(*v) for k, v in (("skin", ROVER_SKIN_M), ("grass", ROVER_GRASS_M)))
    tip = np.where(ground.patch >= 0, 0.0, (1.0 - green) * skin + green * grass)
    drift = np.interp(time, np.arange(int(time[-1]) + 31)[::30], _drift(rng("drift"), time[-1]))
    z = ground.z + tip + drift + error.at(*true.T) + rng("white").normal(0.0, rover.white, len(true))
    read = true + (error.east, error.north) + rng("sideways").normal(0.0, rover.horizontal_point, true.shape)
    quality = np.where(rng("quality").random(len(z)) < FLOATING, FLOAT, FIXED).astype(np.uint8)
    wild = rng("float").standard_normal((len(z), 3)) * (0.04, 0.04, 0.08)
    read, z = read + wild[:, :2] * (quality == FLOAT)[:, None], z + wild[:, 2] * (quality == FLOAT)
    spiked = rng("spikes")
    count = spiked.poisson(SPIKES)
    z[spiked.integers(0, len(z), count)] += spiked.uniform(0.3, 20.0, count)
    return Walk(read[:, 0], read[:, 1], z, quality, line)


def _drift(generator, seconds: float) -> np.ndarray:
    """Slow error of the solution, every 30 s, m."""
    nodes = len(np.arange(int(seconds) + 31)[::30])
    return draws.line(generator, (nodes - 1) * 30.0, False, ROVER_DRIFT_M, ROVER_DRIFT_S, 30.0)[:nodes]


def _patches(scene: Scene) -> list[np.ndarray]:
    """A few points on each slab and plate, away from its rim."""
    out = []
    for patch in scene.patches:
        ring = np.asarray(patch.polygon.minimum_rotated_rectangle.exterior.coords)[:4]
        a, b = ring[1] - ring[0], ring[3] - ring[0]
        spans = [np.linspace(inset, 1 - inset, count) for v, count in zip((a, b), PATCH_POINTS)
                 for inset in (min(SLAB_INSET_M / np.hypot(*v), 0.45),)]  # fmt: skip
        grid = np.array([ring[0] + u * a + v * b for v in spans[1] for u in spans[0]])
        from shapely import contains_xy

        out.append(grid[contains_xy(patch.polygon.buffer(-0.02), *grid.T)])
    return out


def _zigzag(edge: Edge) -> np.ndarray:
    """Back and forth across an edge, (n, 2)."""
    count = EDGE_POINTS if edge.length_m >= SHORT_EDGE_M else SHORT_EDGE_POINTS
    s = (np.arange(count) + 0.5) * edge.length_m / count
    phase = np.arange(count) % (2 * (ACROSS - 1))
    d = FROM_M + (TO_M - FROM_M) * (1.0 - np.abs(phase / (ACROSS - 1) - 1.0))
    return np.column_stack(edge.at(s, d))


def _places(scene: Scene) -> list[np.ndarray]:
    """Each declared place: its middle, a ring inside its disc, two in the ring it is judged against."""
    out = []
    for place in scene.layout.places:
        rings = ((0.0, 1), (0.6 * place.disc_m, 6), (0.8 * place.ring_in_m + 0.2 * place.ring_out_m, 9),
                 (0.2 * place.ring_in_m + 0.8 * place.ring_out_m, 12))  # fmt: skip
        a = np.concatenate([np.arange(k) * 2 * np.pi / k for _, k in rings])
        r = np.concatenate([np.full(k, radius) for radius, k in rings])
        xy = np.column_stack([place.e + r * np.cos(a), place.n + r * np.sin(a)])
        out.append(xy[scene.lines.find(*xy.T)[0] < 0])
    return out


def _skin_lines(scene: Scene) -> list[np.ndarray]:
    """Lines across the skin, every other one walked back."""
    west, south, east, north = scene.layout.skin.bounds
    out = []
    for k, n in enumerate(np.arange(south + LINES_M / 2, north, LINES_M)):
        e = np.arange(west, east, STEP_M)[:: 1 if k % 2 == 0 else -1]
        xy = np.column_stack([e, np.full(e.size, n)])
        out.append(xy[scene.lines.find(*xy.T)[0] < -OFF_GRASS_M])
    return out
