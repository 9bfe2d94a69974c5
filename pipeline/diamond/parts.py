"""The skin in four parts, each with a base in its middle: where a fall is asked for that one plane over a crown cannot tell."""

from __future__ import annotations

import shapely
from shapely.geometry import Polygon

from pipeline.diamond.layout import Layout

PARTS = ("part-home", "part-first", "part-second", "part-third")
FAR_M = 200.0


def parts(layout: Layout) -> dict[str, shapely.Geometry]:
    """The skin cut crosswise through the middle of the square of the bases, in the working CRS; none without a home plate.

    Every part reaches from 45 degrees on one side of its base to 45 on the other, as seen from that middle.
    """
    if layout.axes is None or "second" not in layout.anchors:
        return {}
    y0 = float(layout.axes.local(*layout.anchors["second"])[1]) / 2
    out = {}
    for name, (dx, dy) in zip(PARTS, ((0, -1), (1, 0), (0, 1), (-1, 0))):
        one, other = (dx - dy, dy + dx), (dx + dy, dy - dx)
        wedge = Polygon([(0, y0), *((FAR_M * x, y0 + FAR_M * y) for x, y in (other, one))])
        found = layout.axes.geometry(wedge).intersection(layout.skin)
        if not found.is_empty:
            out[name] = found
    return out
