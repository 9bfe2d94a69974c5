"""What lies in the ground where an edge is worked, and from where to where along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from pipeline.diamond.edges import Edge

REACH_M = 0.5  # to either side of the edge a spade or an edger goes; ours
STEP_M, BEYOND_M = 0.1, 0.5


@dataclass(frozen=True)
class Met:
    """kind, name : of the thing; from_m, to_m: along the edge; found: whether it was located this season"""

    kind: str
    name: str
    from_m: float
    to_m: float
    found: bool


def met_along(edge: Edge, from_m: float, to_m: float, width_m: float, kept_free: dict[tuple[str, str], tuple[shapely.Geometry, bool]]) -> list[Met]:
    """Things whose ground kept free comes within a spade's reach of a stretch of edge.

    width_m   : of what is worked beyond the edge's own strip, a lip's width or 0
    kept_free : (kind, name) -> ground that no blade may touch, and whether the thing was found this season
    """
    s = np.arange(max(from_m - BEYOND_M, 0.0), min(to_m + BEYOND_M, edge.length_m) + STEP_M / 2, STEP_M)
    spots, out = shapely.points(np.column_stack(edge.at(s))), []
    for (kind, name), (ground, found) in kept_free.items():
        near = s[shapely.distance(ground, spots) < REACH_M + width_m]
        if len(near):
            out.append(Met(kind, name, float(near[0]), float(near[-1]), found))
    return out
