"""An invented piece of infield with a lip, a mound and hollows, as a cloud; and what may stand about on it."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import map_coordinates

from pipeline.frame import Grid
from pipeline.survey.cells.buckets import Buckets, feed
from pipeline.survey.cells.gridding import Gridded, grid_cloud, regrid
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, WEAK_PHOTOGRAMMETRY, Noise
from pipeline.survey.points import TICK_M, Chunk, Ground, Projection
from pipeline.survey.stable.correlated import error_fields
from pipeline.units import feet, inches

SIDE_M = 24.0
EDGE_M = 18.0  # grass begins about here, east of the skin
SPACING_M = {"good": 0.030, "weak": 0.040, "lidar": 0.040}
NOISES = {"good": GOOD_PHOTOGRAMMETRY, "weak": WEAK_PHOTOGRAMMETRY, "lidar": LIDAR}


def square_grid(side_m: float = SIDE_M, cell_m: float = 0.1, west: float = 0.0, south: float = 0.0) -> Grid:
    return Grid.covering((west, south, west + side_m, south + side_m), "EPSG:6550", cell_m)


def in_place(bounds: tuple[float, float, float, float]) -> Projection:
    """Source coordinates that are the working ones already."""
    cx, cy = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    half = max(bounds[2] - bounds[0], bounds[3] - bounds[1]) / 2
    rest = (0.0,) * 7
    box = (bounds[0] - 1, bounds[1] - 1, bounds[2] + 1, bounds[3] + 1)
    return Projection((cx, cy), half, (cx, half, 0.0, *rest), (cy, 0.0, half, *rest), 1.0, box)


def bucketed(x, y, z, grid: Grid, chunk: int | None = None, workers: int = 1, scratch=None, **carried) -> Buckets:
    """Points in metres, rounded to 1 mm as a file would, in the grid's coordinates."""
    raw = [np.rint(np.asarray(v) * 1000).astype(np.int32) for v in (x, y, z)]
    size = chunk or max(len(raw[0]), 1)

    def pieces():
        for i in range(0, len(raw[0]), size):
            rest = {name: v[i : i + size] for name, v in carried.items()}
            yield Chunk(*(v[i : i + size] for v in raw), (0.001,) * 3, (0.0,) * 3, **rest)

    buckets = Buckets(grid, in_place(grid.bounds), scratch)
    feed(pieces(), [buckets], workers)
    return buckets


def gridded(x, y, z, grid: Grid, smooth=None, **how) -> Gridded:
    return grid_cloud(bucketed(x, y, z, grid, **how), smooth, how.get("workers", 1))


def unscreened(x, y, z, grid: Grid, smooth=None, step_m: float = 0.001) -> Gridded:
    """The same points gridded with nothing dropped."""
    ticks = [np.rint(np.rint(np.asarray(v) / step_m) * step_m / TICK_M).astype(np.int32) for v in (x, y, z)]
    ticks[0] -= np.int32(round(grid.west / TICK_M))
    ticks[1] -= np.int32(round(grid.south / TICK_M))
    return regrid(Ground(grid.west, grid.south, 0.0, *ticks), grid, smooth)


def mound(across: np.ndarray, away: np.ndarray, turn_rad: float = 0.0) -> np.ndarray:
    """Height of a full-size mound over its circle, m: 18 ft across, 10 in high, table 5 ft x 34 in, front 1 in a foot.

    across, away : from the circle's centre, away from home plate positive, m
    source       : check values: table 6 in in front of the plate, the plate 18 in behind the centre
    """
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    u, v = c * across - s * away, s * across + c * away
    front = inches(18 - 6)
    back = front + inches(34)
    beyond = np.hypot(np.maximum(np.abs(u) - feet(2.5), 0), np.where(v < front, front - v, np.maximum(v - back, 0)))
    inside = np.maximum(feet(9) - np.hypot(u, v), 0)
    return inches(10) * inside / np.maximum(inside + beyond, 1e-9)


def edge_distance(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Distance from the winding grass edge, positive in the grass, m (along x: the edge runs nearly north)."""
    return x - (EDGE_M + 0.5 * np.sin(y / 3))


def ground(x: np.ndarray, y: np.ndarray, lip_m: float = 0.05, turn_rad: float = 0.0) -> np.ndarray:
    """Height of the bare ground: a plane, a lip 0.2 m wide, a mound, a 30 mm low spot and an 80 mm hole, m."""
    d = edge_distance(x, y)
    z = 200 + 0.01 * x + 0.004 * y + lip_m * np.exp(-(np.abs((d - 0.1) / 0.1) ** 2.3))
    z = z + mound(x - 7, y - 7, turn_rad) - 0.03 * np.exp(-((x - 13) ** 2 + (y - 8) ** 2) / (2 * 0.6**2))
    return z - 0.08 * np.clip((0.4 - np.hypot(x - 13, y - 14)) / 0.1, 0, 1)


def _along(noise: Noise, x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    cells = int(SIDE_M / 0.1) + 1
    field = error_fields(noise, (cells, cells), 0.1, 1, rng, white_cell=0.0)[0]
    return map_coordinates(field, [np.clip(y / 0.1, 0, None), np.clip(x / 0.1, 0, None)], order=1, mode="nearest")


def cloud(source: str, seed: int, lip_m: float = 0.05, canopy_m: float = 0.04, turn_rad: float = 0.0):
    """x, y, z of one survey of the piece of infield, with its declared noise, without shift, tilt and dome, m."""
    rng, noise = np.random.default_rng(seed), NOISES[source]
    n = int((SIDE_M / SPACING_M[source]) ** 2)
    x, y = rng.uniform(0, SIDE_M, (2, n))
    z = ground(x, y, lip_m, turn_rad) + rng.normal(0, noise.white_m, n) + _along(noise, x, y, rng)
    reach = np.where(rng.random(n) < 0.35, 0.0, rng.beta(2, 1.5, n)) if source == "lidar" else 1.0
    texture = Noise(0, ((0.12, 0.2), (0.08, 3.0)), 0, 0, 0, 0)
    blades = canopy_m * np.clip((edge_distance(x, y) + 0.02) / 0.12, 0, 1)
    return x, y, z + blades * reach * (1 + _along(texture, x, y, rng))


# Length, breadth, height of what stands about, m.
PLAYER, BASE, BAG = (0.5, 0.35, 1.8), (0.38, 0.38, 0.1), (0.8, 0.35, 0.35)
CAR, TARP, ROOF = (4.5, 1.8, 1.5), (3.0, 2.0, 0.3), (7.0, 2.2, 2.4)


def with_clutter(x, y, z, seed: int, spacing_m: float, things):
    """The cloud with things standing on it, birds over it and false points below it.

    things  : (length, breadth, height) each, placed at random on the skin; nothing is seen under a thing
    returns : x, y, z; (ny, nx) bool of the cells of the 0.1 m grid that share a plane block with a thing
    """
    rng = np.random.default_rng(seed)
    keep, added, placed = np.ones(len(x), bool), [], []
    grid = square_grid()
    e, n = grid.mesh()
    near = np.zeros(grid.shape, bool)
    for length, breadth, height in things:
        turn, size = rng.uniform(0, np.pi), np.hypot(length, breadth) / 2
        while True:  # apart from each other, and what is low off the mound: what leans on a thing can pass with it
            px, py = rng.uniform(3, EDGE_M - 4), rng.uniform(3, SIDE_M - 3)
            clear = all(np.hypot(px - ox, py - oy) > size + other + 0.5 for ox, oy, other in placed)
            if clear and (height > 1 or np.hypot(px - 7, py - 7) > 5):
                break
        placed.append((px, py, size))
        c, s = np.cos(turn), np.sin(turn)
        u, v = c * (x - px) + s * (y - py), -s * (x - px) + c * (y - py)
        keep &= ~((np.abs(u) < length / 2) & (np.abs(v) < breadth / 2))
        u, v, up = _box(length, breadth, height, spacing_m, rng)
        added.append((px + c * u - s * v, py + s * u + c * v, up))
        near |= np.hypot(e - px, n - py) < np.hypot(length, breadth) / 2 + 2.2  # a plane block's diagonal
    for count, low, high in ((30, 4.0, 12.0),) * 4 + ((12, -3.0, -0.5),) * 4:
        px, py = rng.uniform(2, EDGE_M - 2), rng.uniform(2, SIDE_M - 2)
        added.append((*(rng.normal(p, 0.12, count) for p in (px, py)), rng.uniform(low, high, count)))
    strays = len(x) // 500
    added.append((rng.uniform(0, EDGE_M, strays), rng.uniform(0, SIDE_M, strays), rng.uniform(-3, -0.5, strays)))
    ax, ay, up = (np.concatenate(part) for part in zip(*added))
    az = ground(ax, ay) + up + rng.normal(0, 0.01, len(up))
    order = rng.permutation(keep.sum() + len(ax))
    return *(np.concatenate([a[keep], b])[order] for a, b in ((x, ax), (y, ay), (z, az))), near


def _box(length: float, breadth: float, height: float, spacing_m: float, rng: np.random.Generator):
    """Points on the top and the four sides of a box that stands on 0, even by area."""
    top = int(length * breadth / spacing_m**2)

    def along(size: float, n: int) -> np.ndarray:
        return rng.uniform(-0.5, 0.5, n) * size

    parts = [(along(length, top), along(breadth, top), np.full(top, height))]
    for side in (-0.5, 0.5):
        long, broad = int(length * height / spacing_m**2), int(breadth * height / spacing_m**2)
        parts.append((along(length, long), np.full(long, side * breadth), rng.uniform(0, height, long)))
        parts.append((np.full(broad, side * length), along(breadth, broad), rng.uniform(0, height, broad)))
    return (np.concatenate(part) for part in zip(*parts))
