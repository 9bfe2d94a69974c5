"""Depth below a plane, the L1 plane itself, and the fill with its noise taken off."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.stats import norm
from support.flat_field import bowl, error_of, hollow, middle, no_error, plane, square

from pipeline.frame import Grid
from pipeline.surface.below_plane import below, depth_below, l1_plane, spot_shares, zone_l1
from pipeline.surface.evenness import BlockNoise
from pipeline.surface.slope import zone_plane

FIELD = square(30.0)
ALL = np.ones(FIELD.shape, bool)
E0, N0 = middle(FIELD)


def l1_zone(z, white, grid=FIELD, median=False):
    return zone_l1(zone_plane(z, white, grid, np.ones(grid.shape, bool), median))


def judged(z, source=None, count=24, design=None, density=None, seed=1):
    error, white = no_error(FIELD) if source is None else error_of(source, FIELD)
    zone = l1_zone(z, white)
    return below(zone, BlockNoise.draw(error, zone.blocks.grid, count, np.random.default_rng(seed)), design, density)


@pytest.mark.independent
@pytest.mark.parametrize("seed", range(4))
def test_the_l1_plane_is_the_one_linear_programming_finds(seed):
    """Another engine: least absolute deviations as a linear programme, HiGHS through scipy."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 20, (2, 101))
    z = 300 + 0.01 * x - 0.004 * y + rng.standard_t(2, 101) * 0.004
    n = len(z)
    design = np.column_stack([np.ones(n), x, y])
    a_eq = np.hstack([design, np.eye(n), -np.eye(n)])
    cost = np.r_[np.zeros(3), np.ones(2 * n)]
    best = linprog(cost, A_eq=a_eq, b_eq=z, bounds=[(None, None)] * 3 + [(0, None)] * (2 * n))
    ours = np.abs(z - l1_plane(x, y, z).at(x, y)).sum()
    assert best.fun - 1e-9 <= ours <= best.fun + 1e-4 * best.fun


@pytest.mark.analytic
def test_worn_places_do_not_pull_the_plane_down():
    """A fifth of the field worn 30 mm: L1 stays within a millimetre, least squares sinks by 6 mm in the mean."""
    e, _ = FIELD.mesh()
    rng = np.random.default_rng(0)
    z = plane(FIELD, 0.006, 0.002) - np.where(np.abs(e - E0) < 3.0, 0.030, 0.0) + rng.normal(0, 0.002, FIELD.shape)
    zone = l1_zone(z, np.full(FIELD.shape, 0.002))
    assert float(zone.plane.at(E0, N0)) == pytest.approx(300.0, abs=0.001)
    assert zone.plane.b == pytest.approx(0.006, abs=5e-5)


@pytest.mark.invariant
def test_the_l1_zone_keeps_the_plane_s_weights_about_its_own_middle():
    z = plane(FIELD, 0.006) + np.random.default_rng(1).normal(0, 0.01, FIELD.shape)
    huber = zone_plane(z, np.zeros(FIELD.shape), FIELD, ALL)
    zone = zone_l1(huber)
    values = np.random.default_rng(2).normal(size=zone.blocks.grid.shape)
    a, b, c = (zone.weights * values).sum(axis=(1, 2))
    a0, b0, c0 = (huber.weights * values).sum(axis=(1, 2))
    x, y = 5.0, -3.0
    at_huber = a0 + b0 * (zone.plane.x0 + x - huber.plane.x0) + c0 * (zone.plane.y0 + y - huber.plane.y0)
    assert a + b * x + c * y == pytest.approx(at_huber, abs=1e-9)


@pytest.mark.analytic
def test_a_hollow_in_a_plane_holds_its_own_volume_and_weighs_its_density():
    z = plane(FIELD, 0.006) - bowl(FIELD, E0 + 2, N0, 0.040, 2.0)
    found = judged(z, density=1.7)
    volume = np.pi * 2.0**2 * 0.040 / 2
    assert found.volume_m3 == pytest.approx(volume, rel=0.01)
    assert found.noise_m3 == 0.0 and found.net_m3 == found.volume_m3 and found.net_sigma_m3 == 0.0
    assert found.fill_tonnes == pytest.approx(1.7 * volume, rel=0.01)
    assert np.isnan(judged(z).fill_tonnes)
    assert np.nanmax(found.depth) == pytest.approx(0.040, abs=0.002)


@pytest.mark.analytic
def test_below_a_design_counts_from_the_design():
    z = plane(FIELD, 0.006)
    zone = l1_zone(z, np.zeros(FIELD.shape))
    design = zone.blocks.value + 0.010
    assert judged(z, design=design).volume_m3 == pytest.approx(0.010 * 900, rel=1e-9)
    assert judged(z, design=design - 0.020).volume_m3 == 0.0


@pytest.mark.analytic
def test_on_plane_ground_the_volume_is_noise_and_all_of_it_is_taken_off():
    """0.399 s A, s the blocks' own s.d. about the plane (method: E max(u, 0) of a normal)."""
    error, white = error_of("good", FIELD)
    f = error.fields(FIELD, white, 1, np.random.default_rng(4))[0]
    found = judged(plane(FIELD, 0.006) + f, "good", count=48)
    zone = l1_zone(plane(FIELD, 0.006) + f, white)
    assert found.volume_m3 == pytest.approx(norm.pdf(0) * zone.residual.std() * 900, rel=0.15)
    assert found.net_m3 < 0.45 * found.volume_m3
    assert found.net_m3 < 2.5 * found.net_sigma_m3


@pytest.mark.independent
def test_what_noise_adds_is_right_on_pitted_and_on_rough_ground():
    """Against the volume of the same ground without error, mean of 6 surveys."""
    error, white = error_of("good", FIELD)
    pits = sum(bowl(FIELD, E0 + a, N0 + b, 0.03, 1.8) for a, b in ((-8, -8), (8, -8), (0, 0), (-8, 8), (8, 8), (0, -9)))
    e, n = FIELD.mesh()
    rough = 0.006 * np.sin(2 * np.pi * e / 7.0) * np.cos(2 * np.pi * n / 6.0)
    for truth in (plane(FIELD, 0.006) - pits, plane(FIELD, 0.006) + rough):
        true = judged(truth).volume_m3
        drawn = error.fields(FIELD, white, 6, np.random.default_rng(5))
        found = [judged(truth + f, "good", seed=k) for k, f in enumerate(drawn)]
        raw, net = np.mean([f.volume_m3 for f in found]), np.mean([f.net_m3 for f in found])
        assert raw > 1.3 * true
        assert abs(net - true) < 0.9 * (raw - true)
        assert abs(net - true) < 2.0 * np.mean([f.net_sigma_m3 for f in found])


@pytest.mark.analytic
def test_a_spot_s_depth_below_the_plane_is_its_mean_less_the_plane():
    z = plane(FIELD, 0.006, 0.001) - hollow(FIELD, E0, N0, 0.02, 3.0)
    error, white = error_of("good", FIELD)
    zone = l1_zone(z, white)
    e, n = FIELD.mesh()
    cells = np.flatnonzero(np.hypot(e - E0, n - N0) < 0.9)
    shares = spot_shares(cells, FIELD, zone.blocks.grid)
    assert shares.sum() == pytest.approx(1.0)
    depth, sigma = depth_below(zone, [shares], np.array([z.ravel()[cells].mean()]), [(E0, N0)], np.zeros(1), error)
    assert depth[0] == pytest.approx(0.02 * (1 - 0.9**2 / 4 / 9), abs=0.002)
    (more,) = depth_below(zone, [shares], np.array([300.0]), [(E0, N0)], np.full(1, 0.003**2), error)[1]
    assert more**2 - sigma[0] ** 2 == pytest.approx(0.003**2, rel=1e-6)
    assert depth_below(zone, [], np.zeros(0), [], np.zeros(0), error)[0].shape == (0,)


@pytest.mark.independent
def test_a_spot_s_depth_scatters_by_its_sigma():
    """Against 150 drawn surveys, dome and tilt included."""
    field = square(20.0)
    error, white = error_of("good", field)
    e0, n0 = middle(field)
    e, n = field.mesh()
    cells = np.flatnonzero(np.hypot(e - e0 - 5, n - n0) < 0.9)
    base = plane(field, 0.006)
    found = []
    for f in error.fields(field, white, 150, np.random.default_rng(9)):
        zone = l1_zone(base + f, white, field)
        shares = spot_shares(cells, field, zone.blocks.grid)
        at = [(float(e.ravel()[cells].mean()), float(n.ravel()[cells].mean()))]
        depth, sigma = depth_below(zone, [shares], np.array([(base + f).ravel()[cells].mean()]), at, np.zeros(1), error)
        found.append((depth[0], sigma[0]))
    depth, sigma = np.array(found).T
    assert abs(depth.mean()) < 0.0008 and 0.85 <= (depth / sigma).std() <= 1.15


@pytest.mark.invariant
def test_shares_stand_on_the_blocks_of_the_working_crs():
    grid = Grid("EPSG:6550", 5070003, 1750001, 0.1, 30, 30)
    zone = zone_plane(plane(grid), np.zeros(grid.shape), grid, np.ones(grid.shape, bool))
    cells = np.array([0, 31, 5 * 30 + 12])
    share = spot_shares(cells, grid, zone.blocks.grid)
    e, n = grid.mesh()
    be, bn = zone.blocks.grid.mesh()
    assert (share * be).sum() == pytest.approx(e.ravel()[cells].mean(), abs=0.25)
    assert (share * bn).sum() == pytest.approx(n.ravel()[cells].mean(), abs=0.25)
