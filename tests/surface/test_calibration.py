from __future__ import annotations

import numpy as np
import pytest
from pytest import approx
from statsmodels.regression.linear_model import WLS

from pipeline.surface.calibration import (
    GIVEN_SD_M,
    PLAIN_M,
    PLAIN_SD_M,
    RulerMark,
    calibrate,
    edge_sd,
    readings_to_halve,
)


def marks(edge_id, count, canopy=0.025, cover=0.85, seed=1, noise=0.0):
    rng = np.random.default_rng(seed)
    rise = rng.uniform(0.01, 0.03, count)
    seen = 0.9 * rise + cover * canopy + noise * rng.standard_normal(count)
    return [RulerMark(edge_id, float(q), float(r), cover, 0.9, 0.003**2) for q, r in zip(rise, seen)]


@pytest.mark.analytic
def test_without_readings_the_turfs_height_or_the_usual_one_stands():
    given = calibrate([], ["outer"], 1.0, 0.030)["outer"]
    assert (given.height_m, given.calibration, given.readings) == (approx(0.030), "none", 0)
    assert given.sigma_m == approx(np.hypot(GIVEN_SD_M, edge_sd(1.0)))
    usual = calibrate([], ["outer"], 1.0)["outer"]
    assert (usual.height_m, usual.sigma_m) == approx((PLAIN_M, np.hypot(PLAIN_SD_M, edge_sd(1.0))))
    seen_through = calibrate([], ["outer"], 0.37, 0.030)["outer"]
    assert (seen_through.height_m, seen_through.sigma_m) == approx((0.0111, np.hypot(0.37 * GIVEN_SD_M, edge_sd(0.37))))


@pytest.mark.analytic
def test_many_readings_on_an_edge_give_sum_phi_r_less_b_q_over_sum_phi_squared():
    readings = marks("outer", 400, canopy=0.019, noise=0.002)
    plain = sum(m.cover_w * (m.seen_m - m.lip_w * m.value_m) for m in readings) / sum(m.cover_w**2 for m in readings)
    found = calibrate(readings, ["outer"], 1.0)["outer"]
    assert found.height_m == approx(plain, abs=1e-4)
    assert found.calibration == "edge" and found.readings == 400
    assert found.sigma_m < 3e-4


@pytest.mark.analytic
def test_readings_elsewhere_leave_an_edge_its_own_error():
    found = calibrate(marks("outer", 400, canopy=0.019), ["outer", "home"], 1.0)
    assert (found["home"].calibration, found["outer"].calibration) == ("field", "edge")
    # the field is known through one edge: its own error and the other's
    assert found["home"].sigma_m == approx(edge_sd(1.0) * 2**0.5, rel=0.06)
    assert found["outer"].sigma_m < 3e-4


@pytest.mark.analytic
def test_how_many_readings_halve_the_uncertainty():
    # variance 100 of which 4 stay: to reach 25 the canopy's part must fall from 96 to 21; readings of variance 42
    assert readings_to_halve(96**0.5, 2.0, 42.0) == int(np.ceil(42 * (1 / 21 - 1 / 96)))
    assert readings_to_halve(3.0, 0.0, 9.0) == 3
    assert readings_to_halve(3.0, 2.0, 9.0) is None  # what no reading mends is more than half already
    assert readings_to_halve(0.0, 1.0, 9.0) is None
    assert readings_to_halve(10.0, 0.0, 1e6) is None
    assert readings_to_halve(np.nan, 1.0, 9.0) is readings_to_halve(3.0, np.nan, 9.0) is readings_to_halve(3.0, 0.0, np.nan) is None


@pytest.mark.invariant
def test_the_number_advised_does_halve_it():
    readings = marks("outer", 4)
    now = calibrate(readings, ["outer"], 1.0)["outer"]
    more = readings_to_halve(now.sigma_m, 0.0, now.reading_variance)
    then = calibrate(readings + marks("outer", more), ["outer"], 1.0)["outer"]
    almost = calibrate(readings + marks("outer", more - 1), ["outer"], 1.0)["outer"]
    assert then.sigma_m <= now.sigma_m / 2 * (1 + 1e-9) < almost.sigma_m


@pytest.mark.invariant
def test_two_readings_do_not_calibrate_and_order_does_not_matter():
    assert calibrate(marks("outer", 2), ["outer"], 1.0)["outer"].calibration == "none"
    readings = marks("outer", 6, noise=0.003) + marks("home", 5, canopy=0.03, noise=0.003)
    there, back = (calibrate(r, ["outer", "home"], 1.0) for r in (readings, readings[::-1]))
    assert there["outer"].height_m == approx(back["outer"].height_m)
    assert there["home"].sigma_m == approx(back["home"].sigma_m)


@pytest.mark.independent
def test_two_levels_of_errors_are_weighted_least_squares_with_the_priors_as_observations():
    # statsmodels WLS: unknowns field, outer, home; priors enter as rows of their own
    readings = marks("outer", 7, 0.022, noise=0.003) + marks("home", 3, 0.030, 0.7, seed=2, noise=0.003)
    rows = [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)]
    told, variance = [0.030, 0.0, 0.0], [GIVEN_SD_M**2, edge_sd(1.0) ** 2, edge_sd(1.0) ** 2]
    for m in readings:
        rows.append((m.cover_w, m.cover_w * (m.edge_id == "outer"), m.cover_w * (m.edge_id == "home")))
        told.append(m.seen_m - m.lip_w * m.value_m)
        variance.append(m.variance + (m.lip_w * m.ruler_sd_m) ** 2)
    theirs = WLS(told, np.array(rows), weights=1 / np.array(variance)).fit()
    mine = calibrate(readings, ["outer", "home"], 1.0, 0.030)
    assert mine["outer"].height_m == approx(theirs.params[0] + theirs.params[1])
    assert mine["home"].height_m == approx(theirs.params[0] + theirs.params[2])
    c = theirs.normalized_cov_params
    assert mine["home"].sigma_m == approx(np.sqrt(c[0, 0] + c[2, 2] + 2 * c[0, 2]))
