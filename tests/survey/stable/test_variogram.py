"""The variogram by FFT is the variogram."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.survey.stable.variogram import binned, lag_sums


def holed(shape, rng) -> np.ndarray:
    z = rng.standard_normal(shape) + 100
    z[rng.random(shape) < 0.3] = np.nan
    return z


def twin(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same sums pair by pair."""
    ny, nx = z.shape
    pairs, half = np.zeros((2 * ny - 1, 2 * nx - 1)), np.zeros((2 * ny - 1, 2 * nx - 1))
    seen = np.argwhere(np.isfinite(z))
    for i, j in seen:
        for k, m in seen:
            pairs[k - i + ny - 1, m - j + nx - 1] += 1
            half[k - i + ny - 1, m - j + nx - 1] += (z[k, m] - z[i, j]) ** 2 / 2
    return pairs, half


@pytest.mark.analytic
def test_a_plane_has_a_quadratic_variogram():
    y, x = np.mgrid[:9, :12] * 0.5
    pairs, half = lag_sums(0.02 * x - 0.01 * y)
    dy, dx = np.arange(-8, 9)[:, None] * 0.5, np.arange(-11, 12) * 0.5
    np.testing.assert_allclose(half / pairs, (0.02 * dx - 0.01 * dy) ** 2 / 2, atol=1e-12)


@pytest.mark.analytic
def test_white_noise_has_a_flat_variogram():
    z = 0.004 * np.random.default_rng(0).standard_normal((150, 160))
    found, _, _ = binned(z, 0.1, 7.0)
    assert found.gamma_m2 == pytest.approx(16e-6, rel=0.04)


@pytest.mark.invariant
def test_a_constant_a_turn_and_a_mirror_change_nothing():
    z = holed((14, 19), np.random.default_rng(1))
    here = binned(z, 0.1, 0.8)[0]
    for other in (z + 500, z.T, z[::-1, ::-1]):
        there = binned(other, 0.1, 0.8)[0]
        np.testing.assert_allclose(there.gamma_m2, here.gamma_m2, rtol=1e-9)
        np.testing.assert_array_equal(there.pairs, here.pairs)


@pytest.mark.invariant
def test_every_pair_within_reach_is_counted_once_each_way():
    z = holed((10, 11), np.random.default_rng(2))
    found, bin_of, pairs = binned(z, 1.0, 20.0)
    n = np.isfinite(z).sum()
    assert pairs.sum() == n * n
    assert found.pairs.sum() == n * (n - 1)
    assert (np.diff(found.distance_m) > 0).all()
    assert bin_of[9, 10] == -1  # a cell with itself


@pytest.mark.independent
def test_the_transform_equals_the_sum_over_all_pairs():
    z = holed((11, 13), np.random.default_rng(3))
    pairs, half = lag_sums(z)
    slow_pairs, slow_half = twin(z)
    np.testing.assert_array_equal(pairs, slow_pairs)
    np.testing.assert_allclose(half, slow_half, atol=1e-12)
