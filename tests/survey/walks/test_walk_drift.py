"""How far a walk's height wandered, from where it crosses itself."""

from __future__ import annotations

import numpy as np
import pytest
from support.rover_scene import Ground2D, as_walk, field_path, field_walk

from pipeline.survey.noise import ROVER
from pipeline.survey.walks.walk import white_noise
from pipeline.survey.walks.walk_clean import clean
from pipeline.survey.walks.walk_drift import LEAST_PAIRS, walk_drift

DECLARED_M = ROVER.parts[0][0]


def drift_of(seed: int, drift_m: float, rough_m: float = 0.008, path=None):
    rng = np.random.default_rng([11, seed])
    rows = field_walk(rng, Ground2D(rng, rough_m, 3.0), path or field_path(), drift=drift_m)
    walk = clean(as_walk(*rows)).walk
    return walk_drift(walk, white_noise(walk))


@pytest.mark.independent  # the simulated drift
def test_a_walk_that_wanders_four_times_as_far_is_told_from_one_that_wanders_as_declared():
    usual = [drift_of(k, DECLARED_M) for k in range(8)]
    far = [drift_of(k, 4 * DECLARED_M) for k in range(8)]
    assert max(d.sd_m for d in usual) < 1.6 * DECLARED_M
    assert np.sqrt(np.mean([d.sd_m**2 for d in far])) > 2.0 * DECLARED_M
    found = 1e3 * np.sqrt(np.mean([d.found_m**2 for d in far]))
    assert 0.6 * 20.0 < found < 1.3 * 20.0


@pytest.mark.invariant
def test_no_walk_is_said_to_wander_less_than_declared():
    for rough_m in (0.008, 0.020):
        assert drift_of(1, 0.0, rough_m).sd_m == DECLARED_M


@pytest.mark.invariant
def test_a_walk_that_hardly_crosses_itself_keeps_what_is_declared():
    only_to_and_fro = field_path()[:-8]
    told = drift_of(2, 4 * DECLARED_M, path=only_to_and_fro)
    assert told.pairs < LEAST_PAIRS and np.isnan(told.found_m) and told.sd_m == DECLARED_M


@pytest.mark.analytic
def test_another_drift_scales_what_patches_and_skin_differ_by():
    twice = ROVER.drifting(2 * DECLARED_M)
    assert twice.parts == ((2 * DECLARED_M, ROVER.parts[0][1]),) and twice.session_m == 2 * ROVER.session_m
    assert twice.white_m == ROVER.white_m and ROVER.drifting(DECLARED_M) == ROVER
