"""Hand levels: drawn before anybody looks, the same every time, and judged by the exact interval of a share."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.frame import Grid
from pipeline.works.hand_levels import accepted, hand_places, off_best_fit

GRID = Grid("EPSG:6550", 0, 300, 0.1, 300, 300)
E, N = GRID.mesh()
SKIN = np.hypot(E - 15, N - 15) < 14


@pytest.mark.invariant
def test_places_are_the_seeds_and_the_works_and_nothing_elses():
    one = hand_places(SKIN, GRID, "sorrel-04", 7)
    assert one == hand_places(SKIN, GRID, "sorrel-04", 7) and len(one) == 30
    assert one != hand_places(SKIN, GRID, "sorrel-05", 7) and one != hand_places(SKIN, GRID, "sorrel-04", 8)
    assert len(hand_places(SKIN, GRID, "sorrel-04", 7, 12)) == 30 and len(hand_places(SKIN, GRID, "sorrel-04", 7, 40)) == 40
    assert [p.name for p in one][:2] == ["sorrel-04-01", "sorrel-04-02"]


@pytest.mark.invariant
def test_places_lie_on_the_worked_ground_apart_from_each_other_and_over_all_of_it():
    east = 0
    for seed in range(60):
        places = hand_places(SKIN, GRID, "w", seed, design=np.where(E < 15, 0.01 * E, np.nan))
        at = np.array([(p.e, p.n) for p in places])
        assert (np.hypot(*(at - 15).T) < 14).all() and all((p.design_m is not None) == (p.e < 15) for p in places)
        gaps = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) + 99 * np.eye(len(at))
        assert gaps.min() >= 1.0 - 1e-9
        east += int((at[:, 0] > 15).sum())
    assert abs(east / (60 * 30) - 0.5) < 3 * 0.5 / np.sqrt(60 * 30)


@pytest.mark.independent
def test_the_interval_of_a_share_is_that_of_a_statistics_package():
    from statsmodels.stats.proportion import proportion_confint

    off = np.where(np.arange(30) < 28, 0.0, 0.02)
    found = accepted(off, 0.00635, 30)
    assert (found.low95, found.high95) == pytest.approx(proportion_confint(28, 30, method="beta"))
    assert (found.within, found.read, found.share) == (28, 30, pytest.approx(28 / 30))
    assert accepted(off * 0, 0.00635, 30).high95 == 1.0


@pytest.mark.analytic
def test_levels_not_all_read_give_no_share():
    assert accepted(np.zeros(30), 0.006, 60).reason  # half of them read is a choice of half
    found = accepted(np.zeros(12), 0.006, 30)
    assert np.isnan(found.share) and found.reason == "12 of 30 places are read: all are needed"


@pytest.mark.analytic
def test_deviations_off_a_fitted_plane_keep_their_own_spread():
    rng, spreads = np.random.default_rng(9), []
    for _ in range(200):
        x, y = rng.uniform(0, 30, (2, 30))
        off = off_best_fit(rng.normal(0, 0.003, 30) + 300 + 0.01 * x, np.column_stack([np.ones(30), x, y]))
        spreads.append((off**2).mean())
    assert np.sqrt(np.mean(spreads)) == pytest.approx(0.003, rel=0.03)
