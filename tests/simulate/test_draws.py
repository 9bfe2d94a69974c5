"""Random fields: their correlation against the Matern form by Bessel functions, and what they do not depend on."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator
from scipy.special import gamma, kv

from pipeline.simulate import draws

BOX = (507000.0, 175000.0, 507030.0, 175024.0)


def bessel_matern(h: np.ndarray, range_m: float, nu: float = 1.5) -> np.ndarray:
    """The Matern correlation in its general form, 2^(1-nu)/gamma(nu) a^nu K_nu(a), a = sqrt(2 nu) h / l."""
    a = np.sqrt(2 * nu) * np.asarray(h, float) / range_m
    return np.where(a > 0, 2 ** (1 - nu) / gamma(nu) * np.maximum(a, 1e-12) ** nu * kv(nu, np.maximum(a, 1e-12)), 1.0)


@pytest.mark.independent  # Matern by scipy's Bessel functions; Rasmussen & Williams 2006, 4.14 (from memory)
def test_the_closed_form_is_the_matern_correlation_of_order_three_halves():
    h = np.linspace(0, 5, 60)
    assert draws.matern32(h, 1.3) == pytest.approx(bessel_matern(h, 1.3), abs=1e-12)


@pytest.mark.independent  # the same Bessel form, against a variogram counted from points
@pytest.mark.parametrize("sd, range_m", [(0.003, 0.15), (0.002, 1.0), (0.0035, 1.5)])
def test_the_variogram_of_drawn_noise_is_the_declared_one(sd, range_m):
    size = 60 * range_m
    fields = [draws.lattice(draws.rng(k, "noise"), (0, 0, size, size), sd, range_m) for k in range(6)]
    step = fields[0].step_m * 1.01
    points = np.random.default_rng(3).uniform(2 * range_m, size - 2 * range_m, (2, 60_000))
    for lag in np.array([0.25, 0.5, 1.0, 2.0]) * range_m:
        steps = [f.at(*points) - f.at(points[0] + lag, points[1]) for f in fields]
        wanted = sd**2 * (1 - bessel_matern(lag, range_m))
        loss = 0.20 if lag < step else 0.12  # within one step of the lattice the surface is straight
        assert np.mean(np.square(steps)) / 2 == pytest.approx(wanted, rel=loss)


@pytest.mark.analytic
def test_between_nodes_a_lattice_reproduces_every_bilinear_surface():
    y, x = np.mgrid[0:9, 0:12] * 0.5
    made = draws.Lattice(100.0, 200.0, 0.5, 3.0 + 2.0 * x - 1.5 * y + 0.25 * x * y)
    px, py = np.random.default_rng(1).uniform(0.0, 3.99, (2, 500))
    assert made.at(100 + px, 200 + py) == pytest.approx(3.0 + 2.0 * px - 1.5 * py + 0.25 * px * py, abs=1e-5)


@pytest.mark.independent  # scipy's interpolator, a readable twin of the kernel
def test_reading_a_lattice_agrees_with_a_general_interpolator():
    made = draws.lattice(draws.rng(1, "a"), BOX, 1.0, 2.0)
    ny, nx = made.values.shape
    nodes = BOX[1] + np.arange(ny) * made.step_m, BOX[0] + np.arange(nx) * made.step_m
    twin = RegularGridInterpolator(nodes, made.values)
    x, y = np.random.default_rng(2).uniform([[BOX[0]], [BOX[1]]], [[BOX[2]], [BOX[3]]], (2, 2000))
    assert made.at(x, y) == pytest.approx(twin(np.column_stack([y, x])), abs=1e-6)


@pytest.mark.analytic
def test_a_closed_line_ends_as_it_begins_and_an_open_one_has_the_asked_nodes():
    closed = draws.line(draws.rng(1, "c"), 10.03, True, 1.0, 2.0, 0.1)
    assert closed[0] == closed[-1] and len(closed) == 102
    assert len(draws.line(draws.rng(1, "o"), 10.0, False, 1.0, 2.0, 0.1)) == 101


@pytest.mark.independent
def test_values_along_a_line_have_the_declared_spread_and_correlation():
    many = np.array([draws.line(draws.rng(k, "l"), 40.0, False, 2.0, 3.0, 0.25) for k in range(120)])
    assert many.std() == pytest.approx(2.0, rel=0.05)
    product = np.mean(many[:, :-12] * many[:, 12:]) / 4.0
    assert product == pytest.approx(float(bessel_matern(3.0, 3.0)), abs=0.05)


@pytest.mark.invariant
def test_a_draw_depends_on_its_words_and_on_no_other_draw():
    first = draws.rng(9, "field", "survey").standard_normal(5)
    draws.rng(9, "field", "another").standard_normal(100)
    assert np.array_equal(first, draws.rng(9, "field", "survey").standard_normal(5))
    assert not np.array_equal(first, draws.rng(9, "field", "surve", "y").standard_normal(5))
    assert not np.array_equal(first, draws.rng(10, "field", "survey").standard_normal(5))


@pytest.mark.frozen  # the demo's clouds hang on these numbers
def test_the_generator_behind_every_draw_has_not_moved():
    drawn = draws.rng(46316, "heron", "white").integers(0, 2**32, 4).tolist()
    assert drawn == [3738228779, 3297994689, 4275224369, 3972143801]
