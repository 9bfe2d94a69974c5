"""The true ground: planes, pits, slabs, lips and low skin, each alone."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.simulate.ground import Grass, design, grass_on, heights, mound_height
from pipeline.simulate.shapes import bump
from pipeline.units import feet, inches
from support.quiet_field import FIRST, LATER


def on_skin(scene, count=4000, clear_m=1.0):
    west, south, east, north = scene.layout.skin.bounds
    e, n = np.random.default_rng(8).uniform([[west], [south]], [[east], [north]], (2, count))
    keep = scene.lines.find(e, n)[0] < -clear_m
    for patch in scene.patches:
        keep &= np.hypot(e - patch.polygon.centroid.x, n - patch.polygon.centroid.y) > 1.0
    return e[keep], n[keep]


@pytest.mark.analytic
def test_a_plane_falls_by_its_slope_toward_its_bearing(scene_of):
    scene, state = scene_of({"fall": {"slope_pct": 1.0, "bearing_deg": 75.0}})
    e, n = on_skin(scene)
    a = np.radians(75.0)
    down = (e - scene.axes.home_e) * np.sin(a) + (n - scene.axes.home_n) * np.cos(a)
    assert heights(scene, state, e, n).z == pytest.approx(300.5 - 0.01 * down, abs=1e-9)


@pytest.mark.analytic
def test_a_crown_falls_to_both_sides_of_its_ridge(scene_of):
    scene, _ = scene_of({"fall": {"form": "crown", "slope_pct": 0.5, "bearing_deg": 30.0}})
    x = np.array([-10.0, 0.0, 10.0])
    z = design(scene, *scene.axes.world(x, 15.0))
    assert z == pytest.approx(300.5 - 0.005 * (np.hypot(x, 3.0) - 3.0), abs=1e-5)


@pytest.mark.independent  # numerical integration by scipy of the pit's own bell
def test_a_pit_holds_what_its_bell_holds(scene_of):
    from scipy.integrate import dblquad

    scene, state = scene_of({"pits": [{"name": "a", "at": [0.0, 17.0], "depth_mm": 40.0, "sd_m": 0.8}]})
    e0, n0 = scene.axes.world(0.0, 17.0)
    side = np.arange(-4.0, 4.0, 0.05) + 0.025
    e, n = (v.ravel() + o for v, o in zip(np.meshgrid(side, side), (e0, n0)))
    held = (300.5 - heights(scene, state, e, n).z).sum() * 0.05**2
    bell = dblquad(lambda y, x: 0.040 * np.exp(-(x * x + y * y) / 2 / 0.64), -4, 4, -4, 4)[0]
    assert held == pytest.approx(bell, rel=1e-4) and bell == pytest.approx(2 * np.pi * 0.64 * 0.040, rel=1e-4)


@pytest.mark.analytic
def test_a_lip_stands_in_the_grass_at_its_crest_and_leaves_skin_and_turf_alone(scene_of):
    scene, state = scene_of({"lips": [{"edge": "outer", "height_mm": 30.0}]})
    edge, s = scene.edges[0], np.linspace(6.0, 30.0, 25)
    crest = state.along.between(np.zeros(25, int), s, state.along.crest)
    assert heights(scene, state, *edge.at(s, crest)).z - 300.5 == pytest.approx(np.full(25, 0.030), abs=5e-5)
    aside = heights(scene, state, *edge.at(s, crest + 0.2)).z - 300.5
    assert aside == pytest.approx(0.030 * bump(0.2, 0.0, 0.13, 0.30) * np.ones(25), abs=3e-4)
    for d in (-0.6, 1.1):
        assert heights(scene, state, *edge.at(s, np.full(25, d))).z == pytest.approx(np.full(25, 300.5), abs=5e-4)


@pytest.mark.analytic
def test_low_skin_steps_up_at_the_edge_and_does_not_fall_off(scene_of):
    scene, state = scene_of({"level_mm": -25.0})
    edge, s = scene.edges[0], np.linspace(5.0, 30.0, 26)
    step = [heights(scene, state, *edge.at(s, np.full(26, d))).z - 300.5 for d in (-0.5, 0.2, 0.6, 1.2)]
    assert step[0] == pytest.approx(np.full(26, -0.025))
    assert np.abs(step[1:]).max() < 1e-9


@pytest.mark.analytic
def test_slabs_and_plates_are_flat_and_keep_their_height(scene_of):
    scene, state = scene_of({"level_mm": -25.0, "fall": {"slope_pct": 0.8, "bearing_deg": 10.0}})
    for index, patch in enumerate(scene.patches):
        e, n = patch.polygon.buffer(-0.01).exterior.xy
        e, n = np.array(e), np.array(n)
        over = heights(scene, state, e, n).z - design(scene, e, n)
        assert over == pytest.approx(np.full(e.size, state.lifts_m[index]), abs=1e-9)


@pytest.mark.independent  # Official Baseball Rules 2.01, on a field that falls sideways: 10 in over home, 1 in per ft
def test_the_pitchers_plate_stands_ten_inches_over_home_and_the_mound_falls_by_the_rule(scene_of):
    scene, state = scene_of({"layout": "baseball-90", "fall": {"slope_pct": 0.7, "bearing_deg": 120.0}})
    y = feet(np.array([60.0, 59.0, 58.0, 57.0, 56.0, 55.0, 54.0]))
    e, n = scene.axes.world(np.zeros(7), y)
    z = heights(scene, state, e, n).z
    assert z[0] - 300.5 == pytest.approx(inches(10), abs=1e-6)
    assert np.diff(z) == pytest.approx(np.full(6, -inches(1)), abs=1e-6)
    far = scene.axes.world(np.array([0.0]), np.array([25.0]))
    assert mound_height(scene, *far) == 0


@pytest.mark.analytic
def test_grass_stands_only_where_it_grows(scene_of):
    scene, state = scene_of()
    flat = Grass(0.030, grass_on(scene, "2025-04-07", 0.0).texture)
    e, n = on_skin(scene)
    green, _ = flat.over(scene, state, heights(scene, state, e, n), e, n)
    assert (green == 0).all()
    e, n = scene.edges[0].at(np.linspace(5, 30, 300), np.full(300, 1.5))
    green, tall = flat.over(scene, state, heights(scene, state, e, n), e, n)
    assert (green == 1).all() and tall.mean() == pytest.approx(0.030, rel=0.06)
    assert tall.std() == pytest.approx(0.030 * np.hypot(0.12, 0.08), rel=0.3)


@pytest.mark.analytic
def test_grass_is_thinner_on_a_lip(scene_of):
    s = np.linspace(6, 30, 200)
    bare, lipped = (scene_of({"lips": [{"edge": "outer", "height_mm": h}]}) for h in (0.0, 30.0))
    tall = []
    for scene, state in (bare, lipped):
        e, n = scene.edges[0].at(s, np.full(s.size, 0.13))
        lawn = grass_on(scene, FIRST.isoformat(), 0.030)
        tall.append(lawn.over(scene, state, heights(scene, state, e, n), e, n)[1].mean())
    assert tall[1] / tall[0] == pytest.approx(0.85, abs=0.01)


@pytest.mark.analytic
@pytest.mark.parametrize("encroach_mm, least, most", [(0.0, 0.0, 0.1), (100.0, 0.45, 0.75), (250.0, 0.99, 1.0)])
def test_grass_comes_into_the_skin_where_it_encroaches(scene_of, encroach_mm, least, most):
    scene, later = scene_of({"encroach_mm_per_year": encroach_mm}, on=LATER)
    e, n = scene.edges[0].at(np.linspace(6, 30, 200), np.full(200, -0.05))
    green, _ = grass_on(scene, LATER.isoformat(), 0.030).over(scene, later, heights(scene, later, e, n), e, n)
    assert least <= green.mean() <= most


@pytest.mark.analytic
def test_weeds_cover_their_share_of_the_skin(scene_of):
    scene, state = scene_of({"weeds": [{"at": [-6.0, 18.0], "radius_m": 1.5, "share": 0.5}]})
    e, n = (np.atleast_1d(v) for v in scene.axes.world(-6.0, 18.0))
    green, tall = grass_on(scene, "2025-04-07", 0.030).over(scene, state, heights(scene, state, e, n), e, n)
    assert green == pytest.approx([0.5]) and 0.008 < tall[0] < 0.028


@pytest.mark.invariant
def test_a_point_has_one_height_whatever_points_are_asked_with_it(scene_of):
    busy = {"skin_waves_mm": 4.0, "movement": 1.0, "lips": [{"edge": "outer", "height_mm": 20, "wander_mm": 3}],
            "pits": [{"name": "a", "at": "second", "depth_mm": 40.0}]}  # fmt: skip
    scene, state = scene_of(busy)
    west, south, east, north = scene.flown
    e, n = np.random.default_rng(1).uniform([[west], [south]], [[east], [north]], (2, 5000))
    z = heights(scene, state, e, n).z
    order = np.random.default_rng(2).permutation(e.size)
    assert np.array_equal(heights(scene, state, e[order], n[order]).z, z[order])
    assert np.array_equal(heights(scene, state, e[:7], n[:7]).z, z[:7])
