"""Straight lines with printed answers: the GUM's thermometer and NIST's Norris data, both from memory.

The rows reproduce the printed figures to their last digit, which no misremembered row would.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.change.trend import fit_trends

# JCGM 100:2008 (GUM), H.3: readings t, corrections b, degrees C.
READING = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
CORRECTION = np.array([-171, -169, -166, -159, -164, -165, -156, -157, -159, -161, -160]) / 1000
# NIST StRD, Norris: x, y of 36 ozone readings.
NORRIS = np.array("""0.2 0.1 337.4 338.8 118.2 118.1 884.6 888.0 10.1 9.2 226.5 228.1 666.3 668.5 996.3 998.5
448.6 449.1 777.0 778.9 558.2 559.2 0.4 0.3 0.6 0.1 775.5 778.1 666.9 668.8 338.0 339.3 447.5 448.9 11.6 10.8
556.0 557.7 228.1 228.3 995.8 998.0 887.6 888.8 120.2 119.6 0.3 0.3 0.3 0.6 556.8 557.6 339.1 339.3 887.2 888.0
999.0 998.5 779.0 778.9 11.1 10.2 118.3 117.6 229.2 228.9 669.1 668.4 448.9 449.2
0.5 0.2""".split(), float).reshape(-1, 2)  # fmt: skip


def line(x, y):
    """A line whose own errors are stated far too small, so that the residuals speak: ordinary least squares."""
    return fit_trends(x, y[:, None], np.full((len(x), 1), 1e-7), np.zeros(len(x)), seasons=False)[0]


@pytest.mark.independent
def test_the_gums_thermometer():
    """y1 = -0.1712 (0.0029), y2 = 0.00218 (0.00067), r = -0.930; at 30 C -0.1494 (0.0041)."""
    trend = line(READING, CORRECTION)
    intercept, u = trend.at(20.0)
    assert (intercept, u) == pytest.approx((-0.1712, 0.0029), abs=5e-5)
    assert (trend.rate, trend.rate_sigma) == pytest.approx((0.00218, 0.00067), abs=5e-6)
    shared = trend.covariance + (20.0 - trend.at_years) * trend.rate_sigma**2
    assert shared / (u * trend.rate_sigma) == pytest.approx(-0.930, abs=5e-4)
    assert trend.at(30.0) == pytest.approx((-0.1494, 0.0041), abs=5e-5)


@pytest.mark.independent
def test_norris():
    """Certified: B0 -0.262323073774029 (0.232818234301152), B1 1.00211681802045 (0.000429796848199937)."""
    trend = line(*NORRIS.T)
    assert trend.at(0.0) == pytest.approx((-0.262323073774029, 0.232818234301152), rel=1e-9)
    assert (trend.rate, trend.rate_sigma) == pytest.approx((1.00211681802045, 0.000429796848199937), rel=1e-10)
