"""What stands or lies on a field while it is flown: seen instead of the ground below it, or beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate.scenario import Thing
from pipeline.simulate.scene import Scene
from pipeline.simulate.ground import design

FENCE_POINTS_PER_M2 = 40.0
BIRD_POINTS = 9

COLOURS = {"player": (196, 58, 62), "bag": (232, 230, 222), "vehicle": (176, 180, 188), "tarp_roll": (62, 88, 150),
           "tarp_pile": (62, 88, 150), "hose": (38, 104, 62), "bird": (70, 66, 64), "roof": (124, 126, 130),
           "fence": (146, 150, 152)}  # fmt: skip


@dataclass(frozen=True)
class Seen:
    """Points that a thing adds: easting, northing, height, m, and what they belong to."""

    e: np.ndarray
    n: np.ndarray
    z: np.ndarray
    kind: tuple[str, ...]


def cover_with(scene: Scene, things: tuple[Thing, ...], e, n, z, generator: np.random.Generator) -> np.ndarray:
    """Raise points under things to the things' tops, in place; returns the index of the thing at each point or -1.

    e, n, z : (n,) points on the ground or grass, m; z is changed
    """
    which = np.full(z.shape, -1)
    for index, thing in enumerate(things):
        if thing.kind in ("bird", "fence"):
            continue
        u, v, near = _own_axes(scene, thing, e, n)
        along, across, height = thing.size
        inside = (np.abs(u) <= along / 2) & (np.abs(v) <= across / 2)
        if thing.kind == "player":
            inside = np.hypot(u, v) <= across / 2
        hit, u, v = near[inside], u[inside], v[inside]
        which[hit] = index
        z[hit] += _top(thing.kind, u / along, v / across, height, generator)
        if thing.kind == "roof":
            z[hit] = design(scene, *scene.axes.world(*thing.at)) + height
    return which


def beside(scene: Scene, things: tuple[Thing, ...], generator: np.random.Generator) -> Seen:
    """Points of birds in the air and of fences seen from above."""
    e, n, z, kind = [], [], [], []
    for thing in things:
        along, across, height = thing.size
        if thing.kind == "bird":
            count, up = BIRD_POINTS, height + generator.normal(0.0, 0.05, BIRD_POINTS)
        elif thing.kind == "fence":
            count = int(along * height * FENCE_POINTS_PER_M2)
            up = generator.uniform(0.0, height, count)
        else:
            continue
        u, v = (generator.uniform(-0.5, 0.5, count) * size for size in (along, across))
        a = np.radians(thing.turned_deg)
        x, y = thing.at[0] + v * np.cos(a) + u * np.sin(a), thing.at[1] - v * np.sin(a) + u * np.cos(a)
        easting, northing = scene.axes.world(x, y)
        e.append(easting)
        n.append(northing)
        z.append(design(scene, easting, northing) + up)
        kind += [thing.kind] * count
    if not e:
        return Seen(np.empty(0), np.empty(0), np.empty(0), ())
    return Seen(np.concatenate(e), np.concatenate(n), np.concatenate(z), tuple(kind))


def _own_axes(scene, thing, e, n) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Along and across a thing, m, of the points near it, and which points those are."""
    ce, cn = scene.axes.world(*thing.at)
    reach = np.hypot(*thing.size[:2]) / 2
    near = np.flatnonzero((np.abs(e - ce) <= reach) & (np.abs(n - cn) <= reach))
    x, y = scene.axes.local(e[near], n[near])
    x, y, a = x - thing.at[0], y - thing.at[1], np.radians(thing.turned_deg)
    return x * np.sin(a) + y * np.cos(a), x * np.cos(a) - y * np.sin(a), near


def _top(kind: str, u, v, height: float, generator) -> np.ndarray:
    """Height of a thing's upper side over what it stands on; u, v run from -0.5 to 0.5 over it."""
    if kind == "player":
        return height * generator.uniform(0.35, 1.0, u.size)
    if kind in ("tarp_roll", "hose"):
        return height / 2 * (1.0 + np.sqrt(np.maximum(1.0 - 4.0 * v * v, 0.0)))
    if kind == "tarp_pile":
        return height * (0.75 + 0.25 * np.cos(7.0 * u) * np.cos(9.0 * v))
    if kind == "vehicle":
        return height * np.where(np.abs(u + 0.05) < 0.28, 1.0, 0.62)
    return np.full(u.size, height)
