"""A rover's walk: lines and steps, the noise of one row, and the way onto a grid."""

from __future__ import annotations

import numpy as np
import pytest
from support.rover_scene import EdgeScene, Ground2D, as_walk, draw_edge, field_path, field_walk, real_table, real_walk

from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.survey.points import Projection
from pipeline.survey.walks.walk import to_ground, to_working, white_noise

GRID = Grid.covering((0, 0, 30, 30), "EPSG:6564", 0.1)


def flat_walk(rng, white, n=4000, apart=0.5):
    x = np.arange(n) * apart
    return as_walk(x, 0.1 * x, 200 + 0.03 * x + rng.normal(0, white, n))


@pytest.mark.analytic
def test_the_noise_of_one_row_is_read_back_from_a_plane():
    for white in (0.003, 0.007, 0.020):
        assert white_noise(flat_walk(np.random.default_rng(1), white)) == pytest.approx(white, rel=0.06)


@pytest.mark.analytic
def test_a_plane_without_noise_has_none():
    assert white_noise(flat_walk(np.random.default_rng(1), 0.0)) < 1e-9


@pytest.mark.analytic
def test_a_line_begins_where_line_or_receiver_changes():
    walk = as_walk([0, 3, 3, 3, 9], [0, 4, 5, 6, 6], np.zeros(5), line=[0, 0, 1, 1, 1], receiver=[0, 0, 0, 1, 1])
    assert walk.lines_walked().tolist() == [0, 0, 1, 2, 2]
    assert walk.steps().tolist() == [np.inf, 5.0, np.inf, np.inf, 6.0]


@pytest.mark.invariant
def test_the_noise_does_not_follow_unevenness_mound_or_lip():
    rng = np.random.default_rng(4)
    x, y, z, line = field_walk(rng, Ground2D(rng), field_path())
    assert white_noise(as_walk(x, y, z, line)) == pytest.approx(0.007, rel=0.15)
    scene = EdgeScene(rng, draw_edge(rng, 60.0, 0.0))
    s, d, z = scene.walk(0)
    assert 0.006 < white_noise(as_walk(s, d, z)) < 0.011  # a lip bends a third of all triples


@pytest.mark.invariant
def test_rows_logged_many_a_step_do_not_make_the_noise_small():
    rng = np.random.default_rng(5)
    x = np.arange(40_000) * 0.021
    shared = np.repeat(rng.normal(0, 0.007, 4_000), 10)  # ten rows in 0.2 m share one error
    assert white_noise(as_walk(x, 0 * x, 0.03 * x + shared)) == pytest.approx(0.007, rel=0.1)


@pytest.mark.invariant
def test_too_few_rows_tell_no_noise():
    assert np.isnan(white_noise(flat_walk(np.random.default_rng(1), 0.007, n=15)))


@pytest.mark.independent
def test_the_noise_agrees_with_a_line_fitted_through_every_five_rows():
    walk = flat_walk(np.random.default_rng(8), 0.007)
    parts = walk.z.reshape(-1, 5)
    rest = [np.polynomial.polynomial.polyfit(range(5), p, 1, full=True)[1][0][0] for p in parts]
    assert white_noise(walk) == pytest.approx(np.sqrt(np.mean(rest) / 3), rel=0.06)


@pytest.mark.independent
def test_real_receivers_measure_to_millimetres_on_sand(real_data):
    """Walks of the open beach data (MIT, save-oceanside-sand): sand and pole too, so more than the receiver alone."""
    walk = real_walk(real_table(real_data, "2025-06-27"))
    fixed = walk.take(walk.quality == 1)
    for receiver, low, high in ((0, 0.004, 0.015), (1, 0.003, 0.010)):
        assert low < white_noise(fixed.take(fixed.receiver == receiver)) < high


@pytest.mark.analytic
def test_rows_come_onto_the_grid_to_half_a_tenth_of_a_millimetre():
    rng = np.random.default_rng(2)
    x, y, z = rng.uniform(-5, 35, 500), rng.uniform(-5, 35, 500), rng.uniform(310, 312, 500)
    ground = to_ground(as_walk(x, y, z), GRID)
    held = GRID.holds(*GRID.rows_cols(x, y))
    assert len(ground) == held.sum()
    for told, true in zip(ground.metres(), (x[held], y[held], z[held])):
        assert np.abs(told - true).max() <= 0.5e-4 + 1e-9


@pytest.mark.analytic
def test_feet_become_metres_on_the_way_to_the_working_coordinates():
    half = 100.0
    shift = (1000.0, 0.3048 * half, 0.0) + (0.0,) * 7
    turn = (2000.0, 0.0, 0.3048 * half) + (0.0,) * 7
    projection = Projection((10.0, 20.0), half, shift, turn, 0.3048, (-90, -80, 110, 120))
    walk = to_working(as_walk([10, 20], [20, 20], [100, 200]), projection)
    assert walk.x.tolist() == pytest.approx([1000.0, 1003.048])
    assert walk.y.tolist() == pytest.approx([2000.0, 2000.0])
    assert walk.z.tolist() == pytest.approx([30.48, 60.96])


@pytest.mark.invariant
def test_a_walk_beside_the_field_is_refused_saying_where_it_lies():
    with pytest.raises(Refused) as refusal:
        to_ground(as_walk([400.0, 410.0], [500.0, 520.0], [1.0, 1.0]), GRID)
    assert refusal.value.code == "misses_field"
    assert "east 400 to 410" in refusal.value.reason and "east 0 to 30" in refusal.value.reason
