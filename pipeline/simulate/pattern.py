"""Where an instrument's points fall: the rows of a dense cloud, the strips and scan lines of a lidar."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate.draws import Box

STRIP_WIDE_M = 15.0  # half overlapping: a strip every 7.5 m
LIDAR_JITTER = 0.15  # of the spacing
SWEEP_S = 0.01  # time of one scan line


@dataclass(frozen=True)
class Pattern:
    """Points before anything is known of the ground. strip, time_s : of each point, or None where there are none."""

    e: np.ndarray
    n: np.ndarray
    strip: np.ndarray | None = None
    time_s: np.ndarray | None = None

    def take(self, chosen: np.ndarray) -> Pattern:
        """The points that a mask chooses."""
        strip, time_s = (None if v is None else v[chosen] for v in (self.strip, self.time_s))
        return Pattern(self.e[chosen], self.n[chosen], strip, time_s)


def rows(generator: np.random.Generator, box: Box, spacing: float, turned_deg: float) -> Pattern:
    """One point somewhere in each square of a turned lattice, as dense matching leaves one for a patch of pixels."""
    u, v = _lattice(box, spacing, turned_deg)
    u += generator.uniform(-0.5, 0.5, u.size) * spacing
    v += generator.uniform(-0.5, 0.5, v.size) * spacing
    return _cut(box, Pattern(*_turn(box, u, v, turned_deg)))


def strips(generator: np.random.Generator, box: Box, spacing: float, turned_deg: float) -> Pattern:
    """Scan lines across half-overlapping strips, swept back and forth; `spacing` is that of all strips together."""
    own = spacing * 2**0.5
    reach = np.hypot(box[2] - box[0], box[3] - box[1]) / 2
    first = -np.ceil(reach / (STRIP_WIDE_M / 2)) * STRIP_WIDE_M / 2
    parts = []
    for number, middle in enumerate(np.arange(first, reach + STRIP_WIDE_M / 2, STRIP_WIDE_M / 2)):
        across = np.arange(-STRIP_WIDE_M / 2, STRIP_WIDE_M / 2, own)
        along = np.arange(-reach, reach, own)
        a, c = np.meshgrid(along, across, indexing="ij")
        c[1::2] = c[1::2, ::-1]
        jitter = generator.normal(0.0, LIDAR_JITTER * own, (2, a.size))
        e, n = _turn(box, a.ravel() + jitter[0], middle + c.ravel() + jitter[1], turned_deg)
        time = number * 60.0 + np.repeat(np.arange(len(along)) * SWEEP_S, len(across))
        time += np.tile(np.arange(len(across)) * SWEEP_S / len(across), len(along))
        parts.append(_cut(box, Pattern(e, n, np.full(e.size, number + 1), time)))
    return Pattern(*(np.concatenate([getattr(p, k) for p in parts]) for k in ("e", "n", "strip", "time_s")))


def _lattice(box: Box, step: float, turned_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes of a lattice turned about the box's middle that covers it, row by row, rows swept back and forth."""
    a = np.radians(turned_deg)
    half_e, half_n = (box[2] - box[0]) / 2, (box[3] - box[1]) / 2
    reach_u = abs(half_e * np.cos(a)) + abs(half_n * np.sin(a))
    reach_v = abs(half_e * np.sin(a)) + abs(half_n * np.cos(a))
    u, v = np.arange(-reach_u, reach_u + step, step), np.arange(-reach_v, reach_v + step, step)
    uu, vv = np.meshgrid(u, v)
    uu[1::2] = uu[1::2, ::-1]
    return uu.ravel(), vv.ravel()


def _turn(box: Box, u: np.ndarray, v: np.ndarray, turned_deg: float) -> tuple[np.ndarray, np.ndarray]:
    a = np.radians(turned_deg)
    return (box[0] + box[2]) / 2 + u * np.cos(a) - v * np.sin(a), (box[1] + box[3]) / 2 + u * np.sin(a) + v * np.cos(a)


def _cut(box: Box, points: Pattern) -> Pattern:
    return points.take((points.e >= box[0]) & (points.e < box[2]) & (points.n >= box[1]) & (points.n < box[3]))
