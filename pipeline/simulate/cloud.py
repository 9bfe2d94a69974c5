"""One field as one instrument sees it: points with grass, things, noise and colour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate import colour, draws, pattern, things
from pipeline.simulate.draws import Lattice
from pipeline.simulate.ground import Ground, grass_on, heights
from pipeline.simulate.aging import State
from pipeline.simulate.instruments import INSTRUMENTS, Error, Instrument
from pipeline.simulate.pattern import Pattern
from pipeline.simulate.scenario import SurveyTruth, Thing
from pipeline.simulate.scene import Scene, inside
from pipeline.simulate.weeds import stand

COARSE_M = 0.5
DENSE_WITHIN_M = 5.0  # of the infield; farther out the office keeps a share of the points
LOW_SHARE, HIGH_SHARE = 1.5e-5, 1.0e-5  # mismatched points below and above the ground
LOW_M, HIGH_M = (0.5, 3.0), (0.4, 6.0)
RANDOM_HOLES, HOLE_M = 5, (0.15, 0.40)  # where matching found nothing
BESIDE_INTENSITY = 9000


@dataclass(frozen=True)
class Cloud:
    """Points in metres in the working CRS.

    rgb : (n, 3) uint8 or None;  intensity : (n,) uint16 or None;  source, time_s : strip and time of lidar, or None
    """

    e: np.ndarray
    n: np.ndarray
    z: np.ndarray
    rgb: np.ndarray | None
    intensity: np.ndarray | None
    source: np.ndarray | None
    time_s: np.ndarray | None

    def __len__(self) -> int:
        return self.e.size


@dataclass(frozen=True)
class Seeing:
    """The height error of one survey over one field: smooth part and correlated noise."""

    error: Error
    noise: tuple[Lattice, ...]

    def at(self, e: np.ndarray, n: np.ndarray) -> np.ndarray:
        """What the survey adds to heights, white noise aside, m."""
        return self.error.at(e, n) + sum(one.at(e, n) for one in self.noise)


@dataclass(frozen=True)
class Look:
    """One field on one day under one survey."""

    scene: Scene
    state: State
    survey_id: str
    survey: SurveyTruth
    seen: Seeing

    @property
    def instrument(self) -> Instrument:
        return INSTRUMENTS[self.survey.instrument]

    @property
    def present(self) -> tuple[Thing, ...]:
        """What stands on the field always, and what that day."""
        return self.scene.truth.structures + self.survey.things

    def rng(self, word: str) -> np.random.Generator:
        return self.scene.rng(self.survey_id, word)


def seeing(scene: Scene, survey_id: str, instrument: Instrument, error: Error) -> Seeing:
    """Draw the correlated noise of one survey over one field."""
    noise = (
        draws.lattice(scene.rng(survey_id, "noise", str(i)), scene.flown, sd, range_m)
        for i, (sd, range_m) in enumerate(instrument.parts)
    )
    return Seeing(error, tuple(noise))


def see(look: Look) -> Cloud:
    """The points of one field, in the order in which the instrument gives them."""
    scene, instrument, rng = look.scene, look.instrument, look.rng
    points = _kept(look, _pattern(look))
    e, n = points.e, points.n
    blur = rng("blur").standard_normal((2, e.size)) * instrument.blur
    ground = heights(scene, look.state, e + blur[0], n + blur[1])
    lawn = grass_on(scene, look.survey.day.isoformat(), look.survey.canopy_mm / 1000.0)
    green, tall = lawn.over(scene, look.state, ground, e + blur[0], n + blur[1])
    lidar = instrument.kind == "lidar"
    z = ground.z + (_first_hit(green, tall, instrument, rng("grass")) if lidar else green * tall)
    thing = things.cover_with(scene, look.present, e, n, z, rng("things"))
    z += look.seen.at(e, n) + rng("white").standard_normal(e.size) * instrument.white
    if points.strip is not None:
        z += rng("strips").standard_normal(int(points.strip.max()) + 1)[points.strip] * instrument.strip
    if look.survey.instrument != "exact":
        _mismatch(z, rng("outliers"))
    extra = things.beside(scene, look.present, rng("beside"))
    z = np.concatenate([z, extra.z + look.seen.at(extra.e, extra.n)])
    moved_e, moved_n = np.append(e, extra.e) + look.seen.error.east, np.append(n, extra.n) + look.seen.error.north
    if lidar:
        return Cloud(moved_e, moved_n, z, None, *_returns(look, points, ground, green, extra.e.size))
    weeds = stand(scene, look.state.on, e + blur[0], n + blur[1])
    paint = colour.Paint(green, weeds, thing, look.present, look.survey.grass)
    seen_rgb = colour.colours(scene, look.state, ground, paint, e, n, rng("colour"))
    rgb = np.concatenate([seen_rgb, colour.plain(extra.kind, rng("beside colour"))])
    return Cloud(moved_e, moved_n, z, rgb, None, None, None)


def _pattern(look: Look) -> Pattern:
    generator = look.rng("pattern")
    turned = float(generator.uniform(0.0, 90.0))
    make = pattern.strips if look.instrument.kind == "lidar" else pattern.rows
    return make(generator, look.scene.flown, look.survey.spacing_m or look.instrument.spacing, turned)


def _kept(look: Look, points: Pattern) -> Pattern:
    """Leave out holes, and thin what lies far from the infield."""
    keep = _distance(look.scene).at(points.e, points.n) < DENSE_WITHIN_M
    keep |= look.rng("thin").random(points.e.size) < look.survey.thin
    west, south, east, north = look.scene.flown
    count = RANDOM_HOLES if look.survey.instrument != "exact" else 0
    least, most = HOLE_M
    holes = [(west + a * (east - west), south + b * (north - south), least + c * (most - least))
             for a, b, c in look.rng("holes").uniform(size=(count, 3))]  # fmt: skip
    holes += [(*look.scene.spot(h.at), h.radius_m) for h in look.survey.holes]
    for he, hn, radius in holes:
        keep &= (points.e - he) ** 2 + (points.n - hn) ** 2 > radius**2
    return points.take(keep)


def _distance(scene: Scene) -> Lattice:
    """Distance from the infield on a coarse lattice, to tell what lies far from it. Inner grass counts as 0."""
    west, south, east, north = scene.flown
    x, y = np.arange(west, east + COARSE_M, COARSE_M), np.arange(south, north + COARSE_M, COARSE_M)
    xx, yy = (v.ravel() for v in np.meshgrid(x, y))
    d, _, _ = scene.lines.find(xx, yy)
    d[inside(scene.layout.turf_infield, xx, yy)] = 0.0
    return Lattice(west, south, COARSE_M, d.reshape(y.size, x.size))


def _first_hit(
    green: np.ndarray, tall: np.ndarray, instrument: Instrument, generator: np.random.Generator
) -> np.ndarray:
    """Lidar in grass: a share reaches the ground, the rest stops at a Beta(2, 1.5) share of the canopy."""
    stops = (generator.random(green.size) < green) & (generator.random(green.size) >= instrument.reach)
    out = np.zeros(green.size)
    out[stops] = generator.beta(2.0, 1.5, int(stops.sum())) * tall[stops]
    return out


def _mismatch(z: np.ndarray, generator: np.random.Generator) -> None:
    """Throw a few points far below or above, in place."""
    for share, (least, most), sign in ((LOW_SHARE, LOW_M, -1.0), (HIGH_SHARE, HIGH_M, 1.0)):
        count = generator.poisson(share * z.size)
        z[generator.integers(0, z.size, count)] += sign * generator.uniform(least, most, count)


def _returns(look: Look, points: Pattern, ground: Ground, green: np.ndarray, more: int) -> tuple[np.ndarray, ...]:
    """Intensity, strip and time of a lidar's points, and of `more` that belong to things beside the ground."""
    intensity = np.append(colour.intensities(ground, green, look.rng("intensity")), np.full(more, BESIDE_INTENSITY))
    strip, time_s = np.append(points.strip, np.full(more, points.strip[0])), np.append(points.time_s, np.zeros(more))
    return intensity.astype(np.uint16), strip.astype(np.uint16), time_s
