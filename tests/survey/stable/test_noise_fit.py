"""The noise that a pair shows, and how far to believe it."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, WEAK_PHOTOGRAMMETRY, Noise, of_difference
from pipeline.survey.stable.correlated import error_fields
from pipeline.survey.stable.noise_fit import combined, fit_noise, like_parts

CELL = 0.2
N, E = np.mgrid[:150, :150] * CELL
SKIN = (np.hypot(E - 15, N - 2) < 27) & (np.hypot(E - 15, N - 4) > 6)  # some 700 m2
PAIR = of_difference(GOOD_PHOTOGRAMMETRY, GOOD_PHOTOGRAMMETRY)
WHITE = 0.001
DRIFT = 0.02 + 1e-3 * E - 5e-4 * N + 0.01 * ((E - 15) ** 2 + (N - 15) ** 2) / 900


def differences(noise: Noise, count: int, seed: int) -> list[np.ndarray]:
    fields = error_fields(noise, SKIN.shape, CELL, count, np.random.default_rng(seed), WHITE)
    return [np.where(SKIN, f + DRIFT, np.nan) for f in fields]


@pytest.mark.analytic
@pytest.mark.parametrize("seed, declared", [(0, PAIR), (1, PAIR.scaled(2.0)), (2, PAIR.scaled(0.5))])
def test_simulated_noise_is_recovered_whatever_was_declared(seed, declared):
    """Shift, tilt and dome are in it and come off; what that hides of the long part is given back."""
    fits = [fit_noise(z, CELL, declared, WHITE) for z in differences(PAIR, 6, seed)]
    found = np.sqrt(np.mean([[sd**2 for sd, _ in f.noise.parts] for f in fits], axis=0))
    truth = [sd for sd, _ in PAIR.parts]
    assert found[0] == pytest.approx(truth[0], rel=0.05)
    assert found[1] == pytest.approx(truth[1], rel=0.10)
    assert found[2] == pytest.approx(truth[2], rel=0.25)
    assert fits[0].fitted == (True, True, True)


@pytest.mark.analytic
def test_what_the_plane_and_dome_hide_of_a_long_part_is_given_back():
    """A range of 6 m on 18 m: unmended, its s.d. of 6 mm would read 5 mm."""
    long = Noise(0.0, ((0.006, 6.0),), 0.0, 0.0, 0.0, 0.0)
    fields = error_fields(long, (24, 24), 0.75, 60, np.random.default_rng(9), WHITE)
    found = [fit_noise(f, 0.75, long, WHITE).noise.parts[0][0] ** 2 for f in fields]
    assert np.sqrt(np.mean(found)) == pytest.approx(0.006, rel=0.09)


@pytest.mark.analytic
def test_degrees_of_freedom_do_not_overstate_what_a_pair_tells():
    weak = of_difference(WEAK_PHOTOGRAMMETRY, WEAK_PHOTOGRAMMETRY)
    fits = [fit_noise(z, CELL, weak, WHITE) for z in differences(weak, 12, 3)]
    variances = np.array([[sd**2 for sd, _ in f.noise.parts] for f in fits])
    told = 2 * variances.mean(axis=0) ** 2 / variances.var(axis=0)
    stated = np.median([f.freedom for f in fits], axis=0)
    assert (stated < 2.5 * told).all()
    assert 1.0 < stated[2] < 12.0  # a part of 8 m on 27 m: a handful


@pytest.mark.analytic
def test_a_zone_too_small_for_a_range_keeps_what_was_declared():
    small = np.hypot(E - 15, N - 15) < 5
    z = np.where(small, differences(PAIR, 1, 4)[0], np.nan)
    fit = fit_noise(z, CELL, PAIR.scaled(3.0), WHITE)
    assert fit.fitted == (True, True, False)
    assert fit.noise.parts[2] == PAIR.scaled(3.0).parts[2]
    assert fit.freedom[2] == 0
    assert fit.zone_m == pytest.approx(np.sqrt(np.pi) * 5, rel=0.01)


@pytest.mark.analytic
def test_a_filled_hole_on_three_percent_of_the_skin_hardly_counts():
    z = differences(PAIR, 1, 5)[0]
    filled = z + 0.05 * (np.hypot(E - 22, N - 14) < 2.6)
    clean, dirty = (np.array(fit_noise(v, CELL, PAIR, WHITE).noise.parts)[:, 0] for v in (z, filled))
    assert dirty.max() < 2.2 * clean.max()
    assert dirty[0] == pytest.approx(clean[0], rel=0.10)


@pytest.mark.analytic
def test_few_pairs_widen_rather_than_narrow():
    assert combined(PAIR, []) == PAIR
    quiet = [fit_noise(z, CELL, PAIR, WHITE) for z in differences(PAIR.scaled(0.5), 6, 6)]
    one, six = combined(PAIR, quiet[:1]), combined(PAIR, quiet)
    for i in range(3):
        truth, declared = 0.5 * PAIR.parts[i][0], PAIR.parts[i][0]
        assert truth < six.parts[i][0] <= one.parts[i][0] < 1.1 * declared
    assert one.parts[2][0] > 0.8 * PAIR.parts[2][0]  # one pair says little of 8 m
    assert six.parts[0][0] < 0.75 * PAIR.parts[0][0]  # and much of 0.15 m


@pytest.mark.analytic
def test_parts_of_like_range_are_fitted_as_one_and_keep_their_shares():
    mixed = of_difference(GOOD_PHOTOGRAMMETRY, WEAK_PHOTOGRAMMETRY)
    assert [[mixed.parts[i][1] for i in g] for g in like_parts(mixed)] == [[0.15, 0.25], [1.0, 1.5], [8.0]]
    fits = [fit_noise(z, CELL, mixed.scaled(2.0), WHITE) for z in differences(mixed, 6, 11)]
    found = np.sqrt(np.mean([[sd**2 for sd, _ in f.noise.parts] for f in fits], axis=0))
    assert found[0] / found[1] == pytest.approx(mixed.parts[0][0] / mixed.parts[1][0])
    assert np.hypot(*found[:2]) == pytest.approx(np.hypot(mixed.parts[0][0], mixed.parts[1][0]), rel=0.08)
    assert np.hypot(*found[2:4]) == pytest.approx(np.hypot(mixed.parts[2][0], mixed.parts[3][0]), rel=0.10)
    assert np.mean([f.ratios for f in fits], axis=0) == pytest.approx(0.25, rel=0.30)


@pytest.mark.invariant
def test_what_pairs_show_carries_over_to_a_pair_of_other_shares():
    """Ratios to the declared variance travel, not the variances: two dates of one source differ a little in range."""
    fits = [fit_noise(z, CELL, PAIR, WHITE) for z in differences(PAIR.scaled(1.5), 4, 12)]
    here, there = combined(PAIR, fits), combined(of_difference(GOOD_PHOTOGRAMMETRY, WEAK_PHOTOGRAMMETRY), fits)
    rise = [a / b for (a, _), (b, _) in zip(here.parts, PAIR.parts)]
    other = [a / b for (a, _), (b, _) in zip(there.parts, of_difference(GOOD_PHOTOGRAMMETRY, WEAK_PHOTOGRAMMETRY).parts)]
    assert other == pytest.approx([rise[0], rise[0], rise[1], rise[1], rise[2]])
    assert min(rise) > 1.1


@pytest.mark.invariant
def test_a_plane_more_and_a_sign_less_change_nothing():
    z = differences(PAIR, 1, 7)[0]
    here = np.array(fit_noise(z, CELL, PAIR, WHITE).noise.parts)
    there = np.array(fit_noise(-z + 0.3 - 0.01 * E + 0.02 * N, CELL, PAIR, WHITE).noise.parts)
    np.testing.assert_allclose(there, here, rtol=1e-3)


@pytest.mark.independent
def test_the_part_a_zone_can_resolve_agrees_with_the_spread_of_far_apart_cells():
    """Sample variance of cells 2 m apart of a short part alone against the fitted one."""
    short = Noise(0.0, ((0.005, 0.4),), 0.0, 0.0, 0.0, 0.0)
    z = differences(short, 1, 8)[0] - DRIFT
    fit = fit_noise(z + DRIFT, CELL, short.scaled(3.0), WHITE)
    sample = z[::10, ::10]
    cell_share = 0.92  # of a part of 0.4 m range left in a 0.2 m cell
    assert np.nanvar(sample) == pytest.approx(cell_share * fit.noise.parts[0][0] ** 2 + WHITE**2, rel=0.25)
