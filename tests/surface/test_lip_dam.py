"""What a lip holds back, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import LineString
from support.flat_field import bowl, middle, plane, square

from pipeline.diamond.edges import Edge
from pipeline.surface.lip_dam import capped, held_without, strips
from pipeline.surface.ponds import find_ponds

FIELD = square(24.0)
E0, N0 = middle(FIELD)
E, N = FIELD.mesh()
EDGE_N = N0 - 8.0  # skin north of it falls south to the grass
EDGE = Edge("outer", LineString([(FIELD.west, EDGE_N), (FIELD.east, EDGE_N)]), grass_left=False, source="drawn")
SKIN = N > EDGE_N
GROUND = N > EDGE_N - 0.5
INTO = EDGE_N - N  # distance into the grass
BANK = 0.05  # the ground rises so beyond 10 m to either side, so that the water stays


def dammed(h: float, slope: float) -> float:
    """Behind a dam of height h, m3: 20 m of h^2 / (2 s), and two ends that run out as the ground rises at BANK."""
    return 20.0 * h**2 / (2 * slope) + 2.0 * h**3 / (6.0 * slope * BANK)


def scene(slope: float, lip: float, turf: float = 0.0, walls: bool = True) -> np.ndarray:
    """Skin falling at `slope` to the edge; a lip as wide as the band, its top level; turf behind, `turf` over the edge."""
    at_edge = plane(FIELD, north=slope)[SKIN][-1] - slope * 0.05
    z = np.where(INTO < 0, plane(FIELD, north=slope), at_edge + np.where(INTO < 0.6, lip, turf))
    return z + np.where(walls & GROUND, BANK * np.maximum(np.abs(E - E0) - 10.0, 0.0), 0.0)


def held(z: np.ndarray, canopy: float = 0.0) -> tuple[float, float]:
    """Water in all ponds with the lip and without, m3."""
    ground = z - np.where(SKIN, 0.0, canopy)
    found = find_ponds(ground, FIELD, GROUND, SKIN)
    without = capped(found.smoothed, z, canopy, strips(FIELD, [EDGE], SKIN))
    left = held_without(found, without, [p.cells for p in found.ponds], FIELD.cell_area_m2)
    return sum(p.volume_m3 for p in found.ponds), float(left.sum())


@pytest.mark.analytic
@pytest.mark.parametrize("slope, lip", [(0.010, 0.030), (0.008, 0.025), (0.015, 0.050), (0.005, 0.020)])
def test_a_straight_lip_across_a_plane_holds_h_squared_over_twice_the_slope(slope, lip):
    """At x metres up from the edge the water is h - s x deep, as far as x = h / s: h^2 / (2 s) a metre. Without it: nothing."""
    with_it, without = held(scene(slope, lip))
    assert with_it == pytest.approx(dammed(lip, slope), rel=0.05)
    assert without < 0.03 * with_it


@pytest.mark.analytic
def test_turf_that_stands_higher_behind_the_edge_is_no_lip():
    """The skin stands low: taking a bump off would let nothing out, the turf itself dams."""
    with_it, without = held(scene(0.010, 0.030, turf=0.030))
    assert without == pytest.approx(with_it, rel=0.06)
    half = held(scene(0.010, 0.030, turf=0.015))[1]
    assert half == pytest.approx(dammed(0.015, 0.010), rel=0.1)


@pytest.mark.invariant
def test_grass_of_known_height_changes_nothing():
    z = scene(0.010, 0.030)
    grown = z + np.where(SKIN, 0.0, 0.040)
    assert held(grown, 0.040) == pytest.approx(held(z), rel=1e-6)


@pytest.mark.invariant
def test_a_hollow_away_from_the_edge_keeps_all_of_its_water():
    z = plane(FIELD, north=0.01) - bowl(FIELD, E0, N0, 0.04, 1.2)
    with_it, without = held(z)
    assert with_it > 0 and without == pytest.approx(with_it, rel=1e-9)


@pytest.mark.invariant
def test_the_cap_never_raises_the_ground_and_leaves_a_flush_edge_alone():
    z = plane(FIELD, north=0.01) + np.random.default_rng(3).normal(0, 0.002, FIELD.shape)
    out = capped(z, z, 0.0, strips(FIELD, [EDGE], SKIN))
    assert (out <= z).all() and np.array_equal(out[INTO < -0.6], z[INTO < -0.6]) and np.array_equal(out[INTO > 0.8], z[INTO > 0.8])
    assert (z - out).max() < 0.01
