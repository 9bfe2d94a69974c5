"""Edge tables written down cell by cell from formulas: no points, no noise."""

from __future__ import annotations

import numpy as np
from shapely.geometry import LineString

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_table import EdgeTable, columns


def straight(length=30.0, bearing_deg=90.0, edge_id="outer", start=(0.0, 0.0), source="drawn") -> Edge:
    """A straight edge with grass to its left."""
    a = np.radians(bearing_deg)
    end = start[0] + length * np.sin(a), start[1] + length * np.cos(a)
    return Edge(edge_id, LineString([start, end]), True, source)


def table_of(height, length=30.0, edge_id="outer", green=None, intensity=None, points=25) -> EdgeTable:
    """The table whose cells hold height(s, d) in m, and green(d) or intensity(d) where given."""
    s = (np.arange(int(length / 0.5)) + 0.5) * 0.5
    d = columns()
    z = np.broadcast_to(np.asarray(height(s[:, None], d[None, :]), float), (len(s), len(d))).copy()

    def across(f):
        return None if f is None else np.broadcast_to(f(d), z.shape).copy()

    usable = (s > 1.0) & (s < length - 1.0)
    count = np.full(z.shape, points, np.uint32)
    return EdgeTable(edge_id, s, d, z, count, across(green), across(intensity), np.full(z.shape, 0.004), usable)


def cover_ramp(d, begins=0.0):
    """3 t^2 - 2 t^3 from begins - 0.02 over 0.12 m."""
    t = np.clip((np.asarray(d, float) - begins + 0.02) / 0.12, 0, 1)
    return t * t * (3 - 2 * t)
