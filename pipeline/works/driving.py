"""In which order, and which way, runs are driven: what is driven with the blade up between them is kept short and off the grass."""

from __future__ import annotations

from typing import Sequence

import numpy as np
import shapely
from shapely.geometry import LineString

OFF_SKIN_FACTOR, OFF_SKIN_M = 3.0, 10.0  # what a way between two runs counts that would leave the skin: ours
STRAY_M = 0.5  # a machine turning at the grass edge may stray so far
APPROACH = 0.5  # of the way from the corner to the first run: driven once, and not between runs
STARTS = 3
MOST_SWEEPS = 60


class Order:
    """Runs in an order, each with a side it is entered at, and the cost of the ways between them.

    Ends are numbered 2 k + side; a run entered at `a` is left at `a ^ 1`. The way from a corner to the first run counts by half.
    """

    def __init__(self, lines: Sequence[LineString], corner: tuple[float, float] | None, skin: shapely.Geometry | None):
        ends = np.array([line.coords[side] for line in lines for side in (0, -1)], float)[:, :2]
        self.ways = ways(ends, skin)
        self.start = np.zeros(len(ends)) if corner is None else APPROACH * np.hypot(*(ends - corner).T)

    def cost(self, entered: Sequence[int]) -> float:
        a = np.asarray(entered)
        return float(self.start[a[0]] + self.ways[a[:-1] ^ 1, a[1:]].sum())

    def nearest(self) -> list[list[int]]:
        """Always on to the nearest end of a run not yet driven, from the ends nearest to the corner; the shortest STARTS of those."""
        return sorted((self._from(a) for a in np.argsort(self.start, kind="stable")[:8]), key=self.cost)[:STARTS]

    def _from(self, first: int) -> list[int]:
        out, left = [int(first)], np.ones(len(self.start), bool)
        left[[first, first ^ 1]] = False
        while left.any():
            away = np.where(left, self.ways[out[-1] ^ 1], np.inf)
            nearest = int(np.argmin(away))
            left[[nearest, nearest ^ 1]] = False
            out.append(nearest)
        return out

    def shortened(self, entered: list[int]) -> list[int]:
        """Parts turned round or put elsewhere as long as that shortens the whole."""
        for _ in range(MOST_SWEEPS):
            better = self._turned(entered) or self._moved(entered)
            if better is None:
                break
            entered = better
        return entered

    def _turned(self, a: list[int]) -> list[int] | None:
        """The best reversal of a part i..j."""
        n, e = len(a), np.array(a)
        before = np.concatenate([[0.0], self.ways[e[:-1] ^ 1, e[1:]]])
        before[0] = self.start[e[0]]
        after = np.concatenate([before[1:], [0.0]])
        new_in = np.vstack([self.start[e ^ 1], self.ways[np.ix_(e[:-1] ^ 1, e ^ 1)]])  # i by j: the way to j's other end
        new_out = np.hstack([self.ways[np.ix_(e, e[1:])], np.zeros((n, 1))])
        gain = np.triu(before[:, None] + after[None, :] - new_in - new_out)
        i, j = np.unravel_index(int(np.argmax(gain)), gain.shape)
        if gain[i, j] <= 1e-9:
            return None
        return a[:i] + [b ^ 1 for b in reversed(a[i : j + 1])] + a[j + 1 :]

    def _moved(self, a: list[int]) -> list[int] | None:
        """The first part of up to three runs that does better elsewhere, either way round."""
        now = self.cost(a)
        for size in (1, 2, 3):
            for i in range(len(a) - size + 1):
                rest, part = a[:i] + a[i + size :], a[i : i + size]
                if not rest:
                    continue
                bare = self.cost(rest)
                for way in (part, [b ^ 1 for b in reversed(part)]):
                    inner = sum(self.ways[p ^ 1, q] for p, q in zip(way, way[1:]))
                    r = np.array(rest)
                    into = np.concatenate([[self.start[way[0]]], self.ways[r ^ 1, way[0]]])
                    out = np.concatenate([self.ways[way[-1] ^ 1, r], [0.0]])
                    gone = np.concatenate([[self.start[r[0]]], self.ways[r[:-1] ^ 1, r[1:]], [0.0]])
                    costs = bare + inner + into + out - gone
                    k = int(np.argmin(costs))
                    if costs[k] < now - 1e-9:
                        return rest[:k] + list(way) + rest[k:]
        return None


def ways(ends: np.ndarray, skin: shapely.Geometry | None) -> np.ndarray:
    """What the way from each end to each other counts, (m, m), m: straight; more where it would cross what is not skin."""
    away = np.hypot(*(ends[:, None, :] - ends[None, :, :]).transpose(2, 0, 1))
    if skin is None or not len(ends):
        return away
    room = skin.buffer(STRAY_M).simplify(0.1)
    shapely.prepare(room)
    i, j = np.triu_indices(len(ends), 1)
    on = shapely.covers(room, shapely.linestrings(np.stack([ends[i], ends[j]], axis=1)))
    off = np.zeros(away.shape, bool)
    off[i, j] = off[j, i] = ~on
    return np.where(off, OFF_SKIN_FACTOR * away + OFF_SKIN_M, away)


def driven(lines: Sequence[LineString], corner: tuple[float, float] | None, skin: shapely.Geometry | None = None) -> tuple[list[LineString], float]:
    """The runs in a short order from a corner, each from its start to its end, and what the ways between them count, m.

    Not proved to be the shortest: nearest end first, then bettered by turning and moving parts until neither helps.
    """
    if not lines:
        return [], 0.0
    order = Order(lines, corner, skin)
    entered = min((order.shortened(first) for first in order.nearest()), key=order.cost)
    return [lines[a // 2] if a % 2 == 0 else lines[a // 2].reverse() for a in entered], order.cost(entered)


def reached(previous: LineString | None, line: LineString, skin: shapely.Geometry) -> float:
    """Metres from the end of one run to the start of the next as the crow flies, NaN where that would leave the skin: the blade
    is up, and the machine goes round on the skin."""
    if previous is None:
        return 0.0
    way = LineString([previous.coords[-1], line.coords[0]])
    return float(way.length) if skin.buffer(STRAY_M).covers(way) else float("nan")
