"""Cells that scatter unlike the ground around them: believed as far as all cells together tell that there are such."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from support.gridding_scene import square_grid, unscreened

from pipeline.survey.cells.scatter import ALIKE, above_common, own_scatter, scatter_freedom

COUNT = 20_000


def cells(nu: float | None, points: int, seed: int = 1):
    """True variance of each cell, the sample variance of its points, points, and the common scatter as a median gives it."""
    rng = np.random.default_rng(seed)
    true = np.full((1, COUNT), 4.0) if nu is None else 4.0 * nu / rng.chisquare(nu, (1, COUNT))
    sample = true * rng.chisquare(points - 1, true.shape) / (points - 1)
    around = np.full(true.shape, np.median(sample) / (stats.chi2.median(points - 1) / (points - 1)))
    return true, sample, np.full(true.shape, points, np.uint32), around


@pytest.mark.independent  # scipy.stats: medians of F and of chi-square
@pytest.mark.parametrize("nu", [5.0, 12.0, 200.0])
def test_a_median_over_unlike_cells_stands_above_the_common_variance(nu):
    freedom = np.array([2.0, 3.0, 9.0, 40.0])
    right = stats.f.median(freedom, nu) / (stats.chi2.median(freedom) / freedom)
    np.testing.assert_allclose(above_common(freedom, nu), right, rtol=1e-9)


@pytest.mark.analytic
@pytest.mark.parametrize("points", [4, 16])
@pytest.mark.parametrize("nu", [6.0, 15.0])
def test_the_freedom_is_found_that_the_cells_were_drawn_with(nu, points):
    _, sample, count, around = cells(nu, points)
    assert scatter_freedom(sample, count, around, np.ones(sample.shape, bool)) == pytest.approx(nu, rel=0.2)


@pytest.mark.analytic
@pytest.mark.parametrize("points", [4, 16])
def test_where_all_cells_scatter_alike_none_is_believed_to_differ(points):
    _, sample, count, around = cells(None, points)
    nu = scatter_freedom(sample, count, around, np.ones(sample.shape, bool))
    assert nu > 100.0
    np.testing.assert_allclose(own_scatter(sample, count, around, ALIKE), around)
    assert scatter_freedom(sample, count, around, np.zeros(sample.shape, bool)) == ALIKE


@pytest.mark.analytic
@pytest.mark.parametrize("points", [4, 16])
def test_what_is_said_of_a_cell_is_right_on_the_quietest_and_on_the_roughest(points):
    """Said alike of all cells, the roughest twentieth of them would be told at half their variance or less."""
    true, sample, count, around = cells(6.0, points)
    said = own_scatter(sample, count, around, scatter_freedom(sample, count, around, np.ones(sample.shape, bool)))
    order = np.argsort(said.ravel())
    for part in (order[: COUNT // 5], order[-COUNT // 20 :]):
        assert true.ravel()[part].mean() == pytest.approx(said.ravel()[part].mean(), rel=0.08)
    assert true.ravel()[order[-COUNT // 20 :]].mean() > 1.7 * around[0, 0]


@pytest.mark.invariant
def test_a_survey_with_tufts_and_gravel_is_honest_about_its_roughest_cells():
    """Every fifth cell scatters four times as far: on the roughest tenth the heights leave the plane by the s.d. they claim."""
    rng = np.random.default_rng(5)
    grid = square_grid(24, 0.4)
    x, y = np.round(rng.uniform(0, 24, (2, 60 * 60 * 9)), 4)
    tufted = rng.random((60, 60)) < 0.2
    sd = np.where(tufted[np.minimum((y / 0.4).astype(int), 59), np.minimum((x / 0.4).astype(int), 59)], 0.032, 0.008)
    found = unscreened(x, y, 100 + 0.01 * x + rng.normal(0, 1, len(x)) * sd, grid, step_m=1e-4)
    e, _ = grid.mesh()
    units = ((found.z - 100 - 0.01 * e) / found.white)[np.isfinite(found.z)]
    claimed = found.white[np.isfinite(found.z)]
    rough = claimed > np.quantile(claimed, 0.9)
    assert np.sqrt(np.mean(units[rough] ** 2)) < 1.35  # 3 and more with one scatter for a whole block
    assert np.sqrt(np.mean(units**2)) < 1.25
