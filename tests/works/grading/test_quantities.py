"""Volumes, what noise alone shows, mix to buy, money; earthwork against printed examples."""

from __future__ import annotations

from math import isnan, sqrt

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import quad
from scipy.stats import norm

from pipeline.works.grading.quantities import mix_to_buy, money, phantom, seen_through_noise, volumes
from pipeline.works.grading.touch_up import Hollow, touched_up
from pipeline.works.grading.volumes import end_areas, prismoidal, unit_areas


@pytest.mark.independent
def test_the_six_station_example_gives_its_printed_answers():
    """Wikibooks, Fundamentals of Transportation, Earthwork: fill 4087.5, cut 1058.3, net 3029.2 m3."""
    stations = [0, 50, 75, 100, 115, 150]
    fill, cut = end_areas(stations, [60, 50, 25, 5, 0, 0]), end_areas(stations, [0, 0, 0, 10, 15, 30])
    assert (fill, cut, fill - cut) == approx((4087.5, 1058.3, 3029.2), abs=0.05)


@pytest.mark.independent
def test_prismoid_against_average_end_area():
    """A web example: L 100 ft, areas 150, 190, 250 ft2: 716.05 against 740.74 yd3."""
    assert prismoidal(100, 150, 190, 250) / 27 == approx(716.049, abs=1e-3)
    assert end_areas([0, 100], [150, 250]) / 27 == approx(740.74, abs=5e-3)


@pytest.mark.independent
def test_the_railroad_handbooks_cuts():
    """Vose's handbook: base 20 ft, slopes 1.5 : 1, cuts 0, 5, 10, 15, 0 ft every 50 ft: end areas 137, 350, 637 (rounded);
    exact 56,250 ft3 by average ends, 52,500 by prisms."""
    area = lambda h: 20 * h + 1.5 * h * h
    cuts = [0, 5, 10, 15, 0]
    assert [area(h) for h in cuts[1:4]] == approx([137, 350, 637], abs=0.6)
    assert sum(25 * (area(a) + area(b)) for a, b in zip(cuts, cuts[1:])) == approx(56250)
    assert sum(prismoidal(50, area(a), area((a + b) / 2), area(b)) for a, b in zip(cuts, cuts[1:])) == approx(52500)


@pytest.mark.analytic
def test_unit_areas_are_the_sum_of_the_squares_means():
    rng = np.random.default_rng(5)
    h = rng.uniform(0, 2, (6, 8))
    h[0, :3] = np.nan
    squares = np.nanmean([h[:-1, :-1], h[1:, :-1], h[:-1, 1:], h[1:, 1:]], axis=0)
    whole = np.isfinite(h[:-1, :-1] + h[1:, :-1] + h[:-1, 1:] + h[1:, 1:])
    assert unit_areas(h, 4.0) == approx(4.0 * squares[whole].sum())


@pytest.mark.analytic
def test_a_plane_through_the_middle_cuts_as_much_as_it_fills():
    e = np.arange(0.5, 30)
    x, y = (v.ravel() for v in np.meshgrid(e, e))
    z = 0.3 * np.sin(x) + 0.1 * np.cos(0.7 * y) + 0.01 * x
    p = np.linalg.lstsq(np.column_stack([np.ones(x.size), x, y]), z, rcond=None)[0]
    found = volumes(p[0] + p[1] * x + p[2] * y - z, 1.0, 0.003)
    assert found.cut_m3 == approx(found.fill_m3, rel=1e-9) and found.net_m3 == approx(0, abs=1e-9)


@pytest.mark.analytic
@pytest.mark.parametrize("u", [-0.01, 0.0, 0.004, 0.02])
def test_fill_seen_through_noise_is_its_integral(u):
    s = 0.005
    by_quadrature = quad(lambda t: max(u + s * t, 0) * norm.pdf(t), -9, 9, points=[-u / s], limit=200)[0]
    assert seen_through_noise(np.array([u]), s)[0] == approx(by_quadrature, abs=1e-9)


@pytest.mark.analytic
def test_noise_alone_shows_as_much_cut_as_the_formula():
    rng = np.random.default_rng(8)
    s, shape = 0.006, (1200, 1200)
    found = volumes(rng.normal(0, s, shape).ravel(), 0.25, s)
    assert found.cut_m3 == approx(phantom(shape[0] * shape[1] * 0.25, s), rel=5e-3) and phantom(900, 0.01) == approx(0.399 * 9, rel=1e-3)


@pytest.mark.analytic
def test_tonnes_with_their_range_and_the_last_truck_counted_whole():
    mix = mix_to_buy(10.0, 0.5, 1.7, 16.0)
    sigma = sqrt((0.5 * 1.7) ** 2 + (10 * 0.1) ** 2)
    assert (mix.tonnes, mix.high - mix.tonnes, mix.reserve, mix.loads) == approx((17.0, 1.96 * sigma, 1.645 * sigma, 2))
    assert mix_to_buy(0.0, 0.0, 1.7, 16.0).loads == 0


@pytest.mark.invariant
def test_without_a_density_or_a_price_there_is_no_figure_and_a_reason():
    assert isnan(mix_to_buy(1.0, 0.1, None, 16.0).tonnes) and "placed_t_per_m3" in mix_to_buy(1.0, 0.1, None, 16.0).reason
    found = money(3.0, {"mix_per_t": (float("nan"), 5.0)}, None)
    assert isnan(found.low) and found.reason == "no figure: hour, mix_per_t"
    assert money(2.0, {"mix_per_t": (10.0, 12.0)}, 34.0).low == 78.0


@pytest.mark.analytic
def test_a_cone_shaped_hollow_on_a_slope_is_filled_to_the_slope_and_nothing_else_moves():
    step = 0.05
    e, n = np.meshgrid(np.arange(-4, 4, step), np.arange(4, -4, -step))
    slope = 0.01 * e - 0.004 * n
    z = slope - np.maximum(0.04 * (1 - np.hypot(e, n)), 0)
    out, left = touched_up(z, e, n, np.ones(z.shape, bool), [Hollow("second", 0.0, 0.0, 1.5, 1.5, 2.7)])
    assert not left and (out - z).sum() * step**2 == approx(np.pi * 0.04 / 3, rel=5e-3)
    assert np.abs(out - slope)[np.hypot(e, n) < 1.4].max() < 1e-9 and (out == z)[np.hypot(e, n) > 1.6].all()


@pytest.mark.invariant
def test_a_hollow_with_no_sound_ground_around_is_left_and_named():
    e, n = np.meshgrid(np.arange(-4, 4, 0.1), np.arange(4, -4, -0.1))
    out, left = touched_up(0 * e, e, n, np.hypot(e, n) < 1.0, [Hollow("first", 0.0, 0.0, 1.5, 1.5, 2.7)])
    assert left == ("first",) and (out == 0).all()
