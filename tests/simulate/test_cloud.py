"""Clouds as instruments make them: exact when told to be, and noisy in the declared way when not."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import kv

from pipeline.simulate import flight
from pipeline.simulate.cloud import Look, see, seeing
from pipeline.simulate.ground import heights
from pipeline.simulate.aging import state_at
from pipeline.simulate.instruments import INSTRUMENTS, Error
from pipeline.simulate.scene import build_scene
from support.quiet_field import FIRST

STILL = Error((507000.0, 175000.0), 30.0, 0, 0, 0, 0, 0, 0)


def cloud_of(story, field=None, survey=None):
    """The scene, its state and the points of the one survey, without its smooth error."""
    made = story(field, survey)
    scene = build_scene(made, "quiet")
    state = state_at(scene, FIRST, FIRST)
    one = made.surveys["once"]
    seen = seeing(scene, "once", INSTRUMENTS[one.instrument], STILL)
    return scene, state, see(Look(scene, state, "once", one, seen))


BUSY = {"fall": {"slope_pct": 0.9, "bearing_deg": 80.0}, "skin_waves_mm": 4.0, "turf_waves_mm": 5.0, "movement": 1.0,
        "lips": [{"edge": "outer", "height_mm": 25, "wander_mm": 3}],
        "pits": [{"name": "a", "at": "second", "depth_mm": 60.0}]}  # fmt: skip


@pytest.mark.analytic
def test_with_canopy_and_noise_off_the_points_lie_on_the_true_ground(story):
    scene, state, cloud = cloud_of(story, BUSY)
    assert len(cloud) > 5000
    assert cloud.z == pytest.approx(heights(scene, state, cloud.e, cloud.n).z, abs=1e-9)


@pytest.mark.analytic
def test_an_even_pattern_leaves_hardly_an_empty_cell_on_the_skin(story):
    scene, _, cloud = cloud_of(story, None, {"spacing_m": 0.044})
    grid = scene.layout.grid
    row, col = grid.rows_cols(cloud.e, cloud.n)
    held = grid.holds(row, col)
    count = np.bincount(row[held] * grid.nx + col[held], minlength=grid.ny * grid.nx).reshape(grid.shape)
    skin = count[grid.mask(scene.layout.skin.buffer(-0.3))]
    assert np.median(skin) >= 4 and (skin < 3).mean() < 0.03
    assert skin.mean() == pytest.approx(0.1**2 / 0.044**2, rel=0.02)


@pytest.mark.independent  # the Matern form by scipy's Bessel functions, read from the points of a cloud
def test_the_noise_of_a_cloud_has_the_declared_variogram(story):
    scene, state, cloud = cloud_of(story, {"slabs": []}, {"instrument": "good", "spacing_m": 0.07})
    skin = scene.lines.find(cloud.e, cloud.n)[0] < -0.5
    for patch in scene.patches:
        skin &= np.hypot(cloud.e - patch.polygon.centroid.x, cloud.n - patch.polygon.centroid.y) > 1.0
    e, n, noise = cloud.e[skin], cloud.n[skin], cloud.z[skin] - 300.5 - np.median(cloud.z[skin] - 300.5)
    usable = np.abs(noise) < 0.1
    e, n, noise = e[usable], n[usable], noise[usable]
    good = INSTRUMENTS["good"]
    pick = np.random.default_rng(1).integers(0, e.size, (2, 3_000_000))
    h = np.hypot(e[pick[0]] - e[pick[1]], n[pick[0]] - n[pick[1]])
    for low, high in ((0.25, 0.45), (1.8, 2.2)):
        near = (h > low) & (h < high)
        assert near.sum() > 1000
        found = np.mean((noise[pick[0, near]] - noise[pick[1, near]]) ** 2) / 2
        rho = [np.mean(_bessel(h[near] / r)) for _, r in good.parts]
        wanted = good.white**2 + sum(s**2 * (1 - p) for (s, _), p in zip(good.parts, rho))
        assert found == pytest.approx(wanted, rel=0.15)


def _bessel(h):
    a = np.sqrt(3.0) * h
    return np.sqrt(2 / np.pi) * a**1.5 * kv(1.5, a)


@pytest.mark.analytic
def test_photogrammetry_sees_the_top_of_the_grass(story):
    scene, state, cloud = cloud_of(story, None, {"canopy_mm": 30.0})
    d, _, _ = scene.lines.find(cloud.e, cloud.n)
    free = np.ones(d.size, bool)
    for patch in scene.patches:
        free &= np.hypot(cloud.e - patch.polygon.centroid.x, cloud.n - patch.polygon.centroid.y) > 3.0
    assert cloud.z[free & (d > 1.0)].mean() - 300.5 == pytest.approx(0.030, rel=0.04)
    assert np.abs(cloud.z[free & (d < -0.1)] - 300.5).max() < 1e-9


@pytest.mark.analytic  # the mean of Beta(2, 1.5) is 2 / 3.5; 35 % reach the ground
def test_lidar_reaches_the_ground_through_a_third_of_the_grass(story):
    scene, state, cloud = cloud_of(story, None, {"instrument": "lidar", "spacing_m": 0.1, "canopy_mm": 1000.0})
    d, _, _ = scene.lines.find(cloud.e, cloud.n)
    turf, skin = (d > 1.2) & (d < 4.5), d < -0.5
    over = cloud.z[turf] - np.median(cloud.z[skin])
    assert cloud.rgb is None and cloud.intensity is not None and len(np.unique(cloud.source)) > 3
    assert np.mean(over) == pytest.approx(0.65 * 2 / 3.5, rel=0.05)
    assert np.mean(over < 0.040) == pytest.approx(0.35, abs=0.02)
    assert cloud.intensity[turf].mean() > 1.4 * cloud.intensity[skin].mean()


@pytest.mark.analytic
def test_colour_tells_grass_from_skin_most_of_the_time_but_not_always(story):
    scene, _, cloud = cloud_of(story, None, {"instrument": "good", "spacing_m": 0.12})
    d, _, _ = scene.lines.find(cloud.e, cloud.n)
    r, g, b = cloud.rgb.astype(int).T
    green = 2 * g - r - b > 0
    assert 0.03 < green[d < -0.5].mean() < 0.25
    assert 0.90 < green[d > 0.5].mean() <= 1.0
    _, _, brown = cloud_of(story, None, {"instrument": "good", "spacing_m": 0.12, "grass": "dormant"})
    r, g, b = brown.rgb.astype(int).T
    assert (2 * g - r - b > 0)[d > 0.5].mean() < green[d > 0.5].mean()


@pytest.mark.analytic
def test_things_hide_the_ground_and_holes_hold_nothing(story):
    survey = {"spacing_m": 0.05, "holes": [{"at": [3.0, 15.0], "radius_m": 0.5}], "things": [
        {"kind": "player", "at": [0.0, 16.0], "size": [0.5, 0.5, 1.8]},
        {"kind": "tarp_pile", "at": [-5.0, 18.0], "size": [3.0, 2.0, 0.3]},
        {"kind": "hose", "at": [5.0, 20.0], "size": [4.0, 0.06, 0.02]},
        {"kind": "bird", "at": [0.0, 20.0], "size": [0.4, 0.3, 4.0]},
        {"kind": "fence", "at": [0.0, -6.0], "size": [4.0, 0.06, 2.0], "turned_deg": 90}]}  # fmt: skip
    scene, _, cloud = cloud_of(story, None, survey)
    x, y = scene.axes.local(cloud.e, cloud.n)
    up = cloud.z - 300.5
    assert up[np.hypot(x, y - 16.0) < 0.25].min() > 0.5
    pile = (np.abs(x + 5) < 0.95) & (np.abs(y - 18) < 1.45)
    assert 0.14 < up[pile].min() and up[pile].max() < 0.31
    on_hose = (np.abs(x - 5) < 0.03) & (np.abs(y - 20) < 1.9)
    assert 0 < up[on_hose].min() and up[on_hose].max() <= 0.0201
    assert (up > 3.5).sum() == 9
    assert not (np.hypot(x - 3.0, y - 15.0) < 0.5).any()
    fence = (np.abs(x) < 2.01) & (np.abs(y + 6.0) < 0.04) & (up > 0.01)
    assert fence.sum() > 100 and up[fence].max() < 2.0


@pytest.mark.analytic
def test_a_few_points_of_a_real_cloud_are_far_off(story):
    _, _, cloud = cloud_of(story, None, {"instrument": "good", "spacing_m": 0.05})
    up = cloud.z - 300.5
    assert 1 <= (up < -0.4).sum() <= 40 and 1 <= (up > 0.35).sum() <= 40


@pytest.mark.invariant
def test_grass_and_ground_of_a_day_are_the_same_for_every_survey_of_that_day(story):
    field = {"movement": 1.0, "skin_waves_mm": 3.0}
    made = story(field, {"spacing_m": 1.5})
    twice = made.model_copy(update={"surveys": {"once": made.surveys["once"], "again": made.surveys["once"]}})
    first, again = (flight.make(twice, s).truths[0] for s in ("once", "again"))
    assert np.array_equal(first.z, again.z)
