"""The true ground of a field on one day, and what grass adds to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.diamond.dimensions import PLATE_BEHIND_CENTRE_M
from pipeline.simulate import draws
from pipeline.simulate.draws import Lattice
from pipeline.simulate.aging import State
from pipeline.simulate.scenario import Fall
from pipeline.simulate.scene import Scene, inside
from pipeline.simulate.shapes import bump, cover, mound, skin_share, smoothstep
from pipeline.simulate.weeds import stand

CROWN_ROUND_M = 3.0  # a crown's ridge is rounded off over this
LIP_REACH_M = 1.2
WEED_CANOPY = 0.6  # weeds of no stated height stand lower than the turf


@dataclass(frozen=True)
class Ground:
    """Of each point (n,): true height, m; distance into the grass, m; station there, m; which edge; which patch, or -1;
    crest height of the lip there times its section, m."""

    z: np.ndarray
    d: np.ndarray
    station: np.ndarray
    edge: np.ndarray
    patch: np.ndarray
    lip: np.ndarray


def design(scene: Scene, e: np.ndarray, n: np.ndarray) -> np.ndarray:
    """The plane or crown the field was built to, m; without the mound. home plate's rear point lies at height_m."""
    truth = scene.truth
    return truth.height_m + _fall(truth.fall, np.asarray(e) - scene.axes.home_e, np.asarray(n) - scene.axes.home_n)


def _fall(fall: Fall, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    a, slope = np.radians(fall.bearing_deg), fall.slope_pct / 100.0
    if fall.form == "plane":
        return -slope * (x * np.sin(a) + y * np.cos(a))
    aside = x * np.cos(a) - y * np.sin(a)
    return -slope * (np.hypot(aside, CROWN_ROUND_M) - CROWN_ROUND_M)


def mound_height(scene: Scene, e: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Height of the mound over the design, m. Its table stands the rule's height over home plate."""
    if not scene.size.mound_m:
        return np.zeros(np.shape(e))
    plate = scene.axes.world(0.0, scene.size.pitch_m)
    table = scene.size.mound_height_m + scene.truth.height_m - design(scene, *plate)
    middle, reach = scene.axes.world(0.0, scene.size.pitch_m - PLATE_BEHIND_CENTRE_M), scene.size.mound_m
    out = np.zeros(np.shape(e))
    near = np.flatnonzero((np.abs(e - middle[0]) < reach) & (np.abs(n - middle[1]) < reach))
    out[near] = mound(*scene.axes.local(e[near], n[near]), scene.size, float(table))
    return out


def heights(scene: Scene, state: State, e: np.ndarray, n: np.ndarray) -> Ground:
    """The true ground at points (n,) in the working CRS."""
    e, n = np.asarray(e, float), np.asarray(n, float)
    d, station, edge = scene.lines.find(e, n)
    share = skin_share(d)
    built = design(scene, e, n) + mound_height(scene, e, n)
    z = built + (1.0 - share) * state.waves[1].at(e, n)
    z += share * (state.skin_m + state.patchy.at(e, n) + state.waves[0].at(e, n) - _pits(state.pits, e, n))
    lip = np.zeros_like(z)
    near = np.flatnonzero(np.abs(d) < LIP_REACH_M)
    along, which = state.along, edge[near]
    height, crest = (along.between(which, station[near], v) for v in (along.lip, along.crest))
    lip[near] = height * bump(d[near], crest, along.inside[which], along.outside[which])
    z += lip
    patch = np.full(z.shape, -1)
    for index, one in enumerate(scene.patches):
        on = inside(one.polygon, e, n)
        patch[on], z[on], lip[on] = index, built[on] + state.lifts_m[index], 0.0
    return Ground(z, d, station, edge, patch, lip)


def _pits(pits: np.ndarray, e: np.ndarray, n: np.ndarray) -> np.ndarray:
    out = np.zeros(e.shape)
    for pe, pn, depth, sd in pits:
        near = np.flatnonzero((np.abs(e - pe) < 5 * sd) & (np.abs(n - pn) < 5 * sd))
        out[near] += depth * np.exp(-0.5 * ((e[near] - pe) ** 2 + (n[near] - pn) ** 2) / sd**2)
    return out


@dataclass(frozen=True)
class Grass:
    """A day's grass: mean height, m, and its texture at 0.2 m and at 3 m (shares of the height)."""

    height_m: float
    texture: tuple[Lattice, Lattice]

    def over(
        self, scene: Scene, state: State, ground: Ground, e: np.ndarray, n: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Share of each point's ground that grass covers, and how high the grass stands there, m, (n,) each.

        15 % lower on a lip of 30 mm; the strip along an edge differs from the interior by that edge's share.
        """
        along = state.along
        green = cover(ground.d - along.between(ground.edge, ground.station, along.rag) + state.encroach_m)
        strip = 1.0 + (along.strip[ground.edge] - 1.0) * (1.0 - smoothstep((ground.d - 0.6) / 0.3))
        tall = self.height_m * strip * (1.0 - 0.15 * np.minimum(ground.lip / 0.030, 2.0))
        weeds = stand(scene, state.on, e, n)
        own = np.where(np.isnan(weeds.height_m), WEED_CANOPY * tall, weeds.height_m)
        tall, green = np.where(weeds.share > green, own, tall), np.maximum(green, weeds.share)
        texture = 1.0 + self.texture[0].at(e, n) + self.texture[1].at(e, n)
        return np.where(ground.patch >= 0, 0.0, green), tall * np.maximum(texture, 0.0)


def grass_on(scene: Scene, on: str, height_m: float) -> Grass:
    """A day's grass; its texture depends on field and day alone."""
    fine = draws.lattice(scene.rng(on, "grass", "fine"), scene.flown, 0.12, 0.20)
    broad = draws.lattice(scene.rng(on, "grass", "broad"), scene.flown, 0.08, 3.0)
    return Grass(height_m, (fine, broad))
