from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from pytest import approx
from skimage.exposure import rescale_intensity
from support.flat_tables import cover_ramp, table_of

from pipeline.survey.edges.edge_cover import cover, own_cover, signal


def flat(s, d):
    return 51 + 0 * s * d


def green(begins=0.0, skin=0.05, turf=0.9):
    return lambda d: skin + (turf - skin) * cover_ramp(d, begins)


@pytest.mark.analytic
def test_cover_is_the_share_of_green_scaled_from_skin_to_turf():
    table = table_of(flat, green=green())
    found = cover([table])
    assert found.share == approx(cover_ramp(table.d), abs=1e-9)
    assert (found.told_by, found.sigma, found.offset_m) == ("colour", 0.08, 0.0)


@pytest.mark.analytic
@pytest.mark.parametrize("begins", [-0.30, -0.10, 0.10, 0.25])
def test_an_edge_drawn_beside_the_grass_tells_by_how_much(begins):
    table = table_of(flat, green=green(begins))
    found = cover([table])
    assert found.offset_m == approx(begins)
    assert found.share == approx(cover_ramp(table.d, begins), abs=1e-9)


@pytest.mark.analytic
def test_without_colour_or_intensity_the_distance_alone_tells_and_says_so():
    table = table_of(flat)
    found = cover([table])
    assert (found.told_by, found.sigma) == ("distance", 0.15)
    assert found.share == approx(0.95 * cover_ramp(table.d))
    assert_array_equal(np.isnan(own_cover(table, found.told_by, 0.0)), True)


@pytest.mark.invariant
def test_brighter_and_darker_turf_tell_the_same_cover_by_intensity():
    bright = table_of(flat, intensity=lambda d: 300 + 500 * cover_ramp(d))
    dark = table_of(flat, intensity=lambda d: 900 - 100 * cover_ramp(d))
    assert cover([bright]).told_by == cover([dark]).told_by == "intensity"
    assert cover([bright]).share == approx(cover([dark]).share)


@pytest.mark.invariant
def test_dormant_turf_and_black_colours_tell_nothing():
    dormant, black = (table_of(flat, green=lambda d, v=v: v + 0 * d) for v in (0.03, 0.0))
    assert signal([dormant])[0] == signal([black])[0] == "distance"
    seen = table_of(flat, green=green())
    assert signal([seen, dormant])[0] == "distance"  # both dates must tell alike


@pytest.mark.invariant
def test_colour_that_changes_from_row_to_row_more_than_across_is_not_believed():
    table = table_of(flat, green=green(skin=0.3, turf=0.6))
    patchy = np.where(np.arange(len(table.s))[:, None] % 2, table.green, 0.9 - table.green)
    assert signal([replace(table, green=patchy)])[0] == "distance"


@pytest.mark.invariant
def test_the_order_of_the_dates_does_not_matter():
    first, second = table_of(flat, green=green()), table_of(flat, green=green(0.02, 0.1, 0.8))
    assert cover([first, second]).share == approx(cover([second, first]).share)


@pytest.mark.independent
def test_scaling_is_that_of_an_image_library():
    # skimage.exposure.rescale_intensity from the two windows' means to 0..1
    rng = np.random.default_rng(1)
    table = table_of(flat, green=lambda d: np.clip(green()(d) + 0.01 * rng.standard_normal(d.shape), 0, 1))
    mean = table.green[table.usable].mean(axis=0)
    skin = mean[(table.d > -0.8) & (table.d < -0.3)].mean()
    turf = mean[(table.d > 0.9) & (table.d < 1.4)].mean()
    theirs = rescale_intensity(np.clip(mean, skin, turf), in_range=(skin, turf), out_range=(0.0, 1.0))
    near = (table.d > -0.15) & (table.d < 0.5)
    mine = np.clip(cover([table]).share, 0, 1)
    assert mine[near] == approx(theirs[near], abs=1e-9)
