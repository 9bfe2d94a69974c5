"""Figures of checkpoints; printed examples stand in tests/published/test_accuracy_standards.py."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.survey.stable.checkpoints import accuracy, height_at

RESIDUALS = st.lists(st.floats(-0.5, 0.5), min_size=2, max_size=40)


@pytest.mark.analytic
def test_a_constant_residual_is_all_bias_and_no_scatter():
    found = accuracy(np.full(8, -0.02))
    assert (found.mean_m, found.rmse_m) == pytest.approx((-0.02, 0.02))
    assert found.sd_m == pytest.approx(0, abs=1e-12)
    assert found.biased


@pytest.mark.analytic
def test_plus_and_minus_is_no_bias():
    found = accuracy(np.array([0.03, -0.03] * 5))
    assert not found.biased
    assert found.sd_m == pytest.approx(0.03 * np.sqrt(10 / 9))
    assert found.nssda_95_m == pytest.approx(1.96 * 0.03)


@pytest.mark.analytic
def test_the_checkpoints_own_error_adds_in_quadrature():
    found = accuracy(np.array([0.03, -0.03]), np.array([0.04, 0.04]))
    assert found.rmse_v_m == pytest.approx(0.05)
    assert np.isnan(accuracy(np.array([0.03, -0.03])).rmse_v_m)
    assert np.isnan(accuracy(np.array([0.03, -0.03]), np.array([0.04, np.nan])).rmse_v_m)


@pytest.mark.analytic
def test_how_many_are_enough_depends_on_the_edition():
    enough = [(accuracy(np.zeros(n)).enough_1998, accuracy(np.zeros(n)).enough_2023) for n in (19, 20, 29, 30)]
    assert enough == [(False, False), (True, False), (True, False), (True, True)]


@pytest.mark.analytic
def test_none_and_one_checkpoint_do_not_pretend():
    none, one = accuracy(np.array([np.nan])), accuracy(np.array([0.01, np.nan]))
    assert none.count == 0 and np.isnan([none.mean_m, none.rmse_m]).all()
    assert one.count == 1 and one.rmse_m == pytest.approx(0.01) and np.isnan(one.sd_m)


@pytest.mark.analytic
def test_a_checkpoint_on_a_slope_is_read_at_its_own_place():
    rng = np.random.default_rng(0)
    e, n = rng.uniform(-1, 1, (2, 2000))
    e, n = e[e < 0.1], n[e < 0.1]  # ground is missing on one side
    found = height_at(e, n, 50 + 0.02 * e, (0.0, 0.0), 0.004)
    assert found.height_m == pytest.approx(50, abs=2e-4)
    assert np.isnan(height_at(e, n, 50 + 0.02 * e, (5.0, 0.0), 0.004).height_m)


@pytest.mark.invariant
@given(RESIDUALS, st.floats(-0.2, 0.2))
def test_a_datum_step_moves_the_mean_and_leaves_the_scatter(residuals, step):
    r = np.array(residuals)
    here, there = accuracy(r), accuracy(r + step)
    assert there.mean_m == pytest.approx(here.mean_m + step, abs=1e-12)
    assert there.sd_m == pytest.approx(here.sd_m, abs=1e-9)


@pytest.mark.independent
@given(RESIDUALS)
def test_the_figures_are_those_of_the_standard_library(residuals):
    import statistics

    found = accuracy(np.array(residuals))
    assert found.mean_m == pytest.approx(statistics.fmean(residuals), abs=1e-12)
    assert found.sd_m == pytest.approx(statistics.stdev(residuals), abs=1e-9)
    identity = found.mean_m**2 + found.sd_m**2 * (found.count - 1) / found.count
    assert found.rmse_m**2 == pytest.approx(identity, abs=1e-12)
