"""A plane through scattered heights."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from pipeline.survey.plane import fit_plane


def scattered(n: int, rng: np.random.Generator, sigma: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    x, y = rng.uniform(0, 30, n), rng.uniform(0, 40, n)
    return x, y, 100 + 0.01 * x - 0.02 * y + sigma * rng.standard_normal(n)


@pytest.mark.analytic
@pytest.mark.parametrize("robust", [None, "huber", "tukey"])
def test_an_exact_plane_comes_back_exactly(robust):
    plane = fit_plane(*scattered(50, np.random.default_rng(0)), robust=robust)
    np.testing.assert_allclose(plane.coefficients, (100, 0.01, -0.02), atol=1e-9)
    assert plane.sigma < 1e-9
    assert plane.at(3.0, 4.0) == pytest.approx(100 + 0.03 - 0.08, abs=1e-9)
    assert plane.slope == pytest.approx(np.hypot(0.01, 0.02), abs=1e-9)


@pytest.mark.analytic
@pytest.mark.parametrize("robust", [None, "huber", "tukey"])
def test_the_stated_s_d_is_the_scatter_of_repeated_fits(robust):
    rng = np.random.default_rng(1)
    fits = [fit_plane(*scattered(80, rng, 0.004), robust=robust) for _ in range(300)]
    for name, truth in (("b", 0.01), ("c", -0.02)):
        at = "abc".index(name)
        score = [(getattr(p, name) - truth) / p.standard_errors[at] for p in fits]
        assert np.std(score) == pytest.approx(1, abs=0.17)
    height = [(p.at(15, 20) - (100 + 0.15 - 0.4)) / p.sigma_at(15, 20) for p in fits]
    assert np.std(height) == pytest.approx(1, abs=0.17)


@pytest.mark.analytic
def test_a_fifth_of_the_points_on_a_bench_does_not_move_tukeys_plane():
    rng = np.random.default_rng(2)
    x, y, z = scattered(400, rng, 0.004)
    z[x > 24] += 0.45
    assert fit_plane(x, y, z, robust="tukey").at(15, 20) == pytest.approx(99.75, abs=0.002)
    assert abs(fit_plane(x, y, z).at(15, 20) - 99.75) > 0.05


@pytest.mark.analytic
def test_too_few_points_or_a_line_of_them_are_refused():
    with pytest.raises(ValueError, match="three points, found 2"):
        fit_plane([0, 1, 2], [0, 1, 0], [5, np.nan, 5])
    with pytest.raises(ValueError, match="one line"):
        fit_plane([0, 1, 2, 3], [0, 1, 2, 3], [5, 6, 7, 8])
    with pytest.raises(ValueError, match="'huber' or 'tukey'"):
        fit_plane([0, 1, 0, 1], [0, 0, 1, 1], [5, 6, 7, 8], robust="median")


@pytest.mark.invariant
@pytest.mark.parametrize("robust", [None, "huber", "tukey"])
def test_neither_a_shift_of_two_million_metres_nor_the_order_changes_the_slope(robust):
    rng = np.random.default_rng(3)
    x, y, z = scattered(60, rng, 0.004)
    mixed = rng.permutation(60)
    here = fit_plane(x, y, z, robust=robust)
    far = fit_plane(x[mixed] + 2e6, y[mixed] + 2e6, z[mixed] + 1600, robust=robust)
    np.testing.assert_allclose((far.b, far.c), (here.b, here.c), atol=1e-10)
    np.testing.assert_allclose(far.covariance, here.covariance, rtol=1e-5, atol=1e-14)


@pytest.mark.invariant
def test_a_point_of_weight_two_counts_as_two_points():
    x, y, z = scattered(20, np.random.default_rng(4), 0.004)
    twice = fit_plane(np.append(x, x[3]), np.append(y, y[3]), np.append(z, z[3]))
    weighted = fit_plane(x, y, z, weights=np.where(np.arange(20) == 3, 2.0, 1.0))
    np.testing.assert_allclose(weighted.coefficients, twice.coefficients, rtol=1e-10)


@pytest.mark.independent
@pytest.mark.parametrize("robust, norm", [
    ("huber", sm.robust.norms.HuberT()), ("tukey", sm.robust.norms.TukeyBiweight()),
])  # fmt: skip
def test_robust_planes_equal_the_statistics_packages(robust, norm):
    """statsmodels RLM with the scale from the median absolute residual, iterated to 1e-12."""
    rng = np.random.default_rng(5)
    x, y, z = scattered(70, rng, 0.004)
    z[:7] += rng.uniform(0.02, 0.3, 7)
    theirs = sm.RLM(z - 100, np.column_stack([np.ones(70), x, y]), M=norm).fit(maxiter=200, tol=1e-12)
    ours = fit_plane(x, y, z, robust=robust)
    np.testing.assert_allclose(ours.coefficients, theirs.params + [100, 0, 0], atol=1e-8)
    np.testing.assert_allclose(ours.standard_errors, theirs.bse, rtol=1e-5)
    assert ours.sigma == pytest.approx(theirs.scale, rel=1e-6)


@pytest.mark.independent
def test_a_weighted_plane_equals_the_statistics_packages():
    rng = np.random.default_rng(6)
    x, y, z = scattered(40, rng, 0.004)
    w = rng.uniform(0.2, 3, 40)
    theirs = sm.WLS(z, np.column_stack([np.ones(40), x, y]), weights=w).fit()
    ours = fit_plane(x, y, z, weights=w)
    np.testing.assert_allclose(ours.coefficients, theirs.params, rtol=1e-9)
    np.testing.assert_allclose(ours.standard_errors, theirs.bse, rtol=1e-8)
