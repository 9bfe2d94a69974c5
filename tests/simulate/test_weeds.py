"""Plants of the scenario: where, how dense, how high, from when to when, and of what colour."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from support.quiet_field import FIRST, LATER

from pipeline.simulate.ground import grass_on, heights
from pipeline.simulate.weeds import stand

AT = (-6.0, 18.0)
PATCH = {"at": list(AT), "radius_m": 1.5, "share": 0.5, "height_mm": 60.0}


def middle(scene):
    return (np.atleast_1d(v) for v in scene.axes.world(*AT))


@pytest.mark.analytic
def test_a_patch_has_its_share_and_its_height_and_ends_at_its_rim(scene_of):
    scene, state = scene_of({"weeds": [PATCH]})
    e, n = middle(scene)
    found = stand(scene, FIRST, e, n)
    assert found.share == pytest.approx([0.5]) and found.height_m == pytest.approx([0.06]) and not found.dead.any()
    assert stand(scene, FIRST, e + 1.51, n).share == pytest.approx([0.0])
    green, tall = grass_on(scene, FIRST.isoformat(), 0.030).over(scene, state, heights(scene, state, e, n), e, n)
    assert green == pytest.approx([0.5]) and tall[0] == pytest.approx(0.06, rel=0.5)  # texture of the day on it


@pytest.mark.invariant
def test_a_patch_stands_from_its_first_day_and_no_longer_on_its_last(scene_of):
    scene, _ = scene_of({"weeds": [{**PATCH, "since": date(2025, 6, 1), "until": date(2025, 8, 25), "dead": True}]})
    e, n = middle(scene)
    days = {on: bool(stand(scene, on, e, n).share[0]) for on in (FIRST, date(2025, 6, 1), date(2025, 8, 24), date(2025, 8, 25), LATER)}
    assert list(days.values()) == [False, True, True, False, False]
    assert stand(scene, date(2025, 7, 1), e, n).dead.all()
