"""What rain leaves standing, against closed forms."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from support.flat_field import bowl, middle, plane, square

from pipeline.surface.flood import drain
from pipeline.surface.ponds import find_ponds
from pipeline.surface.pools import RAINS_M, rained, standing_water

FIELD = square(16.0)
ALL = np.ones(FIELD.shape, bool)


def catchment(rim: float, up: float) -> float:
    """Strip from the bowl's middle up to the border, and the bowl's lower half; smoothing rounds the rim outward."""
    return 2 * rim * up + np.pi * rim**2 / 2


def pools_of(z, grid=FIELD):
    whole = np.ones(grid.shape, bool)
    found = find_ponds(z, grid, whole, whole)
    return found, standing_water(found, grid)


@pytest.mark.analytic
@pytest.mark.parametrize(
    "form, volume_to_depth",
    [
        (lambda r: 1 - r, lambda share: share ** (1 / 3)),  # cone: V as the cube of the depth
        (lambda r: 1 - r**2, lambda share: share ** (1 / 2)),  # paraboloid: V as its square
        (lambda r: 1 + 0 * r, lambda share: share),  # cylinder: V as the depth
    ],
    ids=["cone", "paraboloid", "cylinder"],
)
def test_a_part_filled_pit_stands_as_deep_as_its_shape_says(form, volume_to_depth):
    """V of a cone r 1/3 pi r^2 d with r as d, of a paraboloid 1/2 pi r^2 d with r^2 as d, of a cylinder pi r^2 d."""
    n = 62
    r = np.hypot(*np.mgrid[-n : n + 1, -n : n + 1]) / 60
    z = -np.where(r <= 1, form(r), 0.0)
    flow = drain(z)
    number = (flow.filled > z).astype(np.int32)
    full = (flow.filled - z).sum()
    for share in (0.01, 0.1, 0.4, 0.9):
        rain = share * full / number.sum()  # what falls on the pit itself; around it all is level and runs off
        ground = np.where(number > 0, 1.0, 0.0)
        assert ground.sum() * rain == pytest.approx(share * full)
        depth = rained(flow, z, number, np.array([full]), rain, 1.0)
        caught = depth.sum() / full
        assert caught >= share * 0.999  # ground beside the pit may drain into it
        assert depth.max() == pytest.approx(volume_to_depth(caught), rel=0.01)


@pytest.mark.analytic
def test_water_is_where_it_ran_and_no_more_than_fell():
    """A bowl in a plane that falls south: its catchment is the strip uphill of it, as wide as its rim, and its lower half."""
    slope, rim, depth = 0.01, 1.5, 0.090
    e0, n0 = middle(FIELD)
    z = plane(FIELD, north=slope) - bowl(FIELD, e0, n0, depth, rim)
    found, water = pools_of(z)
    (pond,), (pool,) = found.ponds, water.pools
    assert catchment(rim, FIELD.north - n0) * 0.99 < pool.catchment_m2 < catchment(rim + 0.2, FIELD.north - n0)
    assert pool.stands_m3[0] == pytest.approx(RAINS_M[0] * pool.catchment_m2, rel=1e-6)
    assert pool.fills_m == pytest.approx(pond.volume_m3 / pool.catchment_m2, rel=1e-6)
    assert pool.into is None and pool.stands_m3[-1] == pytest.approx(pond.volume_m3, rel=1e-6)
    row, col = pool.pour
    assert FIELD.north - (row + 0.5) * 0.1 == pytest.approx(n0 - rim, abs=0.35)  # over the low side of its rim
    assert FIELD.west + (col + 0.5) * 0.1 == pytest.approx(e0, abs=0.35)
    assert (np.diff(pool.deepest_m) >= 0).all() and (np.diff(pool.wet_m2) >= 0).all()
    assert np.nansum(water.depth) * 0.01 == pytest.approx(pool.stands_m3[2], rel=1e-6)


@pytest.mark.analytic
def test_turning_the_plane_under_a_bowl_keeps_its_catchment():
    """The same ground whatever the fall's direction: the lowest of eight neighbours alone would lead it up to 45 degrees astray."""
    big = square(30.0)
    e0, n0 = middle(big)
    e, n = big.mesh()
    disc = np.hypot(e - e0, n - n0) < 14.0
    found = []
    for bearing in (0, 20, 45, 65, 110, 290):
        s, c = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
        z = np.where(disc, plane(big, -0.01 * s, -0.01 * c) - bowl(big, e0, n0, 0.04, 1.5), np.nan)
        ponding = find_ponds(z, big, disc, disc)
        found.append(standing_water(ponding, big).pools[0].catchment_m2)
    assert np.ptp(found) / np.mean(found) < 0.09
    assert catchment(1.5, 14.0) < min(found) and max(found) < catchment(1.75, 14.0)


@pytest.mark.analytic
def test_an_upper_pool_fills_first_and_then_helps_to_fill_the_lower():
    e0, n0 = middle(FIELD)
    z = plane(FIELD, north=0.01) - bowl(FIELD, e0, n0 + 3.0, 0.030, 1.2) - bowl(FIELD, e0, n0 - 3.0, 0.060, 1.2)
    found, water = pools_of(z)
    lower, upper = water.pools
    assert upper.into == 0 and lower.into is None
    full = [p.volume_m3 for p in found.ponds]
    assert lower.fills_m * (lower.catchment_m2 + upper.catchment_m2) == pytest.approx(sum(full), rel=1e-6)
    assert upper.fills_m < lower.fills_m < full[0] / lower.catchment_m2


@pytest.mark.invariant
def test_a_pit_that_no_rain_fills_says_so():
    n = 30
    r = np.hypot(*np.mgrid[-n : n + 1, -n : n + 1]) * 0.1
    z = 300.0 - np.where(r < 2.0, 5.0 * (1 - (r / 2.0) ** 2), 0.0) + 0.02 * np.maximum(2.5 - np.abs(r - 2.2) * 10, 0)
    grid = square(6.1)
    _, water = pools_of(z, grid)
    assert water.pools[0].fills_m == inf
