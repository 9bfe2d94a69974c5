"""Two surveys that saw different parts of the same rolling ground, and the covariance behind what each says of the whole."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from support.flat_field import no_error, plane, square

from pipeline.surface.evenness import BlockNoise, planarity
from pipeline.surface.slope import slope_of, zone_plane
from pipeline.surface.unseen import covariance, kernel

GRID = square(20.0, 0.5)
EXACT, NONE = no_error(GRID)
ALL = np.ones(GRID.shape, bool)


def rolling(rng: np.random.Generator, reach_m: float = 1.5, sd: float = 0.02) -> np.ndarray:
    field = gaussian_filter(rng.normal(0, 1, np.add(GRID.shape, 40)), reach_m / GRID.cell_m)[20:-20, 20:-20]
    return plane(GRID, 0.01, 0.005) + sd * field / field.std()


@pytest.mark.independent  # numpy: the double sum over all pairs of cells
def test_covariance_of_weighted_sums_is_the_double_sum():
    rng = np.random.default_rng(1)
    values = rng.normal(0, 1, (6, 9))
    values[2, 3:6] = np.nan
    by_lag = kernel(values - np.nanmean(values))
    by_lag[5, 8] = 2.0
    weights = rng.normal(0, 1, (2, 6, 9))
    row, col = (v.ravel() for v in np.mgrid[:6, :9])
    c = by_lag[row[:, None] - row + 5, col[:, None] - col + 8]
    flat = weights.reshape(2, -1)
    np.testing.assert_allclose(covariance(weights, by_lag), flat @ c @ flat.T, rtol=1e-9, atol=1e-12)


@pytest.mark.independent  # numpy: products of neighbours
def test_the_kernel_is_the_seen_values_own_autocovariance():
    values = rolling(np.random.default_rng(2)) - plane(GRID, 0.01, 0.005)
    values -= values.mean()
    values[5:9, 12:30] = np.nan
    by_lag, (ny, nx) = kernel(values), GRID.shape
    one_away = [values[:, 1:] * values[:, :-1], values[1:] * values[:-1], values[1:, 1:] * values[:-1, :-1], values[1:, :-1] * values[:-1, 1:]]
    beside = np.nanmean(np.concatenate([v.ravel() for v in one_away]))
    assert by_lag[ny - 1, nx] / by_lag[ny - 1, nx - 1] == pytest.approx(beside / np.nanmean(values**2), rel=1e-9)
    assert 1.0 < by_lag[ny - 1, nx - 1] / np.nanmean(values**2) < 1.2  # what taking the mean off took with it
    assert by_lag[0, 0] == 0.0


@pytest.mark.invariant
def test_a_zone_that_was_wholly_seen_hides_nothing():
    found = zone_plane(rolling(np.random.default_rng(3)), NONE, GRID, ALL)
    assert not found.unseen.any() and (found.hidden() == 0).all()


@pytest.mark.invariant
def test_intervals_hold_the_whole_zones_figures_where_a_fifth_was_not_seen():
    """Two swaths on a road stood 7 s.d. apart in planarity and 3 in slope before this was counted; no noise here at all."""
    rng = np.random.default_rng(4)
    noise = BlockNoise.draw(EXACT, zone_plane(plane(GRID), NONE, GRID, ALL).blocks.grid, 8, rng)
    flat, fall = [], []
    for _ in range(60):
        z = rolling(rng, 1.0)
        whole = zone_plane(z, NONE, GRID, ALL)
        gap = z.copy()
        r, c = rng.integers(0, 26, 2)
        gap[r : r + 14, c : c + 22] = np.nan
        part = zone_plane(gap, NONE, GRID, ALL)
        assert 0.1 < part.unseen.mean() < 0.25
        said, true = planarity(part, noise), planarity(whole, noise).value_m
        flat.append((said.value_m - true) / said.sigma_m)
        slope = slope_of(part, EXACT)
        fall.append((slope.slope - whole.plane.slope) / slope.slope_sigma)
    for units in (flat, fall):
        assert 0.8 < np.sqrt(np.mean(np.square(units))) < 1.5  # the part that was not seen need not be as the rest
        assert np.mean(np.abs(units) > 1.96) < 0.15
