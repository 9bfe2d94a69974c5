from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.optimize import curve_fit
from support.flat_tables import cover_ramp, table_of

from pipeline.surface.lip_shape import contrast, freeze, still_contrasts
from pipeline.survey.edges.edge_shape import SHARPNESS, Bump, bump


def lip_table(
    height=0.03, shape=Bump(), canopy=0.028, step=0.0, slope=0.01, kink=0.0, begins=0.0, colour=True, seed=None
):
    """A lip of this height and shape on a slope, under a canopy, perhaps with a step of the soil and noise of 1 mm."""
    rng = np.random.default_rng(seed)

    def z(s, d):
        cover = cover_ramp(d, begins)
        ground = 51 + slope * d + kink * np.maximum(d - begins, 0) + step * cover + height * bump(d - begins, shape)
        noise = 0 if seed is None else 0.001 * rng.standard_normal((s.shape[0], d.shape[1]))
        return ground + canopy * cover + 0 * s + noise

    green = (lambda d: 0.05 + 0.85 * cover_ramp(d, begins)) if colour else None
    return table_of(z, green=green)


@pytest.mark.analytic
@pytest.mark.parametrize("shape", [Bump(0.10, 0.11, 0.25), Bump(0.18, 0.15, 0.36)])
def test_the_shape_of_a_clear_lip_is_found(shape):
    found = freeze(lip_table(0.03, shape), lip_table(0.035, shape)).bump
    assert (found.crest, found.w_in, found.w_out) == approx((shape.crest, shape.w_in, shape.w_out), abs=0.012)


@pytest.mark.analytic
def test_where_no_lip_stands_the_priors_decide():
    found = freeze(lip_table(0.0, seed=1), lip_table(0.0, seed=2)).bump
    assert (found.crest, found.w_in, found.w_out) == approx((0.13, 0.13, 0.30), abs=0.05)


@pytest.mark.analytic
def test_the_weights_cancel_a_shift_and_mowing_and_read_a_lip_as_one():
    shape = freeze(lip_table(0.03))
    assert shape.weights.sum() == approx(0, abs=1e-12)
    assert shape.weights @ shape.cover.share == approx(0, abs=1e-9)
    assert shape.weights @ shape.lip == approx(1, abs=0.01)  # the foot of the bump reaches the turf window


@pytest.mark.analytic
def test_a_contrast_of_cells_is_the_weights_laid_over_them():
    shape = freeze(lip_table(0.03))
    values = np.random.default_rng(1).standard_normal((7, len(shape.d)))
    assert contrast(values, shape) == approx(values @ shape.weights)


@pytest.mark.analytic
def test_a_mound_beyond_the_edge_makes_no_lip():
    # the ground falls away from the skin's slope by 1 in per ft at the edge, which a straight line would call a lip
    flat = freeze(lip_table(0.0, kink=0.083))
    levelled_contrast = contrast(lip_table(0.0, kink=0.083).z - lip_table(0.0, kink=0.083, canopy=0.0).z, flat)
    assert np.abs(levelled_contrast).max() < 1e-3
    assert flat.bump.crest == approx(0.13, abs=0.05)


@pytest.mark.invariant
def test_neither_order_of_dates_nor_their_heights_change_the_shape():
    first, second = lip_table(0.02, seed=1), lip_table(0.03, seed=2)
    there, back = freeze(first, second), freeze(replace(second, z=second.z + 7.0), first)
    assert (there.bump.crest, there.bump.w_in, there.bump.w_out) == approx(
        (back.bump.crest, back.bump.w_in, back.bump.w_out), abs=1e-5
    )


@pytest.mark.invariant
@pytest.mark.parametrize("begins", [-0.20, -0.10, 0.10, 0.20])
def test_a_line_drawn_beside_the_grass_moves_crest_and_windows_with_the_grass(begins):
    shape = freeze(lip_table(0.03, begins=begins))
    here = freeze(lip_table(0.03))
    assert shape.crest_offset_m == approx(here.crest_offset_m, abs=0.012)
    rise = lip_table(0.04, begins=begins).z - lip_table(0.03, begins=begins).z
    assert np.nanmean(contrast(rise, shape)) == approx(0.010, abs=4e-4)


@pytest.mark.invariant
def test_a_lip_leaves_the_contrasts_in_turf_and_on_skin_alone():
    shape = freeze(lip_table(0.03))
    growth = lip_table(0.05).z - lip_table(0.03).z
    for still in still_contrasts(growth, shape):
        assert np.abs(still).max() < 1.5e-3  # 20 mm of growth
    assert np.abs(still_contrasts(growth + 0.4, shape)[1] - still_contrasts(growth, shape)[1]).max() < 1e-9


@pytest.mark.independent
def test_the_fit_agrees_with_a_plain_curve_fit_where_the_lip_is_high():
    # scipy.optimize.curve_fit without priors on the same bump over a level skin; 60 mm of lip outvotes the priors
    table = lip_table(0.06, Bump(0.16, 0.11, 0.35), canopy=0.0, slope=0.0, seed=3)
    profile = table.z[table.usable].mean(axis=0) - 51
    read = (table.d > -0.3) & (table.d < 0.9)

    def form(d, height, crest, w_in, w_out):
        x = d - crest
        return height * np.exp(-np.abs(x / np.where(x < 0, w_in, w_out)) ** SHARPNESS)

    theirs = curve_fit(form, table.d[read], profile[read], p0=(0.05, 0.13, 0.13, 0.3))[0]
    mine = freeze(table).bump
    assert (mine.crest, mine.w_in, mine.w_out) == approx(theirs[1:], abs=0.006)
