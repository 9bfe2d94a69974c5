"""Rover walks over invented ground with known truth: along a grass edge, and over an infield.

Conditions as declared for the rover: white noise 7 mm a point, drift 5 mm over 180 s, shift 12 mm, sideways 8 mm a walk
and 7 mm a point; grass adds +3 +/- 2 mm, the pole sinks into the skin by 2 +/- 1 mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MM = 1e-3


def wander(rng: np.random.Generator, at: np.ndarray, sd: float, reach: float, waves: int = 200) -> np.ndarray:
    """A random curve with Matern 3/2 correlation over `at` (any order), s.d. `sd`, range `reach`: a sum of waves."""
    k = rng.standard_normal(waves) / reach * np.sqrt(3.0 / rng.chisquare(3.0, waves))  # Student: Matern 3/2's spectrum
    phase = rng.uniform(0, 2 * np.pi, waves)
    return sd * np.sqrt(2.0 / waves) * np.cos(np.multiply.outer(at, k) + phase).sum(axis=-1)


def step(t: np.ndarray) -> np.ndarray:
    t = np.clip(t, 0, 1)
    return t * t * (3 - 2 * t)


@dataclass(frozen=True)
class EdgeTruth:
    """One edge: what stands there on both dates, m."""

    length: float
    crest: float
    w_in: float
    w_out: float
    power: float
    height: float
    growth: float
    step: float
    fall: float


def draw_edge(rng: np.random.Generator, length: float, growth: float | None = None) -> EdgeTruth:
    """Lip 12 to 35 mm high, 0.08 to 0.20 m inside the grass; growth 0 or 2 to 14 mm unless given."""
    if growth is None:
        growth = 0.0 if rng.random() < 0.35 else rng.uniform(2, 14) * MM
    return EdgeTruth(
        length, rng.uniform(0.08, 0.20), rng.uniform(0.10, 0.16), rng.uniform(0.22, 0.38), rng.uniform(2.0, 2.6),
        rng.uniform(12, 35) * MM, growth, rng.uniform(-5, 10) * MM, rng.uniform(-0.015, 0.005),
    )  # fmt: skip


def zigzag(rng: np.random.Generator, length: float, points: int = 240, across: int = 9):
    """Station and distance of a zig-zag from -0.9 to 1.1 m, `across` points on each leg, m."""
    k = np.arange(points)
    phase = (k / (across - 1)) % 2
    d = -0.9 + 2.0 * np.where(phase < 1, phase, 2 - phase)
    s = (k + rng.random()) / points * length
    return s + 0.04 * rng.standard_normal(points), d + 0.04 * rng.standard_normal(points)


def along(rng: np.random.Generator, length: float, points: int = 240) -> tuple[np.ndarray, np.ndarray]:
    """Station and distance of a walk along the line itself, m."""
    s = (np.arange(points) + 0.5) / points * length
    return s, rng.uniform(-0.1, 0.4) + 0.06 * rng.standard_normal(points) + wander(rng, s, 0.05, 5.0)


class EdgeScene:
    """Ground along one edge; `walk(date)` sees it as a rover does."""

    def __init__(self, rng: np.random.Generator, truth: EdgeTruth):
        self.rng, self.truth = rng, truth
        self.at = np.linspace(-1, truth.length + 1, max(int(truth.length * 20), 40))
        self.base = wander(rng, self.at, 10 * MM, 5.0) + 0.005 * self.at
        self.drawn_off = wander(rng, self.at, 0.025, 3.0)
        self.ragged = wander(rng, self.at, 0.015, 0.4)
        self.lip_varies = 1 + wander(rng, self.at, 0.15, 6.0)
        self.skin_moved = rng.normal(-1, 2) * MM + wander(rng, self.at, 3 * MM, 4.0)

    def surface(self, s: np.ndarray, d: np.ndarray, date: int) -> tuple[np.ndarray, np.ndarray]:
        """Height of the soil and cover of grass at true station and distance."""
        t = self.truth
        x = d - t.crest
        lip = np.exp(-(np.abs(x / np.where(x < 0, t.w_in, t.w_out)) ** t.power))
        high = t.height * np.interp(s, self.at, self.lip_varies) + date * t.growth
        cover = step((d - np.interp(s, self.at, self.ragged)) / 0.12)
        z = np.interp(s, self.at, self.base) + t.fall * d + t.step * step((d + 0.1) / 0.3) + high * lip
        return z + date * (1 - cover) * np.interp(s, self.at, self.skin_moved), cover

    def walk(self, date: int, path=None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Station, distance (as the drawn edge has it) and height of each row, m."""
        rng = self.rng
        s, d = zigzag(rng, self.truth.length) if path is None else path
        n = len(s)
        heading = 2.0 * s / self.truth.length  # the edge turns: a sideways shift does not stay across it
        east, north = rng.normal(0, 8 * MM, 2)
        ds = east * np.cos(heading) + north * np.sin(heading) + rng.normal(0, 7 * MM, n)
        dd = north * np.cos(heading) - east * np.sin(heading) + rng.normal(0, 7 * MM, n)
        z, cover = self.surface(s - ds, d - dd, date)
        z = z + cover * rng.normal(3, 2) * MM + (1 - cover) * rng.normal(-2, 1) * MM
        z = z + rng.normal(0, 12 * MM) + wander(rng, np.arange(n) * 1.0, 5 * MM, 180.0) + rng.normal(0, 7 * MM, n)
        return s, d + np.interp(s, self.at, self.drawn_off), z


class Ground2D:
    """Gently uneven ground: a 1 % plane, a mound, and unevenness of s.d. `rough` with Matern 3/2 correlation."""

    def __init__(self, rng: np.random.Generator, rough: float = 8 * MM, reach: float = 3.0, mound: bool = True):
        waves = 400
        lengthen = np.sqrt(3.0 / rng.chisquare(3.0, waves))  # a Student draw of wave numbers makes Matern 3/2
        self.k = rng.standard_normal((waves, 2)) / reach * lengthen[:, None]
        self.phase = rng.uniform(0, 2 * np.pi, waves)
        self.amplitude = rough * np.sqrt(2.0 / waves)
        self.mound = 0.254 if mound else 0.0

    def __call__(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        waves = np.cos(np.outer(x, self.k[:, 0]) + np.outer(y, self.k[:, 1]) + self.phase).sum(axis=1)
        hill = self.mound * (1 - step(np.hypot(x - 15, y - 15) / 2.7))
        return 100.0 + 0.01 * x - 0.004 * y + hill + self.amplitude * waves


def field_path(side: float = 30.0, apart: float = 1.2, pace: float = 0.35) -> list[tuple[np.ndarray, np.ndarray]]:
    """Lines of a walk over a square: to and fro, `apart` from one another, then six lines across and two diagonals."""
    t = np.arange(0.5, side - 0.5, pace)
    out = []
    for i, v in enumerate(np.arange(0.6, side - 0.5, apart)):
        out.append((t if i % 2 == 0 else t[::-1], np.full(len(t), v)))
    for i, v in enumerate(np.linspace(2, side - 2, 6)):
        out.append((np.full(len(t), v), t if i % 2 == 0 else t[::-1]))
    return out + [(t, t), (t, side - t)]


def field_walk(rng: np.random.Generator, ground, path, white=7 * MM, drift=5 * MM, shift=0.0):
    """(x, y, z, line) of a rover's walk along `path`, and the drift in it; sideways scatter 7 mm a row."""
    x, y = (np.concatenate([p[k] for p in path]) for k in (0, 1))
    line = np.repeat(np.arange(len(path)), [len(p[0]) for p in path])
    n = len(x)
    x, y = x + rng.normal(0, 0.05, n), y + rng.normal(0, 0.05, n)
    wandered = wander(rng, np.arange(n) * 0.35 / 1.2, drift, 180.0)
    z = ground(x, y) + wandered + shift + rng.normal(0, white, n)
    return x + rng.normal(0, 7 * MM, n), y + rng.normal(0, 7 * MM, n), z, line


def as_walk(x, y, z, line=None, quality=None, receiver=None):
    """A `Walk` of rows 1..n; one receiver and one line unless given as codes."""
    from pipeline.survey.walks.walk import Walk

    n = len(x)
    line = np.zeros(n, int) if line is None else np.asarray(line)
    receiver = np.zeros(n, int) if receiver is None else np.asarray(receiver)
    quality = None if quality is None else np.asarray(quality, np.uint8)
    names = tuple(f"{k + 1}" for k in range(int(line.max(initial=0)) + 1))
    receivers = tuple("abcdef"[: int(receiver.max(initial=0)) + 1])
    x, y, z = (np.asarray(v, float) for v in (x, y, z))
    return Walk(x, y, z, quality, receiver, receivers, line, names, np.arange(1, n + 1))


def real_table(folder, date: str):
    """One walk of the real folder as a table with columns e, n (UTM 11N, m), h (ellipsoidal, m) and its own."""
    import pandas as pd
    from pyproj import Transformer

    table = pd.read_csv(folder / "rover" / f"walk-{date}.csv.gz")
    to_utm = Transformer.from_crs("EPSG:4326", "EPSG:32611", always_xy=True)
    table["e"], table["n"] = to_utm.transform(table.lon.to_numpy(), table.lat.to_numpy())
    return table.rename(columns={"ellipsoidal_height_m": "h"})


def real_walk(table):
    """Such a table as a `Walk`."""
    from pipeline.survey.walks.walk import Walk

    receiver, receivers = table.receiver.factorize(sort=True)
    line, lines = table.line.factorize(sort=True)
    quality = table.quality.to_numpy(np.uint8)
    e, n, h = (table[c].to_numpy(float) for c in ("e", "n", "h"))
    rows = table.index.to_numpy() + 1
    return Walk(e, n, h, quality, receiver, tuple(receivers), line, tuple(str(v) for v in lines), rows)
