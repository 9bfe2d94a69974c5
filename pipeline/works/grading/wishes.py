"""What is wanted of a designed surface, and what mix and work cost in the choice between designs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

EDGE_M = 0.006  # a design meets the grass edge to this: no step for a foot
KAPPA_PER_M = 0.004  # most curvature: under a straightedge of 3 m a gap of 4.5 mm
EDGE, DIRECTION, BASE_LINE, LEAST_FALL, BEND, FIXED = "grass_edge", "direction", "base_line", "least_fall", "curvature", "fixed_level"
YIELDING = (EDGE, DIRECTION, BASE_LINE, LEAST_FALL, BEND)  # in this order a wish is asked to give way; the others never are


@dataclass(frozen=True)
class Levels:
    """Places whose level is given.

    x, y   : (n,), m
    height : (n,), m
    tolerance_m : (n,)
    name   : what each is called
    """

    x: np.ndarray
    y: np.ndarray
    height: np.ndarray
    tolerance_m: np.ndarray
    name: tuple[str, ...]

    @classmethod
    def none(cls) -> Levels:
        nothing = np.empty(0)
        return cls(nothing, nothing, nothing, nothing, ())


@dataclass(frozen=True)
class Line:
    """A line along which the surface may rise or fall no more than `most`, m per m; its ends, m, and its name."""

    x0: float
    y0: float
    x1: float
    y1: float
    most: float
    name: str


@dataclass(frozen=True)
class Wishes:
    """least, most : fall, m per m; least is asked along the form's wanted fall
    within_deg : how far from the wanted direction the surface may fall, or None
    kappa      : most curvature, 1/m, or None
    sideways   : fall across the wanted direction that is put up with beyond that angle
    fixed, edges : levels that are never moved, levels of the grass edge
    lines    : base lines that are to lie as level as that
    """

    least: float | None
    most: float | None
    within_deg: float | None = None
    kappa: float | None = KAPPA_PER_M
    fixed: Levels = Levels.none()
    edges: Levels = Levels.none()
    sideways: float = 0.0
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True)
class Worth:
    """move, buy, take : of a cubic metre moved on the field (cut or filled), bought, taken away; any one unit
    ratio : cut needed for one of settled fill, 1 or more
    may_buy, may_take : whether mix may come or go at all
    """

    move: float
    buy: float
    take: float
    ratio: float
    may_buy: bool = True
    may_take: bool = True
