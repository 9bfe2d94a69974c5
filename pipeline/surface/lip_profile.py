"""The cross-section of an edge about one station, as the survey saw it: what a lip's height is read from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.surface.lip_shape import CREST_WINDOW, LipShape
from pipeline.survey.edges.edge_level import SKIN_WINDOW, TURF_WINDOW, column_mean, levelled
from pipeline.survey.edges.edge_table import EdgeTable

OVER_M = 2.0  # mean over so much of the edge, as a station's figure is
SHOWN_M = (-1.3, 1.6)


@dataclass(frozen=True)
class Profile:
    """Heights across an edge over the ground that runs on from the skin, blades included.

    d, height_m : distance from the line, + in the grass, and height, (k,) each, m; NaN where nothing was seen
    skin, crest, turf : the windows, m; skin_m, crest_m, turf_m : the mean heights in them, m
    """

    edge_id: str
    station_m: float
    d: np.ndarray
    height_m: np.ndarray
    skin: tuple[float, float]
    crest: tuple[float, float]
    turf: tuple[float, float]
    skin_m: float
    crest_m: float
    turf_m: float


def profile(table: EdgeTable, shape: LipShape, station_m: float) -> Profile | None:
    """The mean cross-section over OVER_M of edge about a station; None where a window shows nothing there."""
    offset = shape.cover.offset_m
    near = table.usable & (np.abs(table.s - station_m) <= OVER_M / 2)
    if not near.any():
        return None
    height = column_mean(levelled(table, offset).z, near)
    windows = [tuple(float(v) + moved for v in w) for w, moved in ((SKIN_WINDOW, offset), (CREST_WINDOW, shape.bump.crest), (TURF_WINDOW, offset))]
    means = []
    for low, high in windows:
        seen = height[(table.d > low) & (table.d < high)]
        seen = seen[np.isfinite(seen)]
        if not len(seen):
            return None
        means.append(float(seen.mean()))
    shown = (table.d >= SHOWN_M[0]) & (table.d <= SHOWN_M[1])
    return Profile(table.edge_id, float(station_m), table.d[shown], height[shown], *windows, *means)
