from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from pytest import approx
from scipy.signal import correlate
from support.edge_scene import INSTRUMENTS, LIDAR, WEAK, Options, Scene, single_arc
from support.flat_tables import cover_ramp, table_of
from support.lip_trials import foreign, tables

from pipeline.errors import Refused
from pipeline.survey.edge_lag import lags_of
from pipeline.survey.registration import register


def laid(scene: Scene):
    blind = foreign(scene)
    return register(scene.survey(1), scene.edges, blind, tables(scene, 0, blind), 0.02)


@pytest.mark.analytic
@pytest.mark.parametrize("lag_m", [-0.6, -0.1, 0.25])
def test_a_profile_far_from_where_it_was_is_found_by_its_pattern(lag_m):
    first = table_of(lambda s, d: 51 + 0 * s * d, green=lambda d: 0.05 + 0.85 * cover_ramp(d))
    later = table_of(lambda s, d: 51 + 0 * s * d, green=lambda d: 0.08 + 0.7 * cover_ramp(d, lag_m))
    told_by, lags = lags_of(first, later)
    assert told_by == "colour" and len(lags) == 10
    assert [lag.lag_m for lag in lags] == approx([lag_m] * 10)


@pytest.mark.independent
def test_a_lag_is_that_of_a_signal_librarys_cross_correlation():
    # scipy.signal.correlate of the two profiles less their means
    def hill(d, at):
        return np.exp(-(((d - at) / 0.2) ** 2))

    first = table_of(lambda s, d: 51 + 0.05 * hill(d, 0.0) + 0 * s)
    later = table_of(lambda s, d: 51 + 0.05 * hill(d, 0.3) + 0 * s)
    told_by, lags = lags_of(first, later)
    a, b = first.z[10] - first.z[10].mean(), later.z[10] - later.z[10].mean()
    theirs = (np.argmax(correlate(b, a)) - (len(a) - 1)) * 0.05
    assert told_by == "height"
    assert lags[3].lag_m == approx(theirs) == approx(0.3)


@pytest.mark.invariant
def test_turf_that_shows_no_green_later_is_compared_by_height():
    first = table_of(lambda s, d: 51 + 0.03 * cover_ramp(d) + 0 * s, green=lambda d: 0.05 + 0.85 * cover_ramp(d))
    dormant = table_of(lambda s, d: 51 + 0.03 * cover_ramp(d, 0.1) + 0 * s, green=lambda d: 0.02 + 0 * d)
    told_by, lags = lags_of(first, dormant)
    assert told_by == "height" and lags[4].lag_m == approx(0.1)


@pytest.mark.independent
@pytest.mark.parametrize("name", ["good", "weak", "lidar"])
def test_fifty_millimetres_sideways_are_found_and_taken_off(name):
    # truth: the very vector the scene was moved by
    scene = Scene(31, INSTRUMENTS[name], options=Options(shift_later_m=(0.03, -0.04)))
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
    scene = Scene(32, WEAK, options=Options(shift_later_m=shift_m))
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
    scene = Scene(34, LIDAR)
    blind = foreign(scene)
    reference = tables(scene, 0, blind)
    shift, _, _ = register(scene.survey(0), scene.edges, blind, reference, 0.02)
    assert (shift.e_m, shift.n_m) == approx((0, 0), abs=1e-6)
