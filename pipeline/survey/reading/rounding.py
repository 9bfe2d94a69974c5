"""Coordinates rounded on export: the step in which x, y and z really move.

A cloud written with too few digits, or through 32-bit floats, looks whole: only its coordinates stand on a coarse
lattice. It cannot be seen in a few points, so a sample is kept of the points that fall on the field.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import Refused
from pipeline.survey.points import Chunk, Projection

SAMPLE_MAX = 1 << 16
POINTS_PER_STEP = 3  # so many sampled points on each step of the limit, or the step cannot be told
SHARE_OF_CELL, STEP_Z_M = 0.25, 0.005


@dataclass(frozen=True)
class Steps:
    """The step in which x, y and z of the source move, m; NaN where the points are too few to tell."""

    x_m: float
    y_m: float
    z_m: float


class Sample:
    """A sample of points by their own coordinates: the same whatever the order and the chunks.

    threshold : points whose hash lies below it are in the sample; halved whenever there are too many
    """

    def __init__(self) -> None:
        self.threshold = np.uint64(2**64 - 1)
        self._hashes, self._xyz = np.empty(0, np.uint64), np.empty((0, 3))

    def add(self, chunk: Chunk, picked: np.ndarray, hashes: np.ndarray) -> None:
        """Take the points of a chunk whose hash was found below the threshold, or below an earlier, higher one."""
        while len(self._hashes) + np.count_nonzero(hashes < self.threshold) > SAMPLE_MAX:
            self.threshold >>= np.uint64(1)
            stays = self._hashes < self.threshold
            self._hashes, self._xyz = self._hashes[stays], self._xyz[stays]
        below = hashes < self.threshold
        axes = zip((chunk.x, chunk.y, chunk.z), chunk.scale, chunk.offset)
        xyz = np.column_stack([raw[picked[below]] * scale + offset for raw, scale, offset in axes])
        self._hashes, self._xyz = np.concatenate([self._hashes, hashes[below]]), np.concatenate([self._xyz, xyz])

    def steps(self, projection: Projection, cell_m: float) -> Steps:
        """The steps of the points sampled, for a grid of `cell_m`."""
        metres = (*metres_per_unit(projection), projection.z_factor)
        limits = (SHARE_OF_CELL * cell_m, SHARE_OF_CELL * cell_m, STEP_Z_M)
        return Steps(*(step_m(v * m, limit) for v, m, limit in zip(self.points().T, metres, limits)))

    def points(self) -> np.ndarray:
        """The points sampled, (n, 3), source coordinates, in no order."""
        return self._xyz


def metres_per_unit(projection: Projection) -> tuple[float, float]:
    """Metres on the ground of one source unit along x and along y, at the middle of the field."""
    along_x = np.hypot(projection.east[1], projection.north[1]) / projection.half
    along_y = np.hypot(projection.east[2], projection.north[2]) / projection.half
    return float(along_x), float(along_y)


def step_m(value_m: np.ndarray, limit_m: float) -> float:
    """The step in which values move, m: the median over the points of the gap to the next value above.

    Stray values do not hide a lattice: one that holds less than a tenth of what values hold on average is passed
    over. NaN where the points are so few that a gap of `limit_m` between neighbours would be no wonder.
    """
    level, points = np.unique(np.rint(np.asarray(value_m) * 1e6).astype(np.int64), return_counts=True)
    held = points >= 0.1 * len(value_m) / max(len(level), 1)
    level, points = level[held], points[held]
    if len(level) < 2:
        return np.nan
    gap = np.diff(level) * 1e-6
    if points.sum() * limit_m < POINTS_PER_STEP * (level[-1] - level[0]) * 1e-6:
        return np.nan
    order = np.argsort(gap, kind="stable")
    weight = np.cumsum(points[:-1][order])
    return float(gap[order][np.searchsorted(weight, weight[-1] / 2)])


def check_precision(steps: Steps, cell_m: float, white_point_m: float) -> None:
    """Raise Refused where rounding would be seen in the surface.

    x, y : a step over a quarter of the cell puts points into the wrong cells
    z    : a step over 5 mm, unless the points scatter by half a step or more: then rounding averages out, to
           0.3 % of the step (the sum of a rounded normal's first harmonic, exp(-2 pi2 s2 / q2) / pi), and the
           cells' error carries the rest. Where no cell has a height the scatter is not known (NaN): that cloud is
           too sparse, which is the sentence it deserves
    """
    limit = SHARE_OF_CELL * cell_m
    coarse = [
        f"{axis} moves in steps of {step:.3g} m (at most {limit:.3g} m can be used)"
        for axis, step in (("x", steps.x_m), ("y", steps.y_m))
        if step > limit + 1e-9
    ]
    if steps.z_m > STEP_Z_M + 1e-9 and white_point_m < steps.z_m / 2:
        step_mm, most_mm = steps.z_m * 1000, STEP_Z_M * 1000
        coarse.append(f"height moves in steps of {step_mm:.3g} mm (at most {most_mm:.0f} mm can be used)")
    if coarse:
        raise Refused(
            "precision_lost",
            f"found that {' and '.join(coarse)}; expected what the instrument measured. The coordinates were rounded "
            "on export, or the points are a raster written as points: export again with at least three decimals from "
            "the original, not through 32-bit numbers, or give the raster as a GeoTIFF.",
        )
