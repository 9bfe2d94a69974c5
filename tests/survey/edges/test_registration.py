from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from pytest import approx
from support.edge_scene import INSTRUMENTS, LIDAR, WEAK, Options, Scene, single_arc, small_infield
from support.lip_trials import foreign, tables

from pipeline.errors import Refused
from pipeline.survey.edges.registration import register


def laid(scene: Scene):
    blind = foreign(scene.edges, scene)
    return register(scene.survey(1), scene.edges, blind, tables(scene, 0, scene.edges, blind), 0.02)


@pytest.mark.independent
@pytest.mark.parametrize("name", ["good", "weak", "lidar"])
def test_fifty_millimetres_sideways_are_found_and_taken_off(name):
    # truth: the very vector the scene was moved by
    scene = Scene(31, INSTRUMENTS[name], small_infield(), options=Options(shift_later_m=(0.03, -0.04)))
    shift, moved, later = laid(scene)
    true = scene.moved(0) - scene.moved(1)
    miss = np.array([shift.e_m, shift.n_m]) - true
    assert shift.known and np.hypot(*true) > 0.03
    assert np.hypot(*miss) < min(0.018, 3.5 * shift.sigma_m)
    assert shift.sigma_m < 0.010
    first = scene.survey(1)
    assert_array_equal(moved.x - first.x, round(shift.e_m / 1e-4))
    assert len(later) == 5


@pytest.mark.invariant
@pytest.mark.parametrize("shift_m", [(0.16, 0.12), (0.5, -0.4), (2.0, 1.0)])
def test_twenty_centimetres_half_a_metre_and_two_metres_are_refused(shift_m):
    scene = Scene(32, WEAK, small_infield(), options=Options(shift_later_m=shift_m))
    with pytest.raises(Refused) as refusal:
        laid(scene)
    assert refusal.value.code == "horizontal_shift"
    assert "coordinate system" in refusal.value.reason


@pytest.mark.invariant
def test_a_short_arc_cannot_tell_and_nothing_is_moved():
    scene = Scene(33, LIDAR, single_arc(25, 20), options=Options(shift_later_m=(0.05, 0.02)))
    shift, moved, _ = laid(scene)
    assert not shift.known and "degrees" in shift.reason
    assert_array_equal(moved.x, scene.survey(1).x)


@pytest.mark.invariant
def test_a_survey_laid_onto_itself_is_not_moved():
    scene = Scene(34, LIDAR, small_infield())
    blind = foreign(scene.edges, scene)
    reference = tables(scene, 0, scene.edges, blind)
    shift, _, _ = register(scene.survey(0), scene.edges, blind, reference, 0.02)
    assert (shift.e_m, shift.n_m) == approx((0, 0), abs=1e-6)
