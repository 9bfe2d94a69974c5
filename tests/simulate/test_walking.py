"""A rover walk: where it goes, what it reads, what is wrong with some rows."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.simulate.cloud import Look, Seeing
from pipeline.simulate.ground import heights
from pipeline.simulate.aging import state_at
from pipeline.simulate.instruments import Error
from pipeline.simulate.scene import build_scene
from pipeline.simulate.walking import walked
from support.quiet_field import FIRST

STILL = Error((507000.0, 175000.0), 30.0, 0, 0, 0, 0, 0, 0)


def walk_of(story, **field):
    made = story(field, {"instrument": "rover", "spacing_m": None})
    scene = build_scene(made, "quiet")
    state = state_at(scene, FIRST, FIRST)
    return scene, state, walked(Look(scene, state, "once", made.surveys["once"], Seeing(STILL, ())))


@pytest.mark.analytic
def test_every_slab_and_plate_is_visited_and_every_edge_crossed_both_ways(story):
    scene, _, walk = walk_of(story)
    for patch in scene.patches:
        assert shapely.contains_xy(patch.polygon, walk.e, walk.n).sum() >= 6
    d, station, which = scene.lines.find(walk.e, walk.n)
    for index, edge in enumerate(scene.edges):
        here = (which == index) & (np.abs(d) < 1.2)
        for low, high in ((-1.0, -0.3), (0.0, 0.3), (0.7, 1.2)):
            assert ((d[here] > low) & (d[here] < high)).mean() > 0.08
        gaps = np.diff(np.sort(station[here]))
        assert gaps.max() < 1.0 and np.ptp(station[here]) > edge.length_m - 1.0


@pytest.mark.analytic
def test_fixed_rows_read_the_ground_to_the_declared_noise(story):
    scene, state, walk = walk_of(story, fall={"slope_pct": 1.0, "bearing_deg": 30.0})
    off = walk.z - heights(scene, state, walk.e, walk.n).z
    fixed = (walk.quality == 1) & (np.abs(off) < 0.2)
    assert 0.006 < off[fixed].std() < 0.012
    d, _, _ = scene.lines.find(walk.e, walk.n)
    tip = np.median(off[fixed & (d > 0.3)]) - np.median(off[fixed & (d < -0.3)])
    assert -0.005 < tip < 0.015  # it sinks into the skin, grass holds it up


@pytest.mark.analytic
def test_a_few_rows_float_a_few_stand_still_and_a_few_are_wild(story):
    scene, state, walk = walk_of(story)
    assert 0.005 < (walk.quality == 2).mean() < 0.03
    step = np.hypot(np.diff(walk.e), np.diff(walk.n))
    assert 0.003 < (step < 0.03).mean() < 0.06
    off = np.abs(walk.z - heights(scene, state, walk.e, walk.n).z)
    assert off[walk.quality == 2].std() > 3 * off[(walk.quality == 1) & (off < 0.2)].std()
    assert set(np.unique(walk.line)) == set(range(1, walk.line.max() + 1)) and (np.diff(walk.line) >= 0).all()


@pytest.mark.invariant
def test_a_walk_is_the_same_again(story):
    one, two = walk_of(story)[2], walk_of(story)[2]
    assert np.array_equal(one.e, two.e) and np.array_equal(one.z, two.z) and np.array_equal(one.quality, two.quality)


@pytest.mark.independent  # scipy's normality of a long mean: drift is slow, so neighbours share it
def test_errors_of_neighbouring_rows_hang_together(story):
    from scipy.stats import pearsonr

    drifts = []
    for seed in range(4):
        made = story(None, {"instrument": "rover", "spacing_m": None}).model_copy(update={"seed": seed})
        scene = build_scene(made, "quiet")
        state = state_at(scene, FIRST, FIRST)
        walk = walked(Look(scene, state, "once", made.surveys["once"], Seeing(STILL, ())))
        off = walk.z - heights(scene, state, walk.e, walk.n).z
        skin = (walk.quality == 1) & (np.abs(off) < 0.1) & (scene.lines.find(walk.e, walk.n)[0] < -0.3)
        blocks = off[skin][: skin.sum() // 10 * 10].reshape(-1, 10).mean(axis=1)
        drifts.append(pearsonr(blocks[:-1], blocks[1:])[0])
    assert np.mean(drifts) > 0.3
