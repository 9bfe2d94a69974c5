"""Weighted sums of cells whose errors hang together, and fields that hang together so."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate

from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, ROVER, Noise
from pipeline.survey.stable.correlated import cell_covariance, error_fields, linear_covariance, linear_variance, spread

CELL = 0.1


def noise(*parts: tuple[float, float], white: float = 0.0) -> Noise:
    return Noise(white, tuple(parts), 0.0, 0.0, 0.0, 0.0)


def holes(shape, rng) -> np.ndarray:
    """Random weights with holes in them."""
    return rng.standard_normal(shape) * (rng.random(shape) > 0.3)


@pytest.mark.analytic
def test_white_noise_alone_adds_as_squares():
    w = np.array([[0.5, 0.25, 0.0], [0.0, 0.25, -1.0]])
    white = np.array([[1.0, 2.0, 9.0], [9.0, 4.0, 3.0]]) * 1e-3
    expected = (0.25 * 1 + 0.0625 * 4 + 0.0625 * 16 + 9) * 1e-6
    assert linear_variance(w, noise(), CELL, white) == pytest.approx(expected, rel=1e-12)
    assert linear_variance(w, noise(white=2e-3), CELL) == pytest.approx((w**2).sum() * 4e-6, rel=1e-12)


@pytest.mark.analytic
def test_the_difference_of_two_cells_shows_their_distance():
    w = np.zeros((6, 9))
    w[1, 2], w[5, 5] = 1.0, -1.0
    a = np.sqrt(3) * 0.5 / 4.0  # 4 rows and 3 columns of 0.1 m apart
    expected = 2 * 0.003**2 * (1 - (1 + a) * np.exp(-a))
    assert linear_variance(w, noise((0.003, 4.0)), CELL) == pytest.approx(expected, rel=1e-9)


@pytest.mark.analytic
def test_a_range_far_beyond_the_zone_averages_to_nothing_less():
    w = np.full((20, 30), 1 / 600)
    assert linear_variance(w, noise((0.005, 5000.0)), CELL) == pytest.approx(0.005**2, rel=1e-6)


@pytest.mark.analytic
def test_a_part_shorter_than_the_cell_is_averaged_inside_it():
    quarter = cell_covariance(noise((1.0, 0.15)), 0.5, np.arange(3), np.arange(3))
    area = 2 * np.pi * 0.15**2  # integral of Matern 3/2 over the plane, 2 pi l^2
    assert 0.2 < quarter[0, 0] < 0.4
    total = quarter[0, 0] + 2 * quarter[0, 1:].sum() + 2 * quarter[1:, 0].sum() + 4 * quarter[1:, 1:].sum()
    assert total == pytest.approx(area / 0.5**2, rel=0.03)  # nothing is lost: the neighbours share the rest


@pytest.mark.analytic
def test_fields_have_the_variance_that_is_asked_of_any_sum():
    model, rng = noise((0.003, 0.15), (0.002, 1.0), (0.003, 3.0)), np.random.default_rng(3)
    fields = error_fields(model, (40, 50), CELL, 1500, rng, 0.002)
    for w in (np.full((40, 50), 1 / 2000), holes((40, 50), rng), np.eye(40, 50) / 40):
        ratio = np.tensordot(fields, w, axes=2).var() / linear_variance(w, model, CELL, 0.002)
        assert ratio == pytest.approx(1, abs=4 * np.sqrt(2 / 1500))


@pytest.mark.analytic
def test_fields_of_a_range_longer_than_the_grid_do_not_meet_at_its_ends():
    fields = error_fields(ROVER, (10, 20), 0.5, 1500, np.random.default_rng(4), 0.0)
    across = fields[:, 5, 0] - fields[:, 5, 19]
    a = np.sqrt(3) * 9.5 / 15.0
    assert across.var() == pytest.approx(2 * 0.005**2 * (1 - (1 + a) * np.exp(-a)), rel=0.15)
    assert abs(fields.mean()) < 4 * 0.005 / np.sqrt(1500)


@pytest.mark.invariant
def test_the_first_fields_do_not_depend_on_how_many_are_wanted():
    one, five = (error_fields(GOOD_PHOTOGRAMMETRY, (12, 17), CELL, k, np.random.default_rng(5)) for k in (1, 5))
    np.testing.assert_array_equal(one[0], five[0])
    again = error_fields(GOOD_PHOTOGRAMMETRY, (12, 17), CELL, 5, np.random.default_rng(5))
    np.testing.assert_array_equal(five, again)
    assert len({f.tobytes() for f in five}) == 5


@pytest.mark.invariant
def test_unmeasured_cells_have_no_error_of_their_own():
    white = np.full((6, 7), 0.004)
    white[2, 3] = np.nan
    fields = error_fields(noise(), (6, 7), CELL, 3, np.random.default_rng(6), white)
    assert not fields[:, 2, 3].any()
    assert np.count_nonzero(fields) == 3 * 41


@pytest.mark.invariant
def test_where_the_weights_stand_and_which_way_they_lie_does_not_matter():
    rng = np.random.default_rng(7)
    w = holes((11, 14), rng)
    moved = np.zeros((40, 60))
    moved[23:34, 31:45] = w
    here = linear_variance(w, GOOD_PHOTOGRAMMETRY, CELL)
    assert linear_variance(moved, GOOD_PHOTOGRAMMETRY, CELL) == pytest.approx(here, rel=1e-10)
    assert linear_variance(w.T[::-1], GOOD_PHOTOGRAMMETRY, CELL) == pytest.approx(here, rel=1e-10)
    assert linear_variance(-3 * w, GOOD_PHOTOGRAMMETRY, CELL) == pytest.approx(9 * here, rel=1e-10)


@pytest.mark.invariant
def test_covariances_agree_with_the_variance_of_the_sum():
    rng = np.random.default_rng(8)
    a, b = holes((15, 20), rng), holes((15, 20), rng)
    c = linear_covariance([a, b], GOOD_PHOTOGRAMMETRY, CELL)
    assert linear_variance(a + b, GOOD_PHOTOGRAMMETRY, CELL) == pytest.approx(c.sum(), rel=1e-10)
    assert c[0, 1] == c[1, 0]
    assert not linear_covariance(np.zeros((2, 4, 4)), GOOD_PHOTOGRAMMETRY, CELL).any()


@pytest.mark.invariant
def test_a_weight_on_what_was_not_measured_is_an_error():
    w, white = np.ones((3, 3)), np.full((3, 3), 0.004)
    white[1, 1] = np.nan
    with pytest.raises(ValueError, match="nothing was measured"):
        linear_variance(w, noise(), CELL, white)
    w[1, 1] = 0
    assert linear_variance(w, noise(), CELL, white) == pytest.approx(8 * 16e-6)
    w[0, 0] = np.nan
    with pytest.raises(ValueError, match="not a finite number"):
        linear_variance(w, noise(), CELL, 0.0)


@pytest.mark.independent
def test_the_transform_equals_the_double_sum_over_all_pairs_of_cells():
    rng = np.random.default_rng(9)
    w = holes((13, 18), rng)
    parts = ((0.002, 1.0), (0.003, 8.0))
    y, x = (v.ravel() * CELL for v in np.mgrid[:13, :18])
    h = np.hypot(y[:, None] - y, x[:, None] - x)
    c = sum(s**2 * (1 + 3**0.5 * h / r) * np.exp(-(3**0.5) * h / r) for s, r in parts)
    expected = w.ravel() @ c @ w.ravel() + (w**2).sum() * 0.004**2
    assert linear_variance(w, noise(*parts, white=0.004), CELL) == pytest.approx(expected, rel=1e-10)
    np.testing.assert_allclose(spread([w], noise(*parts), CELL)[0].ravel(), c @ w.ravel(), atol=1e-15)


@pytest.mark.independent
def test_the_average_over_a_cell_equals_quadrature():
    """Mean covariance of two random places of one square cell: density 4 (1 - u)(1 - v) of their offsets."""
    for range_m, cell_m in ((0.15, 0.1), (0.15, 0.5), (0.4, 0.25)):

        def weighted(u, v):
            a = 3**0.5 * cell_m * np.hypot(u, v) / range_m
            return 4 * (1 - u) * (1 - v) * (1 + a) * np.exp(-a)

        expected, _ = integrate.dblquad(weighted, 0, 1, 0, 1)
        found = cell_covariance(noise((1.0, range_m)), cell_m, np.zeros(1), np.zeros(1)).item()
        assert found == pytest.approx(expected, rel=0.06 if cell_m > 2 * range_m else 0.02)


@pytest.mark.independent
def test_the_mean_over_a_square_equals_quadrature():
    """Var of the mean of a 12 m square under a part of 8 m range, by adaptive quadrature (scipy)."""

    def weighted(u, v):
        a = 3**0.5 * 12.0 * np.hypot(u, v) / 8.0
        return 4 * (1 - u) * (1 - v) * (1 + a) * np.exp(-a)

    expected, _ = integrate.dblquad(weighted, 0, 1, 0, 1)
    w = np.full((60, 60), 1 / 3600)
    assert linear_variance(w, noise((1.0, 8.0)), 0.2) == pytest.approx(expected, rel=2e-3)
