"""The walk that is drawn for a rover: across edges, over places and skin, stable ground first and last."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_frame import edge_frame
from pipeline.survey.walks.walk_edges import why_not
from pipeline.survey.walks.walk_plan import LINE_EVERY_M, walk_plan, zig_zag
from support.tied_field import SLABS, drawn_field


@pytest.mark.analytic
@pytest.mark.parametrize("length", [12.0, 45.0, 120.0])
def test_a_zig_zag_is_one_that_the_lip_s_fit_accepts(length):
    """Nine places across from 0.9 m on the skin to 1.1 m in the grass, 240 points an edge or more (the methods' rover)."""
    edge = Edge("outer", LineString([(0, 0), (length, 0)]), True, "drawn")
    plan = zig_zag(edge)
    s, d = edge_frame(edge).project(*np.array([(p.e, p.n) for p in plan]).T)
    assert len(plan) >= 240
    held = np.isfinite(s)
    assert why_not(s[held], d[held], length) == ""
    steps = np.hypot(*np.diff(np.array([(p.e, p.n) for p in plan]), axis=0).T)
    assert steps.max() < max(2.0, length / 27)
    assert np.nanmin(d) == pytest.approx(-0.9, abs=0.01) and np.nanmax(d) == pytest.approx(1.1, abs=0.01)


@pytest.mark.analytic
def test_a_walk_begins_and_ends_on_stable_ground_and_covers_the_skin():
    layout = drawn_field(SLABS)
    plan = walk_plan(layout)
    assert plan[0].why == plan[-1].why == "tie" and plan[-1].line.endswith("-again")
    assert {p.why for p in plan} == {"tie", "edge", "place", "skin"}
    whys = [p.why for k, p in enumerate(plan) if k == 0 or p.why != plan[k - 1].why]
    assert whys == ["tie", "edge", "tie", "place", "skin", "tie"]
    skin = [(p.e, p.n) for p in plan if p.why in ("skin", "place")]
    assert shapely.contains_xy(layout.skin, *np.array(skin).T).all()
    middle = layout.skin.buffer(-2.5)
    far = shapely.distance(shapely.multipoints(skin), shapely.points(*_spread(middle)))
    assert far.max() < LINE_EVERY_M
    for patch in layout.patches:
        mine = [p for p in plan if p.line == f"stable-{patch.patch_id}"]
        for again in ("-middle", "-again"):
            assert [(p.e, p.n) for p in plan if p.line == f"stable-{patch.patch_id}{again}"] == [(p.e, p.n) for p in mine]
        assert len(mine) == 5 and all(patch.polygon.buffer(0.01).contains(shapely.Point(p.e, p.n)) for p in mine)


def _spread(polygon):
    rng = np.random.default_rng(1)
    west, south, east, north = polygon.bounds
    xy = rng.uniform((west, south), (east, north), (4000, 2))
    return xy[shapely.contains_xy(polygon, *xy.T)].T
