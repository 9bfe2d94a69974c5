from __future__ import annotations

import numpy as np
import pytest
from pytest import approx
from scipy.spatial.distance import cdist
from scipy.stats import t as student
from support.flat_tables import table_of

from pipeline.surface.lip_noise import MEDIAN_LOSS, MODEL_WEIGHT, StillNoise, expected, still_noise, stretches
from pipeline.surface.lip_shape import LipShape
from pipeline.survey.edges.edge_cover import Cover
from pipeline.survey.edges.edge_shape import DEFAULT_BUMP, bump, ramp
from pipeline.survey.edges.edge_table import columns
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, Noise, matern32

D = columns()
SHAPE = LipShape("outer", D, DEFAULT_BUMP, Cover(ramp(D), 0.08, "colour", 0.0), bump(D))
WHITE = Noise(0.006, (), 0.0, 0.0, 0.0, 0.0)


@pytest.mark.analytic
def test_of_white_noise_alone_the_variance_is_that_of_a_weighted_mean_of_medians():
    # w'w over ten rows of cells, each the median of 20 points
    found = expected(WHITE, SHAPE, 20.0)
    assert found.skin == approx(0.006**2 / 20 * MEDIAN_LOSS * (SHAPE.weights @ SHAPE.weights) / 10)


@pytest.mark.analytic
def test_twice_the_edge_has_half_the_variance_where_errors_are_short():
    one, two = (expected(WHITE, SHAPE, 20.0, length_m=length) for length in (5.0, 10.0))
    assert two.skin == approx(one.skin / 2)


@pytest.mark.analytic
def test_a_survey_wide_error_is_not_seen():
    far = Noise(0.0, ((0.02, 5000.0),), 0.0, 0.0, 0.0, 0.0)
    assert expected(far, SHAPE, 20.0, canopy_m=0.0).skin < 1e-10  # it tilts an edge by 0.007 mm per m


@pytest.mark.analytic
def test_stretches_are_means_of_five_metres_and_ask_for_three():
    values = np.arange(26.0)
    usable = np.ones(26, bool)
    usable[10:15] = False
    means, metres = stretches(values, usable)
    assert means == approx([4.5, np.nan, 22.5], nan_ok=True)
    assert metres == approx([5.0, 2.5, 3.0])


@pytest.mark.invariant
def test_a_better_known_variance_widens_the_interval_less():
    few, many = (StillNoise(5.0, 1e-5, 1e-5, n, n) for n in (10, 1000))
    assert few.widening(0.8) > many.widening(0.8) > 1
    assert many.widening(0.8) < 1.003


@pytest.mark.invariant
def test_canopy_and_dates_add_to_turf_only_and_a_lidar_sees_less_of_it():
    none, one, two = (expected(GOOD_PHOTOGRAMMETRY, SHAPE, 25.0, 0.028, dates) for dates in (0, 1, 2))
    assert none.turf == none.skin == one.skin == two.skin
    assert two.turf - none.turf == approx(2 * (one.turf - none.turf))
    lidar = expected(LIDAR, SHAPE, 25.0, 0.028, 1)
    assert lidar.turf - lidar.skin == approx(0.37**2 * (one.turf - one.skin))


@pytest.mark.invariant
def test_one_ploughed_stretch_hardly_counts():
    rng = np.random.default_rng(1)
    table = table_of(lambda s, d: 0 * s * d, length=100.0)
    change = 0.010 * rng.standard_normal(table.z.shape)
    spoilt = change.copy()
    spoilt[40:50, D < -1.4] += 0.2
    clean, dirty = (still_noise([c], [table], [SHAPE], WHITE) for c in (change, spoilt))
    assert dirty.skin < 2.5 * clean.skin
    assert dirty.turf == clean.turf


@pytest.mark.independent
def test_the_models_variance_is_the_double_sum_over_all_cells():
    # scipy.spatial.distance.cdist and plain sums, Matern 3/2 term by term, the edge cut every 0.1 m
    inside = SHAPE.weights != 0
    along = np.arange(50) * 0.1
    places = np.array([(s, d) for s in along for d in D[inside]])
    w = np.tile(SHAPE.weights[inside] / 50, 50)
    apart = cdist(places, places)
    variance = sum(sd**2 * (w @ matern32(apart / r) @ w) for sd, r in GOOD_PHOTOGRAMMETRY.parts)
    white = GOOD_PHOTOGRAMMETRY.white_m**2 / 25 * MEDIAN_LOSS * (SHAPE.weights @ SHAPE.weights) / 10
    assert expected(GOOD_PHOTOGRAMMETRY, SHAPE, 25.0).skin == approx(variance + white, rel=1e-9)


@pytest.mark.independent
def test_widening_is_students_factor():
    # scipy.stats.t; skin and turf alike and equally well known: the freedoms of a mean of two variances add up
    assert StillNoise(5.0, 1.0, 1.0, 20, 20).widening(0.5) == approx(student.ppf(0.975, 40) / 1.959964)


@pytest.mark.independent
def test_drawn_errors_have_the_variance_claimed_for_them():
    rng = np.random.default_rng(2)
    table = table_of(lambda s, d: 0 * s * d, length=2000.0)
    found = still_noise([0.010 * rng.standard_normal(table.z.shape)], [table], [SHAPE], Noise(0.04, (), 0, 0, 0, 0))
    # turf: five cells against eight, skin: five against ten, ten rows each
    truth = np.array([1 / 5 + 1 / 8, 1 / 5 + 1 / 10]) * 0.010**2 / 10 / SHAPE.lip_w**2
    assert found.turf == approx(truth[0], rel=0.2)
    assert found.skin == approx(truth[1], rel=0.2)
    assert found.turf_weight == MODEL_WEIGHT + 400
