"""The skin in four parts, each between two bases: where a fall is asked for that one plane over a crown cannot tell.

The cuts run from home to second base and from first to third: where a crown has its ridge, no part lies across it.
"""

from __future__ import annotations

import shapely
from shapely.geometry import Polygon

from pipeline.diamond.layout import Layout

PARTS = ("part-home-first", "part-first-second", "part-second-third", "part-third-home")
FAR_M = 200.0
_CORNERS = ((0, -1), (1, 0), (0, 1), (-1, 0))  # toward home, first, second, third, from the middle of their square


def parts(layout: Layout) -> dict[str, shapely.Geometry]:
    """The skin cut crosswise through the middle of the square of the bases, in the working CRS; none without a home plate."""
    if layout.axes is None or "second" not in layout.anchors:
        return {}
    y0 = float(layout.axes.local(*layout.anchors["second"])[1]) / 2
    out = {}
    for k, name in enumerate(PARTS):
        (ax, ay), (bx, by) = _CORNERS[k], _CORNERS[(k + 1) % 4]
        run = ((ax, ay), (ax + bx, ay + by), (bx, by))
        wedge = Polygon([(0, y0), *((FAR_M * x, y0 + FAR_M * y) for x, y in run)])
        found = layout.axes.geometry(wedge).intersection(layout.skin)
        if not found.is_empty:
            out[name] = found
    return out
