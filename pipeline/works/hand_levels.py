"""Hand levels that payment rests on: places drawn at random before anybody looks, and what the levels read there say."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np

from pipeline.frame import Grid
from pipeline.surface.shares import share_range

FEWEST = 30
APART_M = 1.0  # between two places: two levels on one spot are one
STRIP_M = 6.0  # places are listed strip by strip, so that they can be walked in order


@dataclass(frozen=True)
class HandPlace:
    """One place to level by hand: its name, easting and northing in the working CRS (m), the design's level there (m) or None."""

    name: str
    e: float
    n: float
    design_m: float | None = None


@dataclass(frozen=True)
class Accepted:
    """What the hand levels say.

    read, within : levels read at drawn places, and those inside the tolerance
    share, low95, high95 : of the ground, with the exact interval of a share
    off_m        : deviation of each level, (read,), m, positive = stands high
    reason       : why there is no share, or ``
    """

    read: int
    within: int
    share: float
    low95: float
    high95: float
    off_m: tuple[float, ...] = ()
    reason: str = ""


def hand_places(cells: np.ndarray, grid: Grid, work_id: str, seed: int, count: int = FEWEST, design: np.ndarray | None = None) -> list[HandPlace]:
    """At least FEWEST places, drawn evenly over the worked ground; fewer only where it has no room for more.

    cells  : (ny, nx) bool, worked skin clear of keep-outs and the grass edge, by the layout alone: no survey decides where is looked
    seed   : the project's random_seed; the same field, work and seed give the same places
    design : (ny, nx), m, NaN where nothing was designed, or None
    """
    name = f"{seed}/{work_id}/hand levels".encode()
    rng = np.random.default_rng(int.from_bytes(hashlib.sha256(name).digest()[:8], "big"))
    rows, cols = np.nonzero(cells)
    e, n = grid.centres()
    taken: list[tuple[float, float, int, int]] = []
    for k in rng.permutation(len(rows)):
        at = float(e[cols[k]]), float(n[rows[k]])
        if all((at[0] - x) ** 2 + (at[1] - y) ** 2 >= APART_M**2 for x, y, *_ in taken):
            taken.append((*at, int(rows[k]), int(cols[k])))
        if len(taken) >= max(count, FEWEST):
            break
    strip = lambda p: int(p[1] // STRIP_M)
    taken.sort(key=lambda p: (strip(p), p[0] if strip(p) % 2 == 0 else -p[0]))
    level = lambda r, c: None if design is None or not np.isfinite(design[r, c]) else float(design[r, c])
    return [HandPlace(f"{work_id}-{i:02d}", x, y, level(r, c)) for i, (x, y, r, c) in enumerate(taken, start=1)]


def off_best_fit(height_m: np.ndarray, basis: np.ndarray) -> np.ndarray:
    """Levels less the best-fitting surface of a form, (k,), m, each widened for what it did to the fit itself.

    height_m : (k,); basis: (k, p), the form's surfaces there
    source   : residuals over sqrt(1 - leverage) have the spread of the deviations themselves (elementary)
    raises   : ValueError with no more levels than surfaces
    """
    k, p = basis.shape
    if k <= p:
        raise ValueError(f"{k} levels cannot tell {p} surfaces from what stands off them")
    q, _ = np.linalg.qr(basis - np.where(np.arange(p) == 0, 0.0, basis.mean(axis=0)))
    left = height_m - q @ (q.T @ height_m)
    return left / np.sqrt(np.maximum(1.0 - (q**2).sum(axis=1), 1e-6))


def accepted(off_m: np.ndarray, tolerance_m: float, drawn: int) -> Accepted:
    """Share of the levels within +/- tolerance and its 95 % interval.

    off_m : (k,) deviations of the levels read, m; drawn: how many places were drawn
    source: `share_range`
    """
    k, within = len(off_m), int((np.abs(off_m) <= tolerance_m).sum())
    off = tuple(float(v) for v in off_m)
    if k < drawn:
        return Accepted(k, within, np.nan, np.nan, np.nan, off, f"{k} of {drawn} places are read: all are needed")
    return Accepted(k, within, within / k, *share_range(within, k), off)
