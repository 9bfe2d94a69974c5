"""Planarity and straightedge."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.spatial import ConvexHull
from support.flat_field import bowl, error_of, middle, no_error, plane, square

from pipeline.frame import Grid
from pipeline.surface.evenness import (
    TOUCH_M, BlockNoise, gaps, half_samples, lattice, noise_gap, planarity, straightedge,
)  # fmt: skip
from pipeline.surface.slope import zone_plane

FIELD = square(10.0)
ALL = np.ones(FIELD.shape, bool)
DX = 0.1
S = np.arange(31) * DX  # stations of a 3 m straightedge


def gap(profile) -> float:
    """The gap under a straightedge laid about the middle of one profile."""
    profile = np.asarray(profile, float)
    middle_sample = np.zeros((1, len(profile)), bool)
    middle_sample[0, len(profile) // 2] = True
    (found,) = gaps(profile[None, :], middle_sample, len(profile) // 2, 1)
    return float(found)


def plain_gap(profile) -> float:
    """The readable twin: of all pairs of neighbouring contacts on either side of the middle, the widest gap."""
    z, m = np.asarray(profile, float), len(profile) // 2
    widest = 0.0
    for a in range(m + 1):
        for b in range(m, len(z)):
            if b > a:
                k = np.arange(a, b + 1)
                line = z[a] + (z[b] - z[a]) * (k - a) / (b - a)
                every = np.arange(len(z))
                whole = z[a] + (z[b] - z[a]) * (every - a) / (b - a)
                if (whole >= z - TOUCH_M).all() and (line - z[k])[1:-1].min(initial=1.0) > TOUCH_M:
                    widest = max(widest, (line - z[k]).max())
    return widest


@pytest.mark.analytic
@pytest.mark.parametrize(
    "profile, expected",
    [
        (0.004 * np.cos(2 * np.pi * S / 3), 2 * 0.004),
        ((S - 1.5) ** 2 / (2 * 150.0), 9 / (8 * 150.0)),
        (0.003 * np.abs(S - 1.5), 1.5 * 0.003),
        (-0.003 * np.abs(S - 1.5), 0.0),
        (-((S - 1.5) ** 2) / (2 * 150.0), 0.0),
        (0.01 * S + 300.0, 0.0),
        (np.where(np.arange(31) < 20, 0.0, 0.012), 0.012 * (20 - 1) / 20),
    ],
    ids=["wave", "bowl", "vee", "ridge", "crown", "plane", "step"],
)
def test_the_gap_is_the_closed_form_s(profile, expected):
    """Wave A cos(2 pi x/3): 2A; bowl x^2/2R: 9/(8R); vee b|x|: 1.5 b; step h at s = 2 m: h (s - dx)/s; crown: 0."""
    assert gap(profile) == pytest.approx(expected, abs=1e-12)


profiles = arrays(
    np.float64, st.integers(1, 10).map(lambda n: 2 * n + 1), elements=st.integers(-9, 9).map(lambda v: v / 1e3)
)


@pytest.mark.independent
@settings(deadline=None, max_examples=150)
@given(profiles)
def test_the_kernel_equals_its_plain_twin(profile):
    assert gap(profile) == pytest.approx(plain_gap(profile), abs=1e-12)


@pytest.mark.independent
def test_the_contacts_are_corners_of_the_convex_hull():
    """Another engine: Qhull's hull of the profile; the gap under its upper segments over the middle."""
    rng = np.random.default_rng(2)
    for _ in range(50):
        z = rng.normal(0, 0.005, 31)
        corners = np.sort(ConvexHull(np.column_stack([S, z])).vertices)
        chord = np.interp(S, S[[0, -1]], z[[0, -1]])
        upper = corners[z[corners] >= chord[corners] - 1e-12]
        line = np.interp(S, S[upper], z[upper])
        a, b = upper[upper <= 15].max(), upper[upper >= 15].min()
        if a == b:
            i = int(np.flatnonzero(upper == 15)[0])
            a, b = upper[i - 1], upper[i + 1]
        assert gap(z) == pytest.approx((line - z)[a : b + 1].max(), abs=1e-12)


@pytest.mark.invariant
@settings(deadline=None, max_examples=60)
@given(profiles, st.floats(-0.05, 0.05), st.floats(-500, 500))
@example(np.array([1, 0, 0, 0, -1, 1, 0, 0, 0, 0, 0, 0, 1]) / 1e3, -0.03125, 0.0)  # three contacts in one line
def test_tilting_lifting_and_turning_a_straightedge_round_changes_no_gap(profile, tilt, lift):
    turned = profile[::-1] + tilt * np.arange(len(profile)) * DX + lift
    assert gap(turned) == pytest.approx(gap(profile), abs=1e-11)


@pytest.mark.invariant
def test_a_straightedge_is_laid_only_where_all_of_it_lies_on_measured_ground():
    z = np.zeros((31, 61))
    everywhere = np.ones(z.shape, bool)
    assert len(gaps(z, everywhere, 15, 2)) == 31 * 31 + 61
    z[15, 30] = np.nan
    assert len(gaps(z, everywhere, 15, 2)) == 30 * 31 + 60
    assert half_samples(3.0, 0.1) == 15 and half_samples(3.048, 0.1) == 15 and half_samples(3.0, 0.25) == 6


@pytest.mark.analytic
@pytest.mark.parametrize("turn", range(8))
def test_a_straightedge_laid_across_a_corrugation_shows_it_whichever_way_it_runs(turn):
    """A wave of 3 m, 4 mm high, whose crests run in one of the eight directions: laid from crest to crest the gap is 8 mm."""
    angle = np.pi * turn / 8
    rows, cols = np.mgrid[-40:41, -40:41] * 0.1
    z = 0.004 * np.cos(2 * np.pi * (cols * np.cos(angle) - rows * np.sin(angle) - 1.5) / 3.0)
    middle_sample = np.zeros(z.shape, bool)
    middle_sample[40, 40] = True
    found = gaps(z, middle_sample, 15)
    assert len(found) == 8 and np.argmax(found) == turn and found.max() == pytest.approx(0.008, rel=0.01)


@pytest.mark.invariant
def test_straightedges_stand_on_the_working_crs_every_half_metre():
    grid = Grid("EPSG:6550", 5070003, 1750001, 0.1, 40, 40)
    marked = lattice(grid)
    assert marked.sum() == 64
    wide = Grid(grid.crs, grid.col0 - 7, grid.row0 + 4, 0.1, 44, 47)
    assert np.array_equal(lattice(wide)[4:, 7:], marked)


@pytest.mark.analytic
def test_a_corrugated_zone_shows_its_corrugation_and_a_crown_only_in_planarity():
    e, n = FIELD.mesh()
    e0, _ = middle(FIELD)
    error, white = no_error(FIELD)
    wave = plane(FIELD, 0.01) + 0.004 * np.cos(2 * np.pi * (e - e0) / 3.0)
    found = straightedge(wave, FIELD, ALL, ALL, 3.0, 0.0)
    smoothing = np.exp(-2 * (np.pi * 0.1274 / 3.0) ** 2)
    assert found.raw_m == pytest.approx(2 * 0.004 * smoothing, rel=0.03)
    crown = plane(FIELD, north=0.004) - 0.01 * np.abs(e - e0)
    assert straightedge(crown, FIELD, ALL, ALL, 3.0, 0.0).raw_m < 1e-5
    zone = zone_plane(crown, white, FIELD, ALL)
    flat = BlockNoise.draw(error, zone.blocks.grid, 4, np.random.default_rng(0))
    assert planarity(zone, flat).value_m > 0.01
    assert planarity(zone, flat, _on_blocks(crown, white)).value_m == pytest.approx(0, abs=1e-9)


@pytest.mark.analytic
def test_a_skin_that_is_meant_to_be_crowned_is_judged_by_what_its_crown_leaves():
    """z = plane + a dome of 60 mm + a wave of 5 mm: the wave's 5 / sqrt 2 is left; a dome alone leaves nothing."""
    e, n = FIELD.mesh()
    e0, n0 = middle(FIELD)
    error, white = no_error(FIELD)
    dome = plane(FIELD, 0.005) - 0.060 * ((e - e0) ** 2 + (n - n0) ** 2) / 50.0
    wave = 0.005 * np.cos(2 * np.pi * (e - FIELD.west) / 2.5)
    zone = zone_plane(dome + wave, white, FIELD, ALL)
    exact = BlockNoise.draw(error, zone.blocks.grid, 4, np.random.default_rng(0))
    assert planarity(zone, exact).value_m > 0.012
    assert planarity(zone, exact, crowned=True).value_m == pytest.approx(0.005 / np.sqrt(2), rel=0.06)
    assert planarity(zone_plane(dome, white, FIELD, ALL), exact, crowned=True).value_m < 3e-5  # a block's median is not its middle


def _on_blocks(z, white):
    return zone_plane(z, white, FIELD, ALL).blocks.value


@pytest.mark.analytic
def test_a_small_zone_is_judged_by_straightedges_that_reach_beyond_it_and_no_skin_by_none():
    z = plane(FIELD) - bowl(FIELD, *middle(FIELD), 0.02, 1.5)
    e, n = FIELD.mesh()
    zone = np.hypot(e - middle(FIELD)[0], n - middle(FIELD)[1]) < 0.9
    found = straightedge(z, FIELD, zone, ALL, 3.0, 0.0)
    assert 0.012 < found.raw_m < 0.021 and found.count > 15
    none = straightedge(z, FIELD, zone, zone, 3.0, 0.0)
    assert np.isnan(none.value_m) and none.count == 0


@pytest.mark.independent
@pytest.mark.parametrize("source", ["good", "lidar"])
def test_the_noise_read_off_leaves_the_gap_of_the_surface(source):
    """Surfaces with a true gap of about 5 mm, drawn surveys laid on: read back within a fifth, pooled over ten."""
    field = square(24.0)
    everywhere = np.ones(field.shape, bool)
    error, white = error_of(source, field)
    e, n = field.mesh()
    truth = plane(field, 0.006) + 0.0026 * np.cos(2 * np.pi * e / 3.1) * np.cos(2 * np.pi * n / 4.3)
    true = straightedge(truth, field, everywhere, everywhere, 3.0, 0.0).raw_m
    noise = noise_gap(error, float(white[0, 0]), 0.1, 3.0, np.random.default_rng(5))
    back = [
        straightedge(truth + f, field, everywhere, everywhere, 3.0, noise)
        for f in error.fields(field, white, 10, np.random.default_rng(6))
    ]  # fmt: skip
    assert 0.003 < true < 0.006
    assert np.sqrt(np.mean([b.value_m**2 for b in back])) == pytest.approx(true, rel=0.2)
    assert np.mean([b.raw_m for b in back]) > 1.25 * true


@pytest.mark.independent
@pytest.mark.parametrize("source", ["good", "lidar"])
def test_the_gap_s_own_sigma_holds_the_truth(source):
    """Twelve drawn surveys of an uneven skin: the true gap lies within 1.96 s.d. in at least ten."""
    field = square(16.0)
    everywhere = np.ones(field.shape, bool)
    error, white = error_of(source, field)
    e, n = field.mesh()
    truth = plane(field, 0.006) + 0.004 * np.cos(2 * np.pi * e / 3.1) * np.cos(2 * np.pi * n / 4.3)
    true = straightedge(truth, field, everywhere, everywhere, 3.0, 0.0).raw_m
    noise = noise_gap(error, float(white[0, 0]), 0.1, 3.0, np.random.default_rng(50))
    more = error.fields(field, white, 8, np.random.default_rng(51))
    found = [
        straightedge(truth + f, field, everywhere, everywhere, 3.0, noise, more, 0.006)
        for f in error.fields(field, white, 12, np.random.default_rng(52))
    ]  # fmt: skip
    assert sum(abs(s.value_m - true) < 1.96 * s.sigma_m for s in found) >= 10
    assert all(0 < s.over_share <= 1 for s in found)


@pytest.mark.invariant
def test_plane_ground_under_noise_reads_the_noise_gap():
    field = square(24.0)
    everywhere = np.ones(field.shape, bool)
    for source in ("good", "weak", "lidar"):
        error, white = error_of(source, field)
        noise = noise_gap(error, float(white[0, 0]), 0.1, 3.0, np.random.default_rng(7))
        f = error.fields(field, white, 1, np.random.default_rng(8))[0]
        found = straightedge(plane(field) + f, field, everywhere, everywhere, 3.0, 0.0)
        assert found.raw_m == pytest.approx(noise, rel=0.15)


@pytest.mark.analytic
def test_a_wave_over_whole_periods_has_planarity_of_its_amplitude_over_the_root_of_two():
    error, white = no_error(FIELD)
    e, _ = FIELD.mesh()
    for amplitude in (0.002, 0.010):
        z = plane(FIELD, 0.007, -0.002) + amplitude * np.cos(2 * np.pi * (e - FIELD.west) / 5.0)
        zone = zone_plane(z, white, FIELD, ALL)
        exact = BlockNoise.draw(error, zone.blocks.grid, 4, np.random.default_rng(0))
        for found in (planarity(zone, exact), planarity(zone, exact, _on_blocks(plane(FIELD, 0.007, -0.002), white))):
            assert found.value_m == pytest.approx(amplitude / np.sqrt(2), rel=0.02)
            assert found.noise_m == 0.0
    flat = zone_plane(plane(FIELD, 0.007), white, FIELD, ALL)
    assert planarity(flat, exact).value_m == pytest.approx(0, abs=1e-9)


@pytest.mark.independent
@pytest.mark.parametrize("amplitude_m", [0.0, 0.006])
def test_planarity_scatters_by_its_sigma(amplitude_m):
    """Against 150 drawn surveys."""
    error, white = error_of("good", FIELD)
    e, _ = FIELD.mesh()
    truth = plane(FIELD, 0.007) + amplitude_m * np.sin(2 * np.pi * (e - FIELD.west) / 5.0)
    exact, none = no_error(FIELD)
    clean = zone_plane(truth, none, FIELD, ALL)
    true = planarity(clean, BlockNoise.draw(exact, clean.blocks.grid, 4, np.random.default_rng(0))).value_m
    noise = BlockNoise.draw(error, clean.blocks.grid, 48, np.random.default_rng(1))
    found = [
        planarity(zone_plane(truth + f, white, FIELD, ALL), noise)
        for f in error.fields(FIELD, white, 150, np.random.default_rng(2))
    ]  # fmt: skip
    away = np.array([abs(f.value_m - true) / f.sigma_m for f in found])
    assert 0.90 <= (away < 1.96).mean()
    assert np.mean([f.value_m for f in found]) == pytest.approx(true, abs=0.0008)
    assert np.std([f.value_m for f in found]) > 0.5 * np.mean([f.sigma_m for f in found])
