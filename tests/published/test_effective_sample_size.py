"""How many independent samples an area is worth: closed forms of Rolstad, Haug & Denby 2009.

As an open library for elevation change writes them (source read): disk of equal area, L = sqrt(A / pi), range a.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.survey.noise import Noise, matern32
from pipeline.survey.stable.neff import disk_effective_samples, effective_samples


def spherical(range_m: float):
    return lambda r: np.where(r < range_m, 1 - 1.5 * r / range_m + 0.5 * (r / range_m) ** 3, 0.0)


@pytest.mark.independent
@pytest.mark.parametrize("range_m, printed", [(2.0, 39.78874), (20.0, 1.384284)])
def test_a_spherical_variogram_over_100_m2(range_m, printed):
    """Range short of L: 5 (L/a)^2; beyond it: 1 / (1 - L/a + (L/a)^3 / 5)."""
    assert disk_effective_samples(spherical(range_m), 100.0) == pytest.approx(printed, rel=1e-6)


@pytest.mark.independent
@pytest.mark.parametrize("range_m", [2.0, 9.0, 30.0])
def test_exponential_gaussian_and_cubic_closed_forms(range_m):
    length = np.sqrt(100 / np.pi)
    a = range_m / 3
    exponential = 2 * (a / length) ** 2 * (1 - np.exp(-length / a) * (1 + length / a))
    assert disk_effective_samples(lambda r: np.exp(-r / a), 100.0) == pytest.approx(1 / exponential, rel=1e-6)
    b = range_m / 2
    gaussian = (b / length) ** 2 * (1 - np.exp(-((length / b) ** 2)))
    assert disk_effective_samples(lambda r: np.exp(-((r / b) ** 2)), 100.0) == pytest.approx(1 / gaussian, rel=1e-6)
    if range_m < length:

        def cubic(r):
            u = np.minimum(r / range_m, 1.0)
            return 1 - (7 * u**2 - 8.75 * u**3 + 3.5 * u**5 - 0.75 * u**7)

        assert disk_effective_samples(cubic, 100.0) == pytest.approx(6 * length**2 / range_m**2, rel=1e-6)


@pytest.mark.independent
@pytest.mark.parametrize("range_m", [1.0, 3.0, 8.0])
def test_the_transform_over_a_disk_equals_the_double_sum_and_lies_near_the_closed_form(range_m):
    """Exact: 1 / Neff = (1 / N^2) sum_ij rho(d_ij). The closed form measures from the middle only: it counts fewer."""
    noise = Noise(0.0, ((0.003, range_m),), 0.0, 0.0, 0.0, 0.0)
    y, x = (np.mgrid[:38, :38] - 18.5) * 0.3
    disk = np.hypot(x, y) <= np.sqrt(100 / np.pi)
    exact = effective_samples(disk, noise, 0.3)
    at = np.column_stack([x[disk], y[disk]])
    h = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    tolerance = 0.04 if range_m < 2.4 else 1e-9  # parts under 8 cells are averaged inside the cell
    assert exact == pytest.approx(1 / matern32(h / range_m).mean(), rel=tolerance)
    rough = disk_effective_samples(lambda r: matern32(r / range_m), 100.0)
    assert rough < exact < 2.0 * rough


@pytest.mark.independent
def test_the_wrong_limits_are_both_wrong():
    """Errors taken as wholly shared, or as independent from cell to cell, bracket the truth from far away."""
    noise = Noise(0.0, ((0.003, 2.0),), 0.0, 0.0, 0.0, 0.0)
    cells = np.ones((100, 100), bool)
    found = effective_samples(cells, noise, 0.1)
    assert 1.5 < found < 30 < cells.sum() / 100
