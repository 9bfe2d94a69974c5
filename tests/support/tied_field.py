"""A ball field with patches of stable ground, and drawn misfits of a pair of surveys with the truth beside them.

Independent of the package's tie: covariances come from the formula itself over random places, not from its tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from shapely import affinity

from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import LAYOUTS
from pipeline.diamond.layout import Drawing, Feature, Layout, build
from pipeline.diamond.outline import outline
from pipeline.diamond.places import home_plate, pitchers_plate
from pipeline.survey.noise import Noise, of_difference
from pipeline.survey.stable.misfit import Misfit, misfits
from pipeline.survey.stable.patches import Footprint, PatchHeight, footprint, spread_places

SPACING_M = 0.035
MOVES_M = 0.001
SETS = {
    3: ("home-plate", "dugout-first", "dugout-third"),
    4: ("home-plate", "dugout-first", "dugout-third", "pad-right"),
    5: ("home-plate", "dugout-first", "dugout-third", "pad-right", "pad-left"),
    7: ("home-plate", "dugout-first", "dugout-third", "pad-right", "pad-left", "backstop", "pitchers-plate"),
}


@dataclass(frozen=True)
class BallField:
    """Skin, its centre, some places on it, and the footprints of all patches, m."""

    skin: shapely.Geometry
    centre: tuple[float, float]
    places: np.ndarray
    patches: dict[str, Footprint]

    def chosen(self, count: int) -> list[Footprint]:
        return [self.patches[name] for name in SETS[count]]


@lru_cache
def ball_field(layout: str = "baseball-60", east: float = 0.0, north: float = 0.0) -> BallField:
    """A layout whose home plate stands at the given place and whose second base lies north of it."""
    size, axes = LAYOUTS[layout], Axes(east, north, 0.0)
    arc = size.arc_from_m + size.arc_m

    def slab(x: float, y: float, across: float, along: float, turned_deg: float = 0.0) -> shapely.Geometry:
        box = shapely.box(-across / 2, -along / 2, across / 2, along / 2)
        return affinity.translate(affinity.rotate(box, turned_deg, origin=(0, 0)), east + x, north + y)

    drawn = {
        "home-plate": home_plate(axes),
        "dugout-first": slab(14, 9, 2.2, 7, -45),
        "dugout-third": slab(-14, 9, 2.2, 7, 45),
        "pad-right": slab(0.55 * arc, 0.95 * arc, 1.2, 1.2),
        "pad-left": slab(-0.55 * arc, 0.95 * arc, 1.2, 1.2),
        "backstop": slab(0, -9, 4, 0.6),
        "pitchers-plate": pitchers_plate(size, axes),
    }
    skin = axes.geometry(outline(size, size.grass).skin)
    west, south, right, top = skin.bounds
    patches = {name: footprint(name, polygon) for name, polygon in drawn.items()}
    return BallField(skin, ((west + right) / 2, (south + top) / 2), spread_places(skin, 150), patches)


SLABS = ("dugout-first", "dugout-third", "pad-right", "pad-left", "backstop")


def drawn_field(names: tuple[str, ...], layout: str = "baseball-60") -> Layout:
    """A whole layout with the named slabs drawn on it; its plates count without being drawn."""
    ball = ball_field(layout, 5000.0, 7000.0)
    features = tuple(Feature("stable", n, ball.patches[n].shape.buffer(0.05, join_style="mitre")) for n in names)
    home, second = (5000.0, 7000.0), (5000.0, 7000.0 + LAYOUTS[layout].home_to_second_m)
    return build(Drawing("f", "EPSG:6550", 0.1, layout, None, home, second, None, None, None, features))


@dataclass(frozen=True)
class Draws:
    """What misfits of one pair are drawn from.

    truth : (n, K + 1) mean of the height error over each patch and, last, over the skin, m
    seen  : (n, K) the patches' misfits, m
    """

    found: list[Misfit]
    pair: Noise
    truth: np.ndarray
    seen: np.ndarray

    def pairs(self):
        """(misfits, true mean of u over the skin) of each draw."""
        for truth, seen in zip(self.truth, self.seen):
            yield [Misfit(m.patch, 100.0, 100.0 + v, m.sigma_m) for m, v in zip(self.found, seen)], float(truth[-1])


def drawn(
    field: BallField, noise: Noise, count: int, draws: int, rng: np.random.Generator, assumed: Noise | None = None
) -> Draws:
    """Misfits of pairs of surveys, each with this noise, on a set of patches; `assumed` is what the tie takes it for."""
    patches = field.chosen(count)
    pair = of_difference(noise, noise)
    taken = pair if assumed is None else of_difference(assumed, assumed)
    where = [_random_places(p.shape, 60, rng) for p in patches] + [_random_places(field.skin, 300, rng)]
    basis = np.array([_drift(w, field.centre).mean(axis=0) for w in where])
    spread = np.array([noise.shift_m, noise.tilt * 30, noise.tilt * 30, noise.dome_m]) * np.sqrt(2.0)
    shared = np.array([[_mean(pair, a, b, 1.0, np.inf) for b in where] for a in where])
    root = np.linalg.cholesky(shared + 1e-15 * np.eye(len(shared)))
    truth = rng.standard_normal((draws, 4)) * spread @ basis.T + rng.standard_normal((draws, len(where))) @ root.T
    heights = {p.patch_id: PatchHeight(p.patch_id, 100.0, _white(noise, p), 100, 0) for p in patches}
    own = np.array([
        np.sqrt(2 * _white(noise, p) ** 2 + 2 * MOVES_M**2 + _mean(pair, w, w, 0.0, 1.0))
        for p, w in zip(patches, [_random_places(p.shape, 400, rng) for p in patches])
    ])  # fmt: skip
    seen = truth[:, :-1] + rng.standard_normal((draws, len(patches))) * own
    if pair.session_m:  # a rover meets the patches at other times than the skin
        seen = seen + rng.normal(0.0, pair.session_m, (draws, 1))
    return Draws(misfits(patches, heights, heights, taken), taken, truth, seen)


def _white(noise: Noise, patch: Footprint) -> float:
    return noise.white_m / np.sqrt(max(patch.shape.area / SPACING_M**2, 3.0))


def _random_places(shape: shapely.Geometry, count: int, rng: np.random.Generator) -> np.ndarray:
    west, south, east, north = shape.bounds
    out = np.empty((0, 2))
    while len(out) < count:
        xy = rng.uniform((west, south), (east, north), (4 * count, 2))
        out = np.vstack([out, xy[shapely.contains_xy(shape, xy[:, 0], xy[:, 1])]])
    return out[:count]


def _drift(places: np.ndarray, centre: tuple[float, float]) -> np.ndarray:
    x, y = ((places - np.array(centre)) / 30.0).T
    return np.column_stack([np.ones_like(x), x, y, x**2 + y**2])


def _mean(noise: Noise, a: np.ndarray, b: np.ndarray, shortest: float, longest: float) -> float:
    h = np.sqrt(((a[:, None] - b[None]) ** 2).sum(axis=-1))
    total = 0.0
    for sd, range_m in noise.parts:
        if shortest <= range_m < longest:
            t = 3**0.5 * h / range_m
            total += sd**2 * float(((1 + t) * np.exp(-t)).mean())
    return total
