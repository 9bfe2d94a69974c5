"""An invented piece of skin between two strips of turf, with plants on it and with what may pass for plants, as a cloud."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from pipeline.frame import Grid
from pipeline.survey.cells.gridding import Gridded, grid_cloud
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, WEAK_PHOTOGRAMMETRY, Noise
from pipeline.survey.points import Ground
from pipeline.survey.stable.correlated import error_fields
from support.gridding_scene import bucketed

SIDE_M, TURF_M = 24.0, 3.0  # the strips of turf lie west and east
CLEAR_M = 0.3  # skin so near the turf is not asked
GRID = Grid.covering((507000.0, 175000.0, 507000.0 + SIDE_M, 175000.0 + SIDE_M), "EPSG:6550", 0.1)
NOISES = {"good": GOOD_PHOTOGRAMMETRY, "weak": WEAK_PHOTOGRAMMETRY, "lidar": LIDAR}
SPACING_M = {"good": 0.030, "weak": 0.040, "lidar": 0.040}
SKIN, TURF, DORMANT, CHALK, DEAD = (168, 112, 84), (96, 132, 66), (146, 142, 96), (226, 222, 214), (158, 116, 84)
LEAVES = ((88, 128, 58), (112, 142, 78), (74, 112, 60))  # of three kinds of weeds
CHANNEL_SD = 9.0
SHADE = (0.46, 0.50, 0.60)
BRIGHT = {"skin": 15000.0, "turf": 25000.0, "weeds": 24000.0, "chalk": 18000.0}  # near infrared, as lidar returns it


@dataclass(frozen=True)
class Scene:
    """One survey of the piece.

    source  : `good`, `weak`, `lidar`
    share   : of the skin under plants
    height_mm, cover : of the plants, least and greatest of a patch
    radius_m : of a patch, least and greatest
    carries : `colour`, `intensity` or `` (heights alone)
    dormant, dead : the turf is straw coloured; so are the plants
    fooled  : chalk lines, a shadow, wet mix, clods and heaps of mix are there
    """

    source: str = "good"
    share: float = 0.0
    height_mm: tuple[float, float] = (20.0, 80.0)
    cover: tuple[float, float] = (0.4, 1.0)
    radius_m: tuple[float, float] = (0.15, 1.2)
    carries: str = "colour"
    dormant: bool = False
    dead: bool = False
    fooled: bool = True


@dataclass(frozen=True)
class Seen:
    """What the pipeline has of one survey, and the truth: `over` (ny, nx), share of each cell under plants."""

    gridded: Gridded
    ground: Ground
    over: np.ndarray
    skin: np.ndarray
    turf: np.ndarray
    beside: np.ndarray


def across() -> np.ndarray:
    """Distance of each cell into the turf, (ny, nx), m; negative on the skin."""
    x = GRID.mesh()[0] - GRID.west
    return np.maximum(TURF_M - x, x - (SIDE_M - TURF_M))


def survey(scene: Scene, seed: int, date: int = 0, bare: bool = False) -> Seen:
    """Fly the piece. The ground is the seed's; noise, light and wet places are the date's as well.

    bare : the very same flight, point by point, with the plants gone
    """
    rng = np.random.default_rng([seed, 7, date, zlib.crc32(repr(scene).encode())])
    x, y, z, rgb, bright, over = cloud(scene, seed, rng, bare)
    carried = {"colour": {"rgb": rgb}, "intensity": {"intensity": bright}, "": {}}[scene.carries]
    d = across()
    made = grid_cloud(bucketed(x + GRID.west, y + GRID.south, z, GRID, **carried), d < 0)
    return Seen(made, made.ground.whole(), over, d < -CLEAR_M, d > 0.75, (d < 0) & (d >= -CLEAR_M))


def cloud(scene: Scene, seed: int, rng: np.random.Generator, bare: bool = False):
    """x, y from the corner, z, m; rgb (n, 3), intensity (n,); share under plants by cell."""
    noise, still = NOISES[scene.source], np.random.default_rng([seed, 11])
    n = int((SIDE_M / SPACING_M[scene.source]) ** 2)
    x, y = rng.uniform(0, SIDE_M, (2, n))
    waves = _lattice(still, 0.003, 3.0)
    z = 200 + 0.008 * x + 0.003 * y + _read(waves, x, y) + _noise(noise, x, y, rng) + rng.normal(0, noise.white_m, n)
    d = np.maximum(TURF_M - x, x - (SIDE_M - TURF_M)) + 0.015 * np.sin(y * 9.0)
    grass = np.clip((d + 0.02) / 0.12, 0, 1)
    texture = 1 + _read(_lattice(rng, 0.12, 0.2), x, y)
    kinds = [field * (not bare) for field in _patches(scene, still)]
    cover, tall, kind = (_read(field, x, y, order) for field, order in zip(kinds, (1, 1, 0)))
    cover = np.where(d < 0, cover, 0.0)
    leaf, blade = rng.random(n) < cover, rng.random(n) < grass
    high = np.maximum(cover * tall, grass * 0.028)
    if scene.source == "lidar":
        stops = (leaf | blade) & (rng.random(n) >= 0.35)
        z += np.where(stops, rng.beta(2.0, 1.5, n) * np.where(leaf, tall, 0.028), 0.0) * np.maximum(texture, 0)
    else:
        z += high * np.maximum(texture, 0)
    colour = np.full((n, 3), SKIN, float)
    chalk = np.zeros(n, bool)
    if scene.fooled:
        z += _heaps(still, rng, x, y)
        wet = _read(_lattice(rng, 1.0, 2.5), x, y) > 0.8
        colour[wet] *= (0.62, 0.55, 0.50)  # wet mix is darker and redder
        chalk = ((np.abs(x - 9.0) < 0.05) | (np.abs(y - 15.0) < 0.05)) & (d < -0.1) & (rng.random(n) < 0.75)
        colour[chalk] = CHALK
    leaves = np.array([DEAD] * 3 if scene.dead else LEAVES, float)[np.clip(np.rint(kind), 0, 2).astype(int)]
    colour = np.where(leaf[:, None], leaves, colour)
    colour = np.where(blade[:, None], DORMANT if scene.dormant else TURF, colour)
    colour *= (1 + 0.10 * _read(_lattice(rng, 1.0, 0.3), x, y) + 0.07 * _read(_lattice(rng, 1.0, 5.0), x, y))[:, None]
    if scene.fooled:
        dark = (np.abs(x - 16) < 2.0) & (np.abs(y - 6) < 1.0)
        colour[dark] *= SHADE
    rgb = np.clip(np.rint(colour + rng.normal(0, CHANNEL_SD, (n, 3))), 0, 255).astype(np.uint8)
    bright = np.where(blade, BRIGHT["turf"], np.where(leaf, BRIGHT["weeds"], np.where(chalk, BRIGHT["chalk"], BRIGHT["skin"])))
    if scene.fooled:
        bright = np.where(~leaf & ~blade & wet, 0.7 * bright, bright)
    intensity = np.clip(np.rint(bright * (1 + 0.13 * rng.standard_normal(n))), 0, 65535).astype(np.uint16)
    over = np.where(across() < 0, kinds[0][1:, 1:][: GRID.ny, : GRID.nx][::-1], 0.0)
    return x, y, z, rgb, intensity, over


def _patches(scene: Scene, rng: np.random.Generator):
    """Cover, height, m, and kind of the plants on a 0.1 m lattice (row 0 south), discs with soft rims until the share is reached."""
    cells = int(SIDE_M / 0.1) + 1
    yy, xx = (np.mgrid[:cells, :cells] - 0.5) * 0.1
    cover, tall, kind = (np.zeros((cells, cells)) for _ in range(3))
    skin = (xx > TURF_M) & (xx < SIDE_M - TURF_M)
    while (cover[skin] > 0.5 * scene.cover[0]).mean() < scene.share:
        r, e, n = rng.uniform(*scene.radius_m), rng.uniform(TURF_M, SIDE_M - TURF_M), rng.uniform(0, SIDE_M)
        here = rng.uniform(*scene.cover) * np.clip((r - np.hypot(xx - e, yy - n)) / min(0.2, r) + 0.5, 0, 1)
        more = here > cover
        cover, tall = np.where(more, here, cover), np.where(more, rng.uniform(*scene.height_mm) / 1000, tall)
        kind = np.where(more, rng.integers(0, 3), kind)
    return cover, tall, kind


def _heaps(still: np.random.Generator, rng: np.random.Generator, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Two raked heaps of mix that lie there at all dates, and a strewing of clods, m."""
    out = np.zeros(len(x))
    for _ in range(2):
        e, n = still.uniform(TURF_M + 2, SIDE_M - TURF_M - 2), still.uniform(2, SIDE_M - 2)
        out += 0.012 * np.exp(-0.5 * ((x - e) ** 2 + (y - n) ** 2) / 0.5**2)
    for _ in range(60):
        e, n = rng.uniform(TURF_M + 0.5, SIDE_M - TURF_M - 0.5), rng.uniform(0, SIDE_M)
        out += np.where((x - e) ** 2 + (y - n) ** 2 < 0.03**2, 0.015, 0.0)
    return out


def _lattice(rng: np.random.Generator, sd: float, range_m: float) -> np.ndarray:
    cells = int(SIDE_M / 0.1) + 1
    field = gaussian_filter(rng.standard_normal((cells, cells)), max(range_m / 0.1 / 2, 0.5), mode="wrap")
    return sd * field / field.std()


def _noise(noise: Noise, x, y, rng) -> np.ndarray:
    cells = int(SIDE_M / 0.1) + 1
    return _read(error_fields(noise, (cells, cells), 0.1, 1, rng, white_cell=0.0)[0], x, y)


def _read(field: np.ndarray, x: np.ndarray, y: np.ndarray, order: int = 1) -> np.ndarray:
    return map_coordinates(field, [y / 0.1, x / 0.1], order=order, mode="nearest")


def place(e: float, n: float, name: str) -> SimpleNamespace:
    return SimpleNamespace(place_id=name, near=name, e=GRID.west + e, n=GRID.south + n, disc_m=0.9, ring_in_m=1.5, ring_out_m=2.7)
