"""The tie's engine against the ordinary kriging example of Isaaks & Srivastava 1989, ch. 12 (from memory).

Seven samples, C(h) = 10 exp(-0.3 h), estimate at (65, 137): a flat prior on the shift is ordinary kriging.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.survey.noise import Noise
from pipeline.survey.stable.misfit import Misfit
from pipeline.survey.stable.patches import Footprint
from pipeline.survey.stable.tie import tie_pair

SAMPLES = {
    (61, 139): 477, (63, 140): 696, (64, 129): 227, (68, 128): 646, (71, 140): 606, (73, 141): 791, (75, 128): 783,
}  # fmt: skip
AT = np.array([[65.0, 137.0]])
FLAT_SHIFT = np.array([1e6, 0.0, 0.0, 0.0])
WEIGHTS = [0.173, 0.318, 0.129, 0.086, 0.151, 0.057, 0.086]


class Exponential(Noise):
    """One part whose covariance is s^2 exp(-3 h / range)."""

    def covariance(self, distance_m):
        return sum(sd**2 * np.exp(-3 * np.asarray(distance_m) / r) for sd, r in self.parts) + 0 * np.asarray(distance_m)


MODEL = Exponential(0.0, ((10**0.5, 10.0),), 0.0, 0.0, 0.0, 0.0)


def krige(values):
    """Estimate and variance at AT. Values so small that their scatter asks for no inflation."""
    found = [
        Misfit(Footprint(str(k), shapely.Point(p).buffer(0.1), np.array([p], float)), 0.0, float(v), 0.0)
        for k, (p, v) in enumerate(zip(SAMPLES, values))
    ]
    estimate, sigma = tie_pair(found, MODEL, (65.0, 137.0), AT, FLAT_SHIFT).mean_over(AT)
    return estimate, sigma**2


@pytest.mark.independent
def test_a_flat_prior_on_the_shift_gives_the_printed_estimate_and_variance():
    estimate, variance = krige(np.array(list(SAMPLES.values())) / 1000)
    assert estimate * 1000 == pytest.approx(592.7, abs=0.06)
    assert variance == pytest.approx(8.96, abs=0.005)


@pytest.mark.independent
def test_the_weights_are_the_printed_ones():
    weights = [krige(np.eye(7)[k])[0] for k in range(7)]
    np.testing.assert_allclose(weights, WEIGHTS, atol=6e-4)
    assert sum(weights) == pytest.approx(1, abs=1e-5)
