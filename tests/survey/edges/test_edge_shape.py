from __future__ import annotations

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import quad
from scipy.interpolate import CubicHermiteSpline
from scipy.special import gamma

from pipeline.survey.edges.edge_shape import SHARPNESS, Bump, bump, ramp, smoothstep


@pytest.mark.analytic
def test_cover_is_half_up_four_centimetres_inside_the_grass():
    assert ramp([-0.02, 0.04, 0.10]) == approx([0, 0.5, 1])
    assert ramp([-0.05, 0.075, 0.20], -0.05, 0.25) == approx([0, 0.5, 1])


@pytest.mark.analytic
def test_a_bump_is_one_at_its_crest_and_falls_to_1_over_e_at_its_half_widths():
    shape = Bump(0.1, 0.12, 0.33)
    assert bump([0.1, 0.1 - 0.12, 0.1 + 0.33], shape) == approx([1, np.exp(-1), np.exp(-1)])


@pytest.mark.invariant
def test_a_bump_and_its_mirror_image_agree_when_the_half_widths_are_exchanged():
    x = np.linspace(-0.6, 0.6, 51)
    assert bump(x, Bump(0.0, 0.13, 0.3)) == approx(bump(-x, Bump(0.0, 0.3, 0.13)))


@pytest.mark.invariant
def test_a_moved_bump_is_the_bump_moved():
    d = np.linspace(-0.5, 1.0, 40)
    assert bump(d + 0.2, Bump(0.33, 0.13, 0.3)) == approx(bump(d, Bump(0.13, 0.13, 0.3)))


@pytest.mark.independent
def test_smoothstep_is_the_cubic_with_flat_ends_of_an_interpolation_library():
    hermite = CubicHermiteSpline([0, 1], [0, 1], [0, 0])  # scipy
    t = np.linspace(0, 1, 101)
    assert smoothstep(t) == approx(hermite(t), abs=1e-12)


@pytest.mark.independent
def test_the_area_under_a_bump_is_the_gamma_function_says():
    # integral of exp(-(x/w)^p) from 0 on is w Gamma(1 + 1/p) (Abramowitz & Stegun 6.1.1, from memory)
    area = quad(lambda d: bump(d, Bump(0.13, 0.13, 0.30)), -1, 0.13)[0] + quad(lambda d: bump(d), 0.13, 3)[0]
    assert area == approx((0.13 + 0.30) * gamma(1 + 1 / SHARPNESS), rel=1e-7)
