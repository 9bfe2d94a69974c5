from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from pytest import approx
from scipy.stats import linregress
from support.flat_tables import table_of

from pipeline.survey.edges.edge_level import SKIN_LINE, column_mean, levelled, window_mean, within


@pytest.mark.analytic
def test_a_plane_is_level_whatever_its_slope():
    table = table_of(lambda s, d: 51 + 0.013 * s - 0.08 * d)
    level = levelled(table)
    assert level.z[table.usable] == approx(0, abs=1e-12)
    assert level.skin_slope[table.usable] == approx(-0.08)


@pytest.mark.analytic
def test_ground_that_bends_at_the_edge_is_level_on_both_sides():
    # a mound rises at 1 in per ft from its edge; a straight line through its skin would feign a lip of 12 mm
    table = table_of(lambda s, d: 51 + np.where(d < 0, -d / 12, 0.0))
    assert levelled(table).z[table.usable] == approx(0, abs=1e-12)


@pytest.mark.analytic
def test_a_step_and_a_canopy_stand_over_the_ground_by_their_height():
    table = table_of(lambda s, d: 51 + 0.01 * d + 0.030 * (d > 0.1))
    level = levelled(table).z[table.usable]
    assert level[:, table.d > 0.15] == approx(0.030)
    assert level[:, table.d < 0.05] == approx(0, abs=1e-12)


@pytest.mark.analytic
def test_where_the_grass_begins_elsewhere_the_bend_moves_with_it():
    table = table_of(lambda s, d: 51 - np.minimum(d - 0.25, 0) / 12)
    assert levelled(table, 0.25).z[table.usable] == approx(0, abs=1e-12)


@pytest.mark.invariant
def test_a_whole_survey_raised_and_tilted_along_the_edge_levels_alike():
    rng = np.random.default_rng(1)
    table = table_of(lambda s, d: 51 + 0 * s * d)
    rough = replace(table, z=table.z + 0.003 * rng.standard_normal(table.z.shape))
    tilted = replace(rough, z=rough.z + 0.7 + 0.02 * table.s[:, None] + 0.01 * table.d)
    assert levelled(tilted).z == approx(levelled(rough).z, abs=1e-12, nan_ok=True)


@pytest.mark.invariant
def test_rows_without_skin_are_not_told_and_disturb_no_other():
    table = table_of(lambda s, d: 51 + 0.02 * d)
    z = table.z.copy()
    z[20:24, within(table.d, (-3, -0.35))] = np.nan
    level = levelled(replace(table, z=z))
    assert np.isnan(level.z[20:24]).all()
    other = table.usable & (np.arange(len(table.s)) // 4 != 5)
    assert level.z[other][:, table.d > -0.3] == approx(0, abs=1e-12)


@pytest.mark.invariant
def test_means_skip_what_was_not_seen_and_ask_for_enough():
    values = np.array([[1.0, np.nan, 3.0], [np.nan, np.nan, 4.0]])
    assert window_mean(values, np.array([True, True, True]), 2) == approx([2, np.nan], nan_ok=True)
    assert column_mean(values, np.array([True, True])) == approx([1, np.nan, 3.5], nan_ok=True)
    assert_array_equal(np.isnan(column_mean(values, np.array([False, False]))), True)


@pytest.mark.independent
def test_the_slope_of_one_row_alone_is_that_of_a_statistics_library():
    # scipy.stats.linregress; rows near the one chosen are not usable, so that it stands alone
    rng = np.random.default_rng(2)
    table = table_of(lambda s, d: 51 + 0.01 * d + 0 * s)
    z = table.z + 0.004 * rng.standard_normal(table.z.shape)
    usable = np.zeros(len(table.s), bool)
    usable[30] = True
    slope = levelled(replace(table, z=z, usable=usable)).skin_slope[30]
    line = within(table.d, SKIN_LINE)
    assert slope == approx(linregress(table.d[line], z[30, line]).slope, rel=1e-10)
