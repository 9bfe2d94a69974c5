"""Checkpoint figures against printed tables."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.survey.stable.checkpoints import NSSDA_FACTOR, Accuracy, accuracy

# ASPRS journal (PERS), May 2014, p. 397: residuals dE, dN, dH of seven checkpoints, m.
PERS = np.array([
    (-0.060, 0.080, 0.055), (0.100, -0.045, -0.006), (-0.060, 0.080, -0.017), (-0.112, 0.007, 0.042),
    (-0.120, 0.150, -0.011), (-0.100, -0.045, 0.013), (-0.060, 0.080, 0.048),
])  # fmt: skip
# ASPRS Positional Accuracy Standards 2014, Annex D: residuals x, y, z of five checkpoints, m (from memory).
ANNEX_D = np.array([
    (-0.140, -0.070, -0.071), (-0.100, -0.100, 0.010), (0.017, -0.070, 0.102), (-0.070, 0.150, -0.100),
    (0.130, 0.120, 0.087),
])  # fmt: skip


@pytest.mark.independent
def test_the_seven_checkpoints_of_2014():
    found = [accuracy(column) for column in PERS.T]
    assert [round(a.sd_m, 3) for a in found] == [0.075, 0.073, 0.030]  # printed
    np.testing.assert_allclose([a.mean_m for a in found], (-0.058857, 0.043857, 0.017714), atol=5e-7)
    np.testing.assert_allclose([a.rmse_m for a in found], (0.090825, 0.080887, 0.033183), atol=5e-7)
    assert all(a.biased for a in found)  # 65, 54, 53 % of the RMSE; the page puts the limit at 25-50 %
    assert found[2].nssda_95_m == pytest.approx(0.065040, abs=5e-7)
    assert not found[2].enough_1998


@pytest.mark.independent
def test_annex_d_of_2014():
    found = [accuracy(column) for column in ANNEX_D.T]
    assert [round(a.mean_m, 3) for a in found] == [-0.033, 0.006, 0.006]
    assert [round(a.sd_m, 3) for a in found] == [0.108, 0.119, 0.091]
    np.testing.assert_allclose([a.rmse_m for a in found], (0.102, 0.106, 0.081), atol=6e-4)
    assert found[2].nssda_95_m == pytest.approx(0.160, abs=6e-4)


@pytest.mark.independent
def test_a_lidar_report_to_twelve_digits():
    """USGS quality report, Barataria LA 2013, open terrain, n = 51: its mean, SD and RMSEz hang together."""
    n, mean, sd, rmse, nssda = 51, -0.00533333349535, 0.0577205913534, 0.0574002119585, 0.112504415439
    rng = np.random.default_rng(0)
    r = rng.standard_normal(n)
    r = mean + (r - r.mean()) / r.std(ddof=1) * sd  # any residuals with that mean and SD
    found = accuracy(r)
    assert (found.mean_m, found.sd_m) == pytest.approx((mean, sd), rel=1e-9)
    assert found.rmse_m == pytest.approx(rmse, abs=3e-10)
    assert found.nssda_95_m == pytest.approx(nssda, abs=1e-9)
    assert not found.biased and found.enough_1998 and found.enough_2023


@pytest.mark.independent
def test_a_small_forest_sample_of_the_same_report_is_biased():
    """n = 6: mean 0.0448333347837, SD 0.0714154522031, RMSEz 0.0791212."""
    r = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    found = accuracy(0.0448333347837 + r / r.std(ddof=1) * 0.0714154522031)
    assert found.rmse_m == pytest.approx(0.0791212, abs=5e-8)
    assert found.biased and not found.enough_1998


@pytest.mark.independent
def test_1_96_rmse_is_not_1_96_sd_when_biased():
    """Textbook example: RMSE 0.320, SD 0.244 give 0.628 against 0.478."""
    found = Accuracy(100, float(np.sqrt(0.320**2 - 0.244**2 * 99 / 100)), 0.244, 0.320, float("nan"))
    assert found.nssda_95_m == pytest.approx(0.628, abs=1e-3)
    assert NSSDA_FACTOR * found.sd_m == pytest.approx(0.478, abs=1e-3)
    assert found.biased
