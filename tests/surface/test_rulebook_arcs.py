"""Circles through measured edges: against a printed fit, another optimiser, known circles and the grass of a scene."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.optimize import least_squares
from shapely.affinity import translate
from support.edge_scene import INSTRUMENTS, Options, Scene, single_arc
from support.random_ground import random_line

from pipeline.diamond.axes import Axes
from pipeline.surface.rulebook_arcs import MeasuredLine, arc_items, circle_radius, fit_circle, line_from_table, measured_line
from pipeline.survey.edges.edge_fit import fit_edge
from pipeline.survey.edges.edge_table import edge_table
from pipeline.units import feet


def along(radius: float, sweep_deg: float, off=0.0, sigma: float = 0.012, about=(0.0, 0.0), middle_deg: float = 0.0) -> MeasuredLine:
    """A line about a circle; `off` is how far it leaves it."""
    s = np.arange(0.25, np.radians(sweep_deg) * radius, 0.5)
    a = s / radius - np.radians(sweep_deg) / 2 + np.radians(middle_deg)
    r = radius + (off(s) if callable(off) else off)
    return MeasuredLine("outer", s, about[0] + r * np.sin(a), about[1] + r * np.cos(a), np.full(s.shape, sigma))


@pytest.mark.independent
def test_the_circle_of_a_printed_example():
    """Gander, Golub & Strebel 1994, six points (from memory): centre 4.7398, 2.9835, radius 4.7142; each taken twice."""
    x, y = np.repeat([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]], 2, axis=0).T.astype(float)
    found = fit_circle(MeasuredLine("outer", np.arange(12.0), x, y, np.full(12, 50.0)))
    assert (found.e, found.n, found.radius_m) == approx((4.7398, 2.9835, 4.7142), abs=1e-4)


@pytest.mark.independent
def test_without_outliers_it_is_scipys_least_squares():
    rng = np.random.default_rng(21)
    line = along(20.0, 110, lambda s: 0.01 * np.clip(rng.standard_normal(len(s)), -1, 1), 0.02, (507000, 175000))
    off = lambda p: np.hypot(line.e - 507000 - p[0], line.n - 175000 - p[1]) - p[2]  # noqa: E731
    best = least_squares(off, [1, 1, 15], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    found = fit_circle(line)
    assert (found.e - 507000, found.n - 175000, found.radius_m) == approx(tuple(best.x), abs=1e-5)


@pytest.mark.analytic
@pytest.mark.parametrize("sweep", [45, 90, 200, 350])
def test_an_exact_circle_is_found_exactly_anywhere(sweep):
    found = fit_circle(along(feet(95), sweep, about=(507000.0, 4175000.0), middle_deg=77))
    assert (found.e, found.n, found.radius_m) == approx((507000.0, 4175000.0, feet(95)), abs=1e-6)
    assert found.chi2 == approx(0, abs=1e-6) and found.wander_m == 0.0
    assert found.sweep_deg == approx(sweep, abs=2)


@pytest.mark.invariant
def test_a_bite_out_of_the_edge_moves_the_circle_little():
    bitten = fit_circle(along(20.0, 120, lambda s: -0.4 * (np.abs(s - 12) < 1.5)))
    assert bitten.radius_m == approx(20.0, abs=0.04)
    assert np.hypot(bitten.e, bitten.n) < 0.06


@pytest.mark.invariant
def test_too_short_or_too_straight_a_line_has_no_circle():
    assert fit_circle(along(20.0, 30)) is None
    assert fit_circle(along(20.0, 16)) is None
    s = np.arange(30.0)
    assert fit_circle(MeasuredLine("outer", s, s, 0 * s, np.full(30, 0.01))) is None
    assert np.isnan(circle_radius(None, "home circle").value_m)


@pytest.mark.invariant
@pytest.mark.parametrize(("at_ft", "words"), [(46.0, "front of the pitcher's plate"), (44.5, "mound's centre"), (46.5, "back edge"), (40.0, "short of")])
def test_the_practice_that_the_centre_agrees_with_is_named(at_ft, words):
    line = along(feet(50), 150, sigma=0.003, about=(0.0, feet(at_ft)))
    found = arc_items(line, Axes(0, 0, 0), feet(46), 0.0)
    assert found["arc-centre-from-home"].value_m == approx(feet(at_ft), abs=1e-6)
    assert found["arc-centre-aside"].value_m == approx(0, abs=1e-6)
    assert words in found["arc-centre-from-home"].reason


@pytest.mark.independent
@pytest.mark.parametrize(("wander", "seed"), [(0.025, 31), (0.0, 32)])
def test_centre_and_radius_lie_within_their_sigma_as_often_as_they_should(wander, seed):
    """150 laid edges that wander by so much over 3 m, seen with 12 mm over 1.5 m; the wander is made by FFT."""
    rng, z = np.random.default_rng(seed), []
    for _ in range(150):
        track, own = wander * random_line(rng, 460, 3.0), 0.012 * random_line(rng, 460, 1.7)
        found = fit_circle(along(20.0, 110, lambda s: np.interp(s, np.arange(460) * 0.1, track + own)))
        z.append(np.array([found.e, found.n, found.radius_m - 20.0]) / np.sqrt(np.diag(found.covariance)))
    cover = (np.abs(z) < 1.96).mean()
    assert 0.90 <= cover <= (0.985 if wander else 1.0)


@pytest.mark.independent
@pytest.mark.parametrize("name", ["good", "weak", "lidar"])
def test_the_arc_of_a_scene_is_found_from_its_grass(name):
    """The scene's circle is a closed form; the layout's arc is handed in 0.25 m off."""
    scene = Scene(41, INSTRUMENTS[name], single_arc(20, 36), options=Options(horizontal=False))
    true = scene.true_edge("outer")
    given = replace(true, line=translate(true.line, 0.20, 0.15), source="layout")
    ground = scene.survey(0)
    fit = fit_edge(ground, given)
    found = fit_circle(measured_line(given, fit))
    again = fit_circle(line_from_table(fit.edge, edge_table(ground, fit.edge)))
    assert (again.e, again.n, again.radius_m) == approx((found.e, found.n, found.radius_m), abs=0.02)
    sd = np.sqrt(np.diag(found.covariance))
    assert np.abs([found.e, found.n, found.radius_m - 20.0]) == approx(0, abs=0.12)
    assert (np.abs([found.e, found.n, found.radius_m - 20.0]) < 3 * sd).all()
    assert sd[2] < 0.06
