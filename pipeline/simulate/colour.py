"""Colours and intensities that are plausible, not clean: soil, grass, paint and concrete, tone, shadow, noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate import draws
from pipeline.simulate.ground import Ground
from pipeline.simulate.aging import State
from pipeline.simulate.scenario import Thing
from pipeline.simulate.scene import Scene, inside, rectangle
from pipeline.simulate.things import COLOURS
from pipeline.simulate.weeds import Stand
from pipeline.units import inches

SKIN, GROWING, DORMANT = (168, 112, 84), (96, 132, 66), (146, 142, 96)
WEEDS, DEAD_WEEDS = (104, 138, 72), (150, 116, 82)
CHALK, SLAB, PLATE = (226, 222, 214), (163, 161, 156), (236, 235, 230)
CHALK_WIDE_M, CHALK_SHARE = inches(4), 0.75
CHANNEL_SD = 9.0  # noise of one colour channel of one point, of 255
SHADOW = (0.46, 0.50, 0.60)
INTENSITY_SKIN, INTENSITY_GRASS, INTENSITY_SLAB, INTENSITY_SD = 15000.0, 25000.0, 20500.0, 0.13


@dataclass(frozen=True)
class Paint:
    """What lies on top at each point.

    green : (n,) share of the ground that grass or weeds cover;  thing : (n,) index into `things`, or -1
    weeds : what stands on the skin there
    grass : `growing` or `dormant`
    """

    green: np.ndarray
    weeds: Stand
    thing: np.ndarray
    things: tuple[Thing, ...]
    grass: str


def colours(
    scene: Scene, state: State, ground: Ground, paint: Paint, e: np.ndarray, n: np.ndarray,
    generator: np.random.Generator,
) -> np.ndarray:  # fmt: skip
    """Red, green, blue of each point (n,), (n, 3) uint8."""
    grass = GROWING if paint.grass == "growing" else DORMANT
    covered = generator.random(e.size) < paint.green
    out = np.where(covered[:, None], grass, SKIN).astype(np.float32)
    weedy = covered & (ground.d < 0) & (paint.weeds.share >= paint.green) & (paint.weeds.share > 0)
    out[weedy] = WEEDS if paint.grass == "growing" else DORMANT
    out[weedy & paint.weeds.dead] = DEAD_WEEDS
    chalked = _on_chalk(scene, e, n) & (ground.d < 0) & (generator.random(e.size) < CHALK_SHARE)
    out[chalked] = CHALK
    for index, patch in enumerate(scene.patches):
        out[ground.patch == index] = SLAB if patch.kind == "drawn" else PLATE
    for index, one in enumerate(paint.things):
        out[paint.thing == index] = COLOURS[one.kind]
    tone = 1.0 + _tone(scene, state, "tone", 0.3, 0.10).at(e, n) + _tone(scene, state, "shade", 5.0, 0.07).at(e, n)
    out *= tone[:, None].astype(np.float32)
    for shadow in scene.truth.shadows:
        dark = inside(rectangle(scene.axes, shadow), e, n)
        out[dark] *= np.asarray(SHADOW, np.float32)
    out += generator.standard_normal(out.shape, np.float32) * np.float32(CHANNEL_SD)
    return np.clip(np.rint(out), 0, 255).astype(np.uint8)


def plain(kinds: tuple[str, ...], generator: np.random.Generator) -> np.ndarray:
    """Colours of points that belong to things beside the ground, (n, 3) uint8."""
    base = np.array([COLOURS[k] for k in kinds], float).reshape(-1, 3)
    return np.clip(np.rint(base + generator.normal(0.0, CHANNEL_SD, base.shape)), 0, 255).astype(np.uint8)


def intensities(ground: Ground, green: np.ndarray, generator: np.random.Generator) -> np.ndarray:
    """Lidar intensity of each point, (n,) uint16: near-infrared light comes back strongest from leaves."""
    base = np.where(generator.random(green.size) < green, INTENSITY_GRASS, INTENSITY_SKIN)
    base = np.where(ground.patch >= 0, INTENSITY_SLAB, base)
    spread = 1.0 + INTENSITY_SD * generator.standard_normal(green.size)
    return np.clip(np.rint(base * spread), 0, 65535).astype(np.uint16)


def _tone(scene: Scene, state: State, word: str, range_m: float, sd: float):
    return draws.lattice(scene.rng(state.on.isoformat(), word), scene.flown, sd, range_m)


def _on_chalk(scene: Scene, e, n) -> np.ndarray:
    """Points on the foul lines, from the plate to a metre past the bases; x = |y| there."""
    x, y = scene.axes.local(e, n)
    aside = (y - np.abs(x)) * 2**-0.5  # the foul line's outer edge is the line itself, so paint lies on the fair side
    along = (np.abs(x) + y) * 2**-0.5
    return (aside >= 0) & (aside <= CHALK_WIDE_M) & (along > 1.2) & (along < scene.size.base_m + 1.0)
