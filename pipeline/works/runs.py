"""Straight runs over the skin: which bearing, from which corner, never over what must not be touched."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan
from typing import Mapping, Sequence

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon, box

from pipeline.works.driving import driven

STEP_DEG = 5
LEAST_RUN_M = 3.0  # shorter is hand work
EDGE_M = 0.3  # the blade's end stays so far off the grass
FRESH_DEG = 30.0  # a bearing this near the last one would pump mix the same way
ACROSS_DEG = 60.0  # between two bearings over one low spot
ROTATION = 0.5  # weight of earlier bearings against time; they fade by half with every work
SLACK_M = 1e-6
LAST_CORNERS = 2


@dataclass(frozen=True)
class Runs:
    """One covering of the ground.

    bearing_deg : 0 to 180, clockwise from grid north
    entry       : the corner it begins at
    lines       : runs in the order driven, each from its start to its end
    hand_m2     : ground that no run covers
    minutes     : at the machine's speed and turns; NaN where the owner gave none
    """

    bearing_deg: float
    entry: str
    lines: tuple[LineString, ...]
    hand_m2: float
    minutes: float

    @property
    def length_m(self) -> float:
        return sum(line.length for line in self.lines)


def ground_for(skin: shapely.Geometry, kept_free: Sequence[shapely.Geometry], edge_m: float = EDGE_M) -> shapely.Geometry:
    """Where a blade may be: skin clear of the grass and of everything kept free."""
    return skin.buffer(-edge_m).difference(shapely.union_all(list(kept_free)))


def stripes(ground: shapely.Geometry, width_m: float, bearing_deg: float) -> list[LineString]:
    """Runs along a bearing, blade beside blade from one side to the other; a run ends where any part of the blade would leave
    the ground. Exact: what of a stripe lies off the ground is projected onto the run and taken out.

    returns : middle lines of runs of LEAST_RUN_M or more, ordered across, each along the bearing
    """
    if ground.is_empty:
        return []
    about = ground.envelope.centroid
    turned = affinity.rotate(ground, bearing_deg, origin=about)  # clockwise bearings: now runs go north
    west, south, east, north = turned.bounds
    count = int(np.floor((east - west) / width_m + 1e-9))
    first = west + (east - west - count * width_m) / 2
    shapely.prepare(turned)
    out = []
    for k in range(count):
        x0, x1 = first + k * width_m, first + (k + 1) * width_m
        stripe = box(x0 + SLACK_M, south, x1 - SLACK_M, north)
        for a, b in _clear(stripe.difference(turned), south, north):
            if b - a >= LEAST_RUN_M - SLACK_M:
                out.append(LineString([((x0 + x1) / 2, a), ((x0 + x1) / 2, b)]))
    return [affinity.rotate(line, -bearing_deg, origin=about) for line in out]


def _clear(off: shapely.Geometry, south: float, north: float) -> list[tuple[float, float]]:
    """What is left of a span once the spans of all parts of a geometry are taken out."""
    taken = sorted((g.bounds[1], g.bounds[3]) for g in shapely.get_parts(off) if not g.is_empty and g.area > SLACK_M**2)
    out, at = [], south
    for a, b in taken:
        if a > at:
            out.append((at, a))
        at = max(at, b)
    return out + [(at, north)] if at < north else out


def minutes_of(lines: Sequence[LineString], speed_m_per_s: float | None, turn_s: float | None) -> float:
    """Time of runs with a turn after each, minutes; NaN where speed or turn is not known."""
    if speed_m_per_s is None or turn_s is None or speed_m_per_s <= 0:
        return nan
    return sum(line.length / speed_m_per_s + turn_s for line in lines) / 60


def apart_deg(one: float, other: float) -> float:
    """Angle between two bearings of lines, 0 to 90."""
    d = abs(one - other) % 180
    return min(d, 180 - d)


def chosen(
    ground: shapely.Geometry, width_m: float, last: Sequence[float], entries: Sequence[str], corners: Mapping[str, tuple[float, float]],
    speed_m_per_s: float | None = None, turn_s: float | None = None, away_from: float | None = None, skin: shapely.Geometry | None = None,
) -> Runs | None:  # fmt: skip
    """The covering that costs least time and least repeats what was done before; None where no run fits.

    last      : bearings of the works before, newest first; entries: corners they began at, newest first
    away_from : a bearing that this one crosses at ACROSS_DEG or more
    skin      : what may be driven over between runs; None: everything
    score     : time over the least time, plus ROTATION sum 2^-j cos^2(difference to the j-th last)
    """
    found = []
    for bearing in range(0, 180, STEP_DEG):
        if last and apart_deg(bearing, last[0]) < FRESH_DEG or away_from is not None and apart_deg(bearing, away_from) < ACROSS_DEG:
            continue
        lines = stripes(ground, width_m, bearing)
        if lines:
            found.append((bearing, lines, _cost_a_metre(lines, speed_m_per_s, turn_s)))
    if not found:
        return None
    least = min(cost for _, _, cost in found)

    def score(bearing: int, cost: float) -> float:
        before = sum(0.5**j * np.cos(np.radians(bearing - b)) ** 2 for j, b in enumerate(last, start=1))
        return cost / least + ROTATION * before

    bearing, lines, _ = min(found, key=lambda one: (round(score(one[0], one[2]), 9), one[0]))
    entry, order = entered(lines, entries, corners, skin)
    covered = shapely.union_all([line.buffer(width_m / 2, cap_style="flat") for line in order])
    return Runs(float(bearing), entry, tuple(order), float(max(ground.area - covered.area, 0.0)), minutes_of(order, speed_m_per_s, turn_s))


def _cost_a_metre(lines: Sequence[LineString], speed: float | None, turn: float | None) -> float:
    """Seconds a metre covered, or without a machine's figures metres with ten for a turn: a bearing that leaves more to the hand
    is not faster."""
    known, length = minutes_of(lines, speed, turn), sum(line.length for line in lines)
    return (known * 60 if np.isfinite(known) else sum(line.length + 10.0 for line in lines)) / length


def entered(
    lines: Sequence[LineString], entries: Sequence[str], corners: Mapping[str, tuple[float, float]], skin: shapely.Geometry | None = None
) -> tuple[str, list[LineString]]:
    """Runs in the order driven, from the corner that leaves least to be driven with the blade up, of those not used lately.

    entries : corners of the works before, newest first; the last LAST_CORNERS of them are left out while there are others
    """
    if not corners:
        return "", driven(lines, None, skin)[0]
    fresh = sorted(c for c in corners if c not in entries[:LAST_CORNERS]) or [max(sorted(corners), key=lambda c: list(entries).index(c) if c in entries else len(entries))]
    ways = {word: driven(lines, corners[word], skin) for word in fresh}
    word = min(fresh, key=lambda w: (round(ways[w][1], 6), w))
    return word, ways[word][0]


def corners_of(skin: Polygon, axes, anchors: Mapping[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    """Corners a crew may begin at, by the words of works.csv: the bases, and the far ends of the skin toward left, centre and right."""
    if axes is None:
        return {}
    out = {w: anchors[w] for w in ("first", "second", "third") if w in anchors} | {"home": (axes.home_e, axes.home_n)}
    rim = np.concatenate([np.asarray(g.exterior.coords) for g in shapely.get_parts(skin)])
    x, y = axes.local(rim[:, 0], rim[:, 1])
    for word, along in (("left", y - x), ("right", y + x), ("centre", y)):
        out[word] = tuple(float(v) for v in rim[int(np.argmax(along))][:2])
    return out
