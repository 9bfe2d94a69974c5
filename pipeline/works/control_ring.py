"""Whether a field's control points hold a machine's heights over it: enough points around the skin and one inside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
import shapely

LEAST_AROUND, LEAST_INSIDE = 4, 1  # common practice, no source: four to tilt and turn by, one to check
LEAST_HELD = 0.95  # of the skin inside the ring of points: heights are carried inward, never outward; ours
FEW_AROUND, NONE_INSIDE, OPEN = "few_around", "none_inside", "open"


@dataclass(frozen=True)
class Ring:
    """around, inside: points off and on the infield; held: share of the skin within the ring of those around, 0 to 1;
    short: what is missing, of FEW_AROUND, NONE_INSIDE, OPEN."""

    around: int
    inside: int
    held: float
    short: tuple[str, ...]


def ring(skin: shapely.Geometry, points: Sequence[tuple[float, float]]) -> Ring:
    """skin : polygon, m; points: easting, northing in the same system. Grass inside the infield counts as inside."""
    infield = shapely.union_all([shapely.Polygon(p.exterior) for p in shapely.get_parts(skin) if p.geom_type == "Polygon"])
    at = np.asarray(points, float).reshape(-1, 2)
    within = shapely.contains_xy(infield, at[:, 0], at[:, 1]) if len(at) else np.zeros(0, bool)
    hull = shapely.convex_hull(shapely.multipoints(at[~within]))
    held = float(skin.intersection(hull).area / skin.area) if hull.geom_type == "Polygon" else 0.0
    around, inside = int((~within).sum()), int(within.sum())
    short = [FEW_AROUND] * (around < LEAST_AROUND) + [OPEN] * (held < LEAST_HELD) + [NONE_INSIDE] * (inside < LEAST_INSIDE)
    return Ring(around, inside, held, tuple(short))
