"""Level lines of a surface."""

from __future__ import annotations

import numpy as np
import shapely

from pipeline.frame import Grid

SIMPLER_M = 0.02  # a line may leave the exact one so far sideways: at a fall of 2 % that is 0.4 mm of height
SHORTEST_M = 0.5  # shorter lines are grains of the grid


def contours(heights: np.ndarray, grid: Grid, every_m: float) -> list[tuple[int, np.ndarray]]:
    """Level lines by a general library, thinned.

    heights : (ny, nx), m; NaN where there is no surface
    every_m : between levels; each level is a whole multiple of it
    returns : (multiple, (k, 2) easting and northing, m), lowest first, then from the south-west
    """
    import contourpy

    if not np.isfinite(heights).any():
        return []
    e, n = grid.centres()
    low, high = np.nanmin(heights) / every_m, np.nanmax(heights) / every_m
    maker = contourpy.contour_generator(e - grid.west, n - grid.south, np.ma.masked_invalid(heights))
    out = []
    for level in range(int(np.ceil(low)), int(np.floor(high)) + 1):
        for line in maker.lines(level * every_m):
            whole = shapely.LineString(line) if len(line) > 1 else shapely.LineString()
            if whole.length >= SHORTEST_M:
                out.append((level, np.array(whole.simplify(SIMPLER_M).coords) + (grid.west, grid.south)))
    return sorted(out, key=lambda found: (found[0], *found[1].min(axis=0), *found[1][0]))
