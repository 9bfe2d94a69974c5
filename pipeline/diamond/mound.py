"""The mound as the rulebook builds it, as height over the plane around it."""

from __future__ import annotations

import numpy as np

from pipeline.diamond.dimensions import PLATE_BEHIND_CENTRE_M
from pipeline.diamond.layout import Layout
from pipeline.frame import Grid
from pipeline.units import feet, inches

TABLE_M = feet(5), inches(34)  # flat top: across, from front to back
FLAT_FRONT_M = inches(6)  # the table reaches so far before the pitcher's plate
FRONT_SLOPE = 1.0 / 12.0  # 1 in per ft, from the table's front toward home


def built_height(layout: Layout) -> np.ndarray | None:
    """Height of the mound over the plane around it on the field's grid, (ny, nx), m; 0 beyond it; None without a mound.

    A flat table about the pitcher's plate, 1 in per ft toward home from 6 in before the plate, and every other way
    straight down to the circle. The height is the rulebook's over home plate, taken as over the plane at the mound:
    on a field that falls the owner's own mound may differ by decimetres at its rim, millimetres over a ring of 2 m.
    source : Official Baseball Rules 2.01, 2.04; table size from a national federation's page
    """
    if layout.mound is None or layout.axes is None:
        return None
    return mound_shape(layout.grid, layout)


def mound_shape(grid: Grid, layout: Layout) -> np.ndarray:
    """The same on any grid of the field."""
    mound = layout.mound
    x, y = layout.axes.local(*grid.mesh())
    cx, cy = layout.axes.local(mound.e, mound.n)
    plate = cy + PLATE_BEHIND_CENTRE_M
    table_front = plate - FLAT_FRONT_M
    table_back = table_front + TABLE_M[1]
    # Distance outside the table, along the ray from the mound's centre to the circle.
    dx = np.maximum(np.abs(x - cx) - TABLE_M[0] / 2, 0.0)
    dy = np.maximum(y - table_back, 0.0) + np.maximum(table_front - y, 0.0)
    off = np.hypot(dx, dy)
    rim = np.maximum(mound.radius_m - np.hypot(x - cx, y - cy), 0.0)
    share = np.where(off + rim > 0, rim / np.maximum(off + rim, 1e-9), 1.0)
    aside = mound.height_m * share
    front = mound.height_m - np.maximum(table_front - y, 0.0) * FRONT_SLOPE
    before = (y < table_front) & (np.abs(x - cx) <= TABLE_M[0] / 2)
    return np.where(np.hypot(x - cx, y - cy) > mound.radius_m, 0.0, np.where(before, np.clip(front, 0.0, None), aside))
