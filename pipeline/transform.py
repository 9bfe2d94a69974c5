"""The step from one CRS to another, taken only where it is known exactly, with what it is known to."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Sequence

import numpy as np
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.exceptions import ProjError
from pyproj.transformer import TransformerGroup

from pipeline.coordinates import canonical, label, same

NEAR_DEG = 0.02  # half the side of the area an operation is chosen for, about 2 km
EPOCH_M = 0.5  # a frame that moves with its plate, epoch not stated: 15 years at up to 3 cm a year
LARGEST_M = 5.0  # a step known worse than this is no step


class NoExactStep(ValueError):
    """No exact step between two CRSs is known on this machine. The message is a sentence for the operator."""


@dataclass(frozen=True)
class Step:
    """From source to target coordinates.

    accuracy_m : what the step between the two datums is known to, horizontally, m; 0 on one datum
    """

    source: CRS
    target: CRS
    accuracy_m: float
    transformer: Transformer

    def __call__(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Target coordinates of source coordinates, easting or longitude first; inf where there is no such place."""
        e, n = self.transformer.transform(np.asarray(x, float), np.asarray(y, float))
        return np.asarray(e), np.asarray(n)

    def back(self, e: np.ndarray, n: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Source coordinates of target coordinates."""
        x, y = self.transformer.transform(np.asarray(e, float), np.asarray(n, float), direction="INVERSE")
        return np.asarray(x), np.asarray(y)


def step_between(source: CRS, target: CRS, place: tuple[float, float] | None = None) -> Step:
    """The best known horizontal step, never a stand-in for a better one that is not on this machine.

    place  : longitude, latitude of the field; None takes the target's area of use
    raises : NoExactStep
    """
    source, target = canonical(source), canonical(target)
    if same(source, target):
        return Step(source, target, 0.0, Transformer.from_crs(source, target, always_xy=True))
    group = _operations(source, target, place)
    if group is None:
        raise NoExactStep(_missing(source, target, ()))
    if not group.transformers or not group.best_available:
        raise NoExactStep(_missing(source, target, group.unavailable_operations))
    best = group.transformers[0]
    accuracy = best.accuracy
    if "t_epoch" in best.definition:
        accuracy = max(accuracy, EPOCH_M)
    if not 0 <= accuracy <= LARGEST_M:
        raise NoExactStep(_missing(source, target, group.unavailable_operations))
    return Step(source, target, float(accuracy), best)


def _operations(source: CRS, target: CRS, place: tuple[float, float] | None) -> TransformerGroup | None:
    """All operations the library knows; None for a projection it does not have."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # "best transformation is not available": refused by the caller
        try:
            return TransformerGroup(
                source, target, always_xy=True, area_of_interest=_area(target, place), allow_ballpark=False
            )
        except ProjError:
            return None


def _area(target: CRS, place: tuple[float, float] | None) -> AreaOfInterest | None:
    if place is not None and all(map(math.isfinite, place)):
        lon, lat = place
        return AreaOfInterest(lon - NEAR_DEG, lat - NEAR_DEG, lon + NEAR_DEG, lat + NEAR_DEG)
    area = target.area_of_use
    return None if area is None else AreaOfInterest(area.west, area.south, area.east, area.north)


def _missing(source: CRS, target: CRS, unavailable: Sequence) -> str:
    lacks = [grid.short_name for op in unavailable[:1] for grid in op.grids if not grid.available]
    why = f" (it would need a correction file that is not here, {min(lacks)})" if lacks else ""
    return (
        f"found {label(source)}, from which no exact step to {label(target)} is known here{why}; an inexact one "
        "would move the points by decimetres to metres"
    )
