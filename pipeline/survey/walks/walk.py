"""A walk with an RTK rover: its rows, how well one of them measures, and its way onto a field's grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.survey.plane import MAD_TO_SD
from pipeline.survey.points import TICK_M, Ground, Projection

FIXED, FLOAT, SINGLE = 1, 2, 5  # the codes of `quality` in a walk's table
STILL_M = 0.005  # rows nearer than this to the row before them: the pole has not moved
APART_M, TRIPLE_M = 0.2, 1.5  # the white noise is read from three rows in a row so far apart
BEND_M = 0.2  # by more than this off a straight path, the three are a turn and not a line


@dataclass(frozen=True)
class Walk:
    """Rows of one walk in the order they were logged.

    x, y, z   : (n,) float64; m, except x, y in a source's own units until `to_working`
    quality   : (n,) uint8, 1 fixed, 2 float, 5 single; None where the file does not say
    receiver  : (n,) int codes into `receivers`
    receivers : receivers' names
    line      : (n,) int codes into `lines`
    lines     : lines' names
    row       : (n,) int row of the file
    """

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    quality: np.ndarray | None
    receiver: np.ndarray
    receivers: tuple[str, ...]
    line: np.ndarray
    lines: tuple[str, ...]
    row: np.ndarray

    def __len__(self) -> int:
        return len(self.x)

    def take(self, chosen: np.ndarray) -> Walk:
        """The rows that a mask or an index array chooses; names are kept whole."""
        quality = None if self.quality is None else self.quality[chosen]
        return Walk(
            self.x[chosen], self.y[chosen], self.z[chosen], quality, self.receiver[chosen], self.receivers,
            self.line[chosen], self.lines, self.row[chosen],
        )  # fmt: skip

    def at(self, x: np.ndarray, y: np.ndarray, z: np.ndarray) -> Walk:
        """The same rows at other coordinates, each (n,), m."""
        x, y, z = (np.asarray(v, float) for v in (x, y, z))
        return Walk(x, y, z, self.quality, self.receiver, self.receivers, self.line, self.lines, self.row)

    def lines_walked(self) -> np.ndarray:
        """Number of the uninterrupted line each row belongs to, (n,) int: a new one where receiver or line changes."""
        changed = (np.diff(self.receiver) != 0) | (np.diff(self.line) != 0)
        return np.concatenate([[0], np.cumsum(changed)]).astype(np.int64) if len(self) else np.zeros(0, np.int64)

    def steps(self) -> np.ndarray:
        """Horizontal distance of each row from the row before it on its line, (n,), m; inf at a line's first row."""
        step = np.hypot(np.diff(self.x, prepend=np.nan), np.diff(self.y, prepend=np.nan))
        first = np.diff(self.lines_walked(), prepend=-1) != 0
        return np.where(first, np.inf, step)


def white_noise(walk: Walk) -> float:
    """One s.d. of one row's height, independent from row to row, m; NaN under 20 triples.

    Three rows on one line, APART_M to TRIPLE_M from each other: the middle one against the straight line between its
    neighbours. For noise of s.d. w its variance is w2 (1 + a2 + (1 - a)2), a the middle one's place between them. Rows
    logged closer share their error and are passed over. Median absolute value, so that the few triples on a lip or
    kerb do not count; ground rough everywhere does: it is what one row does not say about its surroundings.
    """
    held = _apart(walk)
    x, y, z = walk.x[held], walk.y[held], walk.z[held]
    step = np.hypot(np.diff(x), np.diff(y))
    line = walk.lines_walked()[held]
    good = (line[2:] == line[:-2]) & (step[:-1] < TRIPLE_M) & (step[1:] < TRIPLE_M)
    a = (step[:-1] / (step[:-1] + step[1:]))[good]

    def off_line(v: np.ndarray) -> np.ndarray:
        return v[1:-1][good] - (1 - a) * v[:-2][good] - a * v[2:][good]

    straight = np.hypot(off_line(x), off_line(y)) < BEND_M
    unit = (off_line(z) / np.sqrt(1 + a**2 + (1 - a) ** 2))[straight]
    return float(MAD_TO_SD * np.median(np.abs(unit))) if len(unit) >= 20 else float("nan")


def _apart(walk: Walk) -> np.ndarray:
    """Rows at least APART_M of path after the row taken before them on their line, (k,) int."""
    step = walk.steps()
    path = np.cumsum(np.where(np.isinf(step), TRIPLE_M, step))
    held, last = [], -np.inf
    for i, at in enumerate(path.tolist()):
        if at - last >= APART_M:
            held.append(i)
            last = at
    return np.asarray(held, np.int64)


def to_working(walk: Walk, projection: Projection) -> Walk:
    """The walk in the field's working CRS, m."""
    e, n = projection.apply(walk.x, walk.y)
    return walk.at(e, n, walk.z * projection.z_factor)


def to_ground(walk: Walk, grid: Grid) -> Ground:
    """The walk's rows on the field's grid as ground points, in the order walked.

    walk   : cleaned, in the grid's CRS
    raises : Refused `misses_field` where no row lies on the grid
    """
    held = grid.holds(*grid.rows_cols(walk.x, walk.y))
    if not held.any():
        raise Refused(
            "misses_field",
            f"found {len(walk):,} fixed rows at east {walk.x.min():.0f} to {walk.x.max():.0f}, north "
            f"{walk.y.min():.0f} to {walk.y.max():.0f} m; expected some on the field, east {grid.west:.0f} to "
            f"{grid.east:.0f}, north {grid.south:.0f} to {grid.north:.0f} m. Check the walk's coordinates and the field named in surveys.csv.",
        )
    x, y, z = walk.x[held], walk.y[held], walk.z[held]
    z0 = float(np.floor(z.min()))
    ticks = [np.round(v / TICK_M).astype(np.int32) for v in (x - grid.west, y - grid.south, z - z0)]
    return Ground(grid.west, grid.south, z0, *ticks)


def runs(code: np.ndarray) -> list[tuple[int, int]]:
    """Start and stop of each run of equal values."""
    if not len(code):
        return []
    cuts = np.flatnonzero(np.diff(code)) + 1
    return list(zip(np.concatenate([[0], cuts]).tolist(), np.append(cuts, len(code)).tolist()))
