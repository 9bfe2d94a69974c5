"""Zones first, then the map: means, volumes, Holm, detected cells."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from pipeline.change.difference import Change
from pipeline.change.zones import GAINED, LOST, NO_DATA, NOT_DETECTED, detected_cells, holm, zone_changes
from pipeline.frame import Grid
from pipeline.survey.noise import Noise
from pipeline.survey.plane import fit_plane
from pipeline.survey.stable.correlated import error_fields
from pipeline.survey.stable.tie import reference
from pipeline.survey.stable.uncertainty import TieOnGrid, Uncertainty

GRID = Grid("EPSG:32617", 0, 60, 0.5, 60, 60)
SHARED = Noise(0.0, ((0.004, 3.0),), 0.0, 0.0, 0.0, 0.0)
WHITE = 0.003
ROW, COL = np.mgrid[:60, :60]
ZONES = {
    "left": COL < 12, "middle": (COL >= 24) & (COL < 36), "right": COL >= 48, "corner": (ROW < 10) & (COL < 10),
    "skin": (ROW > 4) & (COL > 4),
}  # fmt: skip


def change(dz: np.ndarray, noise: Noise = SHARED, white: float = WHITE) -> Change:
    known = Uncertainty(GRID, noise, np.where(np.isfinite(dz), white, np.nan), tie=TieOnGrid(reference((15, 15)), GRID))
    return Change(GRID, dz, known)


def noise_only(seed: int, count: int = 1) -> np.ndarray:
    return error_fields(SHARED, GRID.shape, GRID.cell_m, count, np.random.default_rng(seed), WHITE)


def by_name(change: Change, zones=ZONES):
    rows, _ = zone_changes(change, zones)
    return {z.zone: z for z in rows}


@pytest.mark.analytic
def test_an_even_gain_has_the_volume_of_its_slab():
    z = by_name(change(np.full(GRID.shape, 0.02)))["left"]
    assert z.area_m2 == 12 * 60 * 0.25 and z.covered == 1
    assert z.mean_m == pytest.approx(0.02)
    assert (z.gain_m3, z.loss_m3, z.net_m3) == pytest.approx((180 * 0.02, 0, 180 * 0.02))
    assert z.net_sigma_m3 == pytest.approx(z.mean_sigma_m * z.area_m2)
    assert z.detected and z.detected_m2 == z.area_m2


@pytest.mark.analytic
def test_gain_and_loss_are_counted_apart_and_both_positive():
    dz = np.where(ROW < 20, 0.03, np.where(ROW < 40, -0.06, 0.0))
    z = by_name(change(dz))["left"]
    assert (z.gain_m3, z.loss_m3, z.net_m3) == pytest.approx((60 * 0.03, 60 * 0.06, -60 * 0.03))


@pytest.mark.analytic
def test_the_noise_that_gain_includes_is_foretold():
    fields = noise_only(0, 40)
    gain = np.array([by_name(change(f))["skin"].gain_m3 for f in fields])
    told = by_name(change(fields[0]))["skin"].noise_m3
    assert gain.mean() == pytest.approx(told, rel=0.08)
    assert told > 0.5  # over 756 m2 noise alone looks like half a cubic metre and more


@pytest.mark.analytic
def test_of_still_fields_at_most_one_in_twenty_shows_a_false_zone():
    fields = noise_only(1, 150)
    rows = [zone_changes(change(f), ZONES) for f in fields]
    wrong = sum(any(z.detected for z in r) for r, _ in rows)
    assert wrong <= 14  # 7.5 expected at most; 14 has a chance of 1 %
    bare = sum(any(z.p < 0.05 for z in r) for r, _ in rows)
    assert bare > 1.5 * wrong
    assert all((m == NOT_DETECTED).all() for r, m in rows if not any(z.detected for z in r))


@pytest.mark.analytic
def test_zone_means_of_still_fields_scatter_as_they_say():
    rows = [by_name(change(f)) for f in noise_only(2, 80)]
    for name in ("left", "corner", "skin"):
        score = [r[name].mean_m / r[name].mean_sigma_m for r in rows]
        assert np.std(score) == pytest.approx(1, abs=0.22)
    lone = [r["left"].mean_m / (WHITE / np.sqrt(720)) for r in rows]
    assert np.std(lone) > 4  # cells taken as independent are several times too sure


@pytest.mark.analytic
def test_cells_are_detected_only_inside_a_zone_that_changed():
    dz = noise_only(3)[0]
    dz[:, :12] += 0.05
    dz[5, 30] = 0.5  # one wild cell in a zone that did not change
    dz[6, 3] = np.nan
    dz[7, 3] = -0.5
    rows, cells = zone_changes(change(dz), {k: ZONES[k] for k in ("left", "middle", "right")})
    assert [z.detected for z in rows] == [True, False, False]
    assert cells.dtype == np.int8
    assert (cells[5, 30], cells[6, 3], cells[7, 3]) == (NOT_DETECTED, NO_DATA, LOST)
    assert (cells[:, :12] == GAINED).mean() > 0.95
    assert (cells[:, 12:] == NOT_DETECTED).all()
    assert rows[0].detected_m2 == (np.abs(cells[:, :12]) == 1).sum() * 0.25


@pytest.mark.analytic
def test_a_zone_half_seen_is_not_judged_and_an_unseen_one_has_no_figures():
    dz = np.full(GRID.shape, 0.05)
    dz[:30, :12] = np.nan
    dz[:, 48:] = np.nan
    z = by_name(change(dz))
    assert z["left"].covered == 0.5 and z["left"].mean_m == pytest.approx(0.05)
    assert np.isnan(z["left"].p) and not z["left"].detected
    assert z["right"].area_m2 == 0 and np.isnan(z["right"].mean_m) and not z["right"].detected
    assert z["middle"].detected


@pytest.mark.analytic
def test_relative_change_never_judges_the_zone_whose_plane_is_gone():
    dz = noise_only(4)[0] + 0.08
    skin = ZONES["skin"]
    known = Uncertainty(GRID, SHARED, np.full(GRID.shape, WHITE), plane_over=skin)
    e, n = GRID.mesh()
    plane = fit_plane(e[skin], n[skin], dz[skin])
    dz = dz - plane.at(e, n) + 0.03 * ZONES["corner"]
    z = by_name(Change(GRID, dz, known, plane))
    assert np.isnan(z["skin"].p) and not z["skin"].detected
    assert np.isnan([z["skin"].mean_m, z["skin"].mean_sigma_m, z["skin"].net_m3, z["skin"].net_sigma_m3]).all()
    assert min(z["skin"].gain_m3, z["skin"].loss_m3) > 0
    assert z["corner"].detected and np.isfinite(z["corner"].net_sigma_m3)


@pytest.mark.invariant
def test_zones_keep_their_figures_whatever_else_is_asked():
    dz = noise_only(5)[0]
    all_of_them, alone = by_name(change(dz)), by_name(change(dz), {"middle": ZONES["middle"]})["middle"]
    for key in ("area_m2", "mean_m", "mean_sigma_m", "gain_m3", "loss_m3", "noise_m3", "p"):
        assert getattr(all_of_them["middle"], key) == getattr(alone, key)
    assert all_of_them["middle"].p_holm >= alone.p_holm == alone.p


@pytest.mark.invariant
def test_turning_the_sign_swaps_gain_and_loss():
    dz = noise_only(6)[0]
    there, back = by_name(change(dz))["left"], by_name(change(-dz))["left"]
    assert (there.gain_m3, there.loss_m3, there.p) == pytest.approx((back.loss_m3, back.gain_m3, back.p))
    up, down = (detected_cells(change(v), [ZONES["left"]]) for v in (dz, -dz))
    np.testing.assert_array_equal(up, -down)


@pytest.mark.invariant
@given(st.lists(st.floats(0, 1), min_size=1, max_size=15), st.randoms())
def test_holm_does_not_depend_on_the_order_and_never_lowers_p(p, random):
    mixed = list(range(len(p)))
    random.shuffle(mixed)
    adjusted = holm(np.array(p))
    assert (adjusted >= np.array(p)).all()
    np.testing.assert_array_equal(holm(np.array(p)[mixed]), adjusted[mixed])


@pytest.mark.independent
def test_holm_equals_the_statistics_packages():
    """statsmodels multipletests, method holm."""
    rng = np.random.default_rng(10)
    for count in (1, 2, 5, 12, 12, 16):
        p = rng.random(count) ** 3
        np.testing.assert_allclose(holm(p), multipletests(p, method="holm")[1], atol=1e-12)
    ties = np.array([0.02, 0.02, 0.02, 0.5])
    np.testing.assert_allclose(holm(ties), multipletests(ties, method="holm")[1], atol=1e-12)


@pytest.mark.independent
def test_holm_gives_the_adjusted_values_of_a_worked_example():
    """p = 0.01, 0.04, 0.03, 0.005: adjusted 0.03, 0.06, 0.06, 0.02 (the usual worked example, from memory)."""
    found = holm(np.array([0.01, 0.04, np.nan, 0.03, 0.005]))
    np.testing.assert_allclose(found, [0.03, 0.06, np.nan, 0.06, 0.02])


@pytest.mark.independent
def test_the_mean_s_d_equals_the_double_sum_over_the_cells():
    dz = noise_only(7)[0]
    cells = (ROW < 9) & (COL >= 3) & (COL < 15)
    z = by_name(change(dz, Noise(0.0, ((0.004, 5.0),), 0.0, 0.0, 0.0, 0.0)), {"box": cells})["box"]
    y, x = ROW[cells] * 0.5, COL[cells] * 0.5
    a = 3**0.5 * np.hypot(y[:, None] - y, x[:, None] - x) / 5.0
    expected = 0.004**2 * ((1 + a) * np.exp(-a)).mean() + WHITE**2 / cells.sum()
    assert z.mean_sigma_m == pytest.approx(np.sqrt(expected), rel=1e-9)


@pytest.mark.invariant
def test_a_zone_under_weeds_is_not_judged_and_says_why():
    rows, detected = zone_changes(change(np.full(GRID.shape, 0.02)), {k: ZONES[k] for k in ("left", "right")}, {"left": "weeds cover 40 %"})
    left, right = rows
    assert left.reason == "weeds cover 40 %" and np.isnan([left.mean_m, left.gain_m3, left.net_m3, left.p]).all() and not left.detected
    assert right.detected and right.reason == "" and (detected[ZONES["left"]] == NOT_DETECTED).all()


@pytest.mark.analytic
@pytest.mark.parametrize("rise, hidden, sure", [(0.03, (0.0, 0.05), False), (0.03, (0.05, 0.0), True), (-0.03, (0.05, 0.0), False), (0.09, (0.0, 0.05), True)])
def test_a_gain_that_unseen_plants_may_be_is_not_detected_and_says_why(rise, hidden, sure):
    (row,), _ = zone_changes(change(np.full(GRID.shape, rise)), {"left": ZONES["left"]}, None, hidden)
    assert row.detected == sure and row.mean_m == pytest.approx(rise) and ("low plants" in row.reason) != sure
