"""Which way material has moved on the skin between two dates, and whether the works recorded would move it that way.

Gain and loss seen cell by cell are mostly noise, and their centroids with them. The first moment of the change about the
skin's middle is a weighted sum of cells: noise leaves it unbiased, and its covariance, tilt of the tie included, is exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Mapping, Sequence

import numpy as np
from scipy.special import ndtr

from pipeline.change.difference import LEVEL_95, Change
from pipeline.change.zones import MIN_COVER, NOISE_GAIN
from pipeline.diamond.layout import Layout

LEVEL = 0.05
AXIS_WITHIN_DEG = 30.0  # a bearing within so much of another is the same habit
CORNER_WITHIN_DEG = 45.0  # corners stand 90 degrees apart
RECORDED_SD_DEG = 10.0  # of one recorded bearing; a guess
STANDS_OUT = 0.5  # mean resultant length from which one bearing, or one corner, is a habit
SURE, UNLIKELY = 0.8, 0.2
LEAST_WORKS = 3
OUTFIELD = {"left": -30.0, "centre": 0.0, "right": 30.0}  # seen from home, degrees from the line to second base
OUTFIELD_FAR = 1.4  # of the way to second base: the back of the skin
BLOCK_M = 1.0  # gain is read from means over so much ground square
NAN = float("nan")


@dataclass(frozen=True)
class Direction:
    """Where material went, about the skin's middle and less its mean change.

    moment       : (2,) sum of volume times place, east and north, m4: volume moved times how far
    covariance   : (2, 2) of it, m8
    bearing_deg  : from where it left to where it came, 0-360 clockwise from grid north; NaN where not detected
    bearing_sigma_deg : one s.d.
    p            : of so long a moment where nothing moved
    moved_m3     : (low, high) volume gained where it came: the gain less all that noise alone would show, and the gain
    shift_m      : (low, high) gain's centroid from loss's, m: the moment's 95 % bracket over that volume's; high is
                   infinite where noise could be all of the gain
    reason       : why there is no figure, or ``
    """

    moment: np.ndarray
    covariance: np.ndarray
    bearing_deg: float
    bearing_sigma_deg: float
    p: float
    moved_m3: tuple[float, float]
    shift_m: tuple[float, float]
    reason: str

    @property
    def detected(self) -> bool:
        return bool(self.p <= LEVEL)


@dataclass(frozen=True)
class Habit:
    """What works have in common. `deg` is the mean bearing (0-180, axial) or direction (0-360), `length` the mean resultant
    length (1 all alike, 0 none), `rayleigh_p` the chance of so much likeness without a habit."""

    deg: float
    length: float
    count: int
    rayleigh_p: float


@dataclass(frozen=True)
class Agreement:
    """`word`: agrees, differs or cannot_tell; how far apart, degrees, and the probability of standing within the limit."""

    word: str
    apart_deg: float
    probability: float
    reason: str


def moved(change: Change, skin: np.ndarray) -> Direction:
    """Direction of what moved within the skin (cells under plants left out), from one pair's change.

    A shift of the whole survey falls out; a tilt does not, and is in the covariance through the tie.
    """
    used = skin & change.measured
    if change.relative:
        return _untold("the skin's own plane was taken off, and what moved across it with it")
    if used.sum() < MIN_COVER * skin.sum() or used.sum() < 3:
        return _untold(f"both dates saw {used.sum() / max(int(skin.sum()), 1):.0%} of the skin; {MIN_COVER:.0%} are needed")
    area = change.grid.cell_area_m2
    e, n = change.grid.mesh()
    arm = np.stack([np.where(used, v - v[used].mean(), 0.0) for v in (e, n)])  # sums to 0: the mean change falls out
    weights = arm * area
    moment = np.einsum("zyx,yx->z", weights, np.where(used, change.dz, 0.0))
    covariance = change.uncertainty.covariance(weights)
    size2 = float(moment @ np.linalg.solve(covariance, moment))
    p = float(np.exp(-0.5 * size2))  # chi-square with 2 degrees of freedom
    gained = _gain(change, used)
    length = float(np.hypot(*moment))
    if p > LEVEL:
        return Direction(moment, covariance, NAN, NAN, p, gained, (NAN, NAN), "")
    along = moment / length
    across = np.array([-along[1], along[0]])
    bearing = float(np.degrees(np.arctan2(moment[0], moment[1])) % 360.0)
    sigma = float(np.degrees(np.sqrt(across @ covariance @ across) / length))
    spread = LEVEL_95 * float(np.sqrt(along @ covariance @ along))
    shift = max(length - spread, 0.0) / gained[1], (length + spread) / gained[0] if gained[0] > 0 else float("inf")
    return Direction(moment, covariance, bearing, sigma, p, gained, shift, "")


def _untold(reason: str) -> Direction:
    nothing = np.full(2, NAN)
    return Direction(nothing, np.full((2, 2), NAN), NAN, NAN, NAN, (NAN, NAN), (NAN, NAN), reason)


def _gain(change: Change, used: np.ndarray) -> tuple[float, float]:
    """Volume gained over block means about the mean change, less what noise alone would show (0 at least) and whole, m3.

    Where little moved noise adds all of its own gain, where much moved everywhere next to none.
    """
    rows, cols = np.nonzero(used)
    side = max(round(BLOCK_M / change.grid.cell_m), 1)
    number = rows // side * -(-change.grid.nx // side) + cols // side
    count = np.bincount(number)
    dz = change.dz[used] - change.dz[used].mean()
    held = np.flatnonzero(count)
    mean = np.bincount(number, dz)[held] / count[held]
    area = count[held] * change.grid.cell_area_m2
    middle = held[np.argmin(np.abs(count[held] - np.median(count[held])))]
    one = np.zeros(used.shape)
    mine = number == middle
    one[rows[mine], cols[mine]] = 1.0 / mine.sum()
    less = used / used.sum()
    sigma = change.uncertainty.sigma_of(one - less)
    gain, noise = float((np.maximum(mean, 0.0) * area).sum()), NOISE_GAIN * sigma * float(area.sum())
    return max(gain - noise, 0.0), gain


def bearing_habit(bearings_deg: Sequence[float], weights: Sequence[float] | None = None) -> Habit | None:
    """What bearings of passes (0-180, driven both ways) have in common; None without any.

    source : mean of axial data by doubling angles (Mardia & Jupp 2000, 1.3 and 9.1; from memory)
    """
    found = direction_habit([2.0 * b for b in bearings_deg], weights)
    return None if found is None else Habit(found.deg / 2.0, found.length, found.count, found.rayleigh_p)


def direction_habit(degrees: Sequence[float], weights: Sequence[float] | None = None) -> Habit | None:
    """Mean direction (0-360), mean resultant length and Rayleigh's p; None without any.

    weights : hours or visits; None: each counts once
    source  : p = exp(sqrt(1 + 4 n + 4 (n^2 - R^2)) - (1 + 2 n)), R = n times the length (Zar 1999, 27.1; from memory)
    """
    angle = np.radians(np.asarray(degrees, float))
    if not len(angle):
        return None
    w = np.ones(len(angle)) if weights is None else np.asarray(weights, float)
    east, north = float((w * np.sin(angle)).sum() / w.sum()), float((w * np.cos(angle)).sum() / w.sum())
    length, n = float(np.hypot(east, north)), len(angle)
    p = float(np.exp(np.sqrt(1 + 4 * n + 4 * (n**2 - (n * min(length, 1.0)) ** 2)) - (1 + 2 * n)))
    return Habit(float(np.degrees(np.arctan2(east, north)) % 360.0), length, n, min(p, 1.0))


def away_from(entries: Sequence[str], where: Mapping[str, tuple[float, float]], middle: tuple[float, float]) -> list[float]:
    """Directions in which entering at these corners carries material: from the corner toward the skin's middle and on, for
    each entry with a known place, degrees 0-360. A routine with one entry pumps material out of that corner."""
    at = [where[name] for name in entries if name in where]
    return [float(np.degrees(np.arctan2(middle[0] - e, middle[1] - n)) % 360.0) for e, n in at]


def entry_points(layout: Layout) -> dict[str, tuple[float, float]]:
    """Where the words of `entry` lie, easting and northing, m; empty for a skin drawn without bases."""
    out = {name: layout.anchors[name] for name in ("home", "first", "second", "third") if name in layout.anchors}
    if layout.axes is not None and "second" in out:
        far = OUTFIELD_FAR * float(np.hypot(*layout.axes.local(*out["second"])))
        for name, deg in OUTFIELD.items():
            e, n = layout.axes.world(far * np.sin(np.radians(deg)), far * np.cos(np.radians(deg)))
            out[name] = float(e), float(n)
    return out


def along_passes(direction: Direction, habit: Habit | None) -> Agreement:
    """Whether material moved along the bearing most passes had; axial: passes are driven both ways."""
    return _agreement(direction, habit, 180.0, AXIS_WITHIN_DEG, "bearing", "a bearing")


def out_of_corner(direction: Direction, habit: Habit | None) -> Agreement:
    """Whether material moved away from the corner most works entered at."""
    return _agreement(direction, habit, 360.0, CORNER_WITHIN_DEG, "entry", "an entry")


def _agreement(direction: Direction, habit: Habit | None, turn: float, within: float, what: str, a_what: str) -> Agreement:
    if direction.reason or not direction.detected:
        return Agreement("cannot_tell", NAN, NAN, direction.reason or "no movement across the skin was detected")
    if habit is None or habit.count < LEAST_WORKS:
        count = 0 if habit is None else habit.count
        return Agreement("cannot_tell", NAN, NAN, f"works recorded with {a_what}: {count}, {LEAST_WORKS} are needed")
    if habit.length < STANDS_OUT:
        return Agreement("cannot_tell", NAN, NAN, f"no one {what} stands out among {habit.count} works")
    apart = (direction.bearing_deg - habit.deg + turn / 2) % turn - turn / 2
    sigma = float(np.hypot(direction.bearing_sigma_deg, RECORDED_SD_DEG / np.sqrt(habit.count)))
    chance = float(sum(ndtr((within - apart - k * turn) / sigma) - ndtr((-within - apart - k * turn) / sigma) for k in (-1, 0, 1)))
    word = "agrees" if chance >= SURE else "differs" if chance <= UNLIKELY else "cannot_tell"
    reason = "" if word != "cannot_tell" else f"{abs(apart):.0f} degrees apart, known to {sigma:.0f}"
    return Agreement(word, float(abs(apart)), chance, reason)
