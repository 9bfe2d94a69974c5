"""How far a lip grew between two rover walks: one fit over both, so that what they share cannot pass for growth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.survey.edges.edge_shape import DEFAULT_BUMP, Bump
from pipeline.survey.walks.walk_edges import FLOOR_M, SHAPE_SHARE, WORST_M, Rows, fit_profile, near, why_not

DETECTED_SIGMAS = 1.96


@dataclass(frozen=True)
class RoverGrowth:
    """Growth of the lip along one edge between two walks, later less earlier, m; NaN and a reason where not told.

    growth_m        : of the crest against skin and turf on its two sides
    step_gained_m   : turf against skin: mowing, rolling, mix lost or brought; never part of growth_m
    detected        : |growth| > 1.96 sigma
    shape           : the lip's shape used; keep it for a series, so that its growths add up
    points          : rows used of the earlier and the later walk
    """

    growth_m: float
    growth_sigma_m: float
    step_gained_m: float
    step_gained_sigma_m: float
    detected: bool
    shape: Bump
    points: tuple[int, int]
    reason: str

    @property
    def low95_m(self) -> float:
        return self.growth_m - DETECTED_SIGMAS * self.growth_sigma_m

    @property
    def high95_m(self) -> float:
        """A pole stands on what lies between the blades: unlike a flight's, the range is even."""
        return self.growth_m + DETECTED_SIGMAS * self.growth_sigma_m


def rover_growth(earlier: Rows, later: Rows, length_m: float, shape: Bump | None = None) -> RoverGrowth:
    """Growth of the lip along one edge; needs no tie.

    earlier, later : station, distance (+ in the grass) and height of the rows in the order walked, each (n,), m;
                     rows at the edge's ends and sharp turns left out
    length_m       : of the edge
    shape          : the lip's shape from the series' first two walks; None: found here
    """
    a, b = near(earlier), near(later)
    points = (len(a[0]), len(b[0]))
    reason = why_not(a[0], a[1], length_m, "the earlier walk") or why_not(b[0], b[1], length_m, "the later walk")
    if reason:
        return _untold(reason, points)
    fit = fit_profile([a, b], length_m, shape)
    growth, step = fit.value["lip_gained"], fit.value["step_gained"]
    sigma = float(np.sqrt(fit.variance(lip_gained=1.0) + (SHAPE_SHARE * growth) ** 2 + FLOOR_M**2))
    if sigma > WORST_M:
        known, allowed = f"{sigma * 1e3:.0f} mm", f"{WORST_M * 1e3:.0f}"
        return _untold(f"growth is known to {known}, {allowed} are allowed: walk more rows", points)
    step_sigma = float(np.sqrt(fit.variance(step_gained=1.0)))
    return RoverGrowth(growth, sigma, step, step_sigma, abs(growth) > DETECTED_SIGMAS * sigma, fit.shape, points, "")


def _untold(reason: str, points: tuple[int, int]) -> RoverGrowth:
    nan = float("nan")
    return RoverGrowth(nan, nan, nan, nan, False, DEFAULT_BUMP, points, reason)
