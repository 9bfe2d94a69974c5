"""Things in the ground where an edge is worked."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import LineString, Point

from pipeline.works.edge_met import met_along
from report.scene import layout


@pytest.mark.analytic
def test_a_cable_across_an_edge_is_met_where_it_crosses():
    """A strip 0.6 m to either side of the crossing at 10 m: the spade's reach of 0.5 m and a lip 0.4 m wide beyond it."""
    made = layout()
    edge = next(e for e in made.edges if e.edge_id == "outer")
    spot = Point(*(float(v) for v in edge.at(np.array(10.0))))
    middle = made.skin.centroid
    out = np.array([spot.x - middle.x, spot.y - middle.y]) / spot.distance(middle)
    across = LineString([(spot.x - 6 * out[0], spot.y - 6 * out[1]), (spot.x + 6 * out[0], spot.y + 6 * out[1])])
    kept = {("cable", "lights"): (across.buffer(0.6), False)}
    (met,) = met_along(edge, 5.0, 20.0, 0.4, kept)
    assert met.name == "lights" and not met.found
    assert met.from_m == pytest.approx(10 - 1.5, abs=0.25) and met.to_m == pytest.approx(10 + 1.5, abs=0.25)
    assert met_along(edge, 14.0, 20.0, 0.4, kept) == []
