"""How much of the skin a survey saw, and whether its points are dense enough for the cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import Refused

SURE = 10.0  # a square that ought to hold so many points and holds none was not flown
SQUARE_M = 3.0
CELL_MAX_M = 5.0
STEEP_SHARE_MAX = 0.03  # ball fields: under 0.003; the flattest hand-labelled site of the ISPRS filter test: 0.04


@dataclass(frozen=True)
class Cover:
    """What a survey saw of the skin.

    covered_share : share of the skin's cells that have a height; the rest are holes and stay empty
    reached_share : share of the skin that any ground point fell near, however few
    points_median : median of the ground points in a cell, over the skin that was reached
    smallest_cell_m : the smallest multiple of the cell with a median of `least` points; NaN where 5 m are not enough
    """

    covered_share: float
    reached_share: float
    points_median: float
    smallest_cell_m: float


def cover(points: np.ndarray, z: np.ndarray, skin: np.ndarray, cell_m: float, least: float = 4.0) -> Cover:
    """The cover of the skin.

    points : ground points by cell, (ny, nx), also where they are too few for a height
    z      : heights, (ny, nx), m; NaN where empty
    skin   : (ny, nx) bool
    least  : the median of points a cell should hold
    raises : ValueError where the skin has no cell
    """
    if not skin.any():
        raise ValueError("found no cell of skin on the grid; expected some")
    reached = _reached(points, skin, cell_m)
    there = reached & skin
    median = float(np.median(points[there])) if there.any() else 0.0
    return Cover(
        float(np.mean(~np.isnan(z[skin]))), float(np.mean(reached[skin])), median,
        cell_m if median >= least else smallest_cell_m(points, there, cell_m, least),
    )  # fmt: skip


def check_cover(seen: Cover, cell_m: float, least_share: float = 0.60, least_points: float = 4.0) -> None:
    """Raise Refused `covers_too_little` or `too_sparse` where a survey cannot stand for the field."""
    if seen.reached_share < least_share:
        raise Refused(
            "covers_too_little",
            f"found ground points on {100 * seen.reached_share:.0f} % of the skin; expected at least "
            f"{100 * least_share:.0f} %. Fly the whole field, empty of tarps and vehicles, or take the field out of "
            "this survey's row.",
        )
    if seen.points_median < least_points:
        wide = seen.smallest_cell_m
        todo = (
            f"Set cell_size_m to {wide:g} or more for this project, or fly lower; on so wide a cell no lip can be told."
            if np.isfinite(wide)
            else f"No cell up to {CELL_MAX_M:g} m would do: fly lower, or walk the field with a rover."
        )
        raise Refused(
            "too_sparse",
            f"found a median of {seen.points_median:g} ground points in a cell of {cell_m:g} m on the skin; "
            f"expected at least {least_points:g}. {todo}",
        )
    if seen.covered_share < least_share:
        raise Refused(
            "covers_too_little",
            f"found a height in {100 * seen.covered_share:.0f} % of the skin's cells; expected at least "
            f"{100 * least_share:.0f} %: the points are patchy. Fly the field again in even strips.",
        )


def screen_remark(steep_share: float) -> str | None:
    """A sentence where the ground is too steep for the screen to be trusted, or None.

    steep_share : share of the reference blocks steeper than 15 %
    """
    if not steep_share > STEEP_SHARE_MAX:
        return None
    return (
        f"{100 * steep_share:.0f} % of the ground is steeper than 15 %: dropping objects is made for ball fields, and "
        "here it drops ground too. Draw a `boundary` without banks and buildings."
    )


def classed_remark(cell_m: float) -> str:
    """The sentence on points that were taken as they are."""
    return f"The file classes every point as ground, and on cells of {cell_m:g} m that stands: no objects were looked for."


def smallest_cell_m(points: np.ndarray, skin: np.ndarray, cell_m: float, least: float) -> float:
    """The smallest whole multiple of the cell whose median of points on the skin is `least`, m; NaN beyond 5 m."""
    for k in range(2, int(CELL_MAX_M / cell_m + 1e-9) + 1):
        cells = _sums(skin.astype(float), k)
        some = cells > 0
        if not some.any():
            break
        if np.median(_sums(np.where(skin, points, 0.0), k)[some] / cells[some] * k * k) >= least:
            return round(k * cell_m, 6)
    return np.nan


def _reached(points: np.ndarray, skin: np.ndarray, cell_m: float) -> np.ndarray:
    """Cells of squares that hold a point, the square so large that it ought to hold ten, at most 3 m."""
    most = max(1, round(SQUARE_M / cell_m))
    there = _in_squares_with_points(points, most) & skin
    dense = points[there].mean() if there.any() else 0.0
    if dense == 0:
        return np.zeros(points.shape, bool)
    return _in_squares_with_points(points, min(most, int(np.ceil(np.sqrt(SURE / dense)))))


def _in_squares_with_points(points: np.ndarray, k: int) -> np.ndarray:
    held = _sums(points.astype(float), k) > 0
    return np.kron(held, np.ones((k, k), bool))[: points.shape[0], : points.shape[1]]


def _sums(values: np.ndarray, k: int) -> np.ndarray:
    """Sums over squares of k x k cells from the north-west corner on."""
    ny, nx = values.shape
    padded = np.pad(values, ((0, -ny % k), (0, -nx % k)))
    return padded.reshape(padded.shape[0] // k, k, padded.shape[1] // k, k).sum(axis=(1, 3))
