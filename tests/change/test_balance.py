"""Where the mix went, and which way: closed forms, a worked balance, circular statistics, simulated pairs."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import shapely
from pytest import approx
from scipy.special import gamma
from scipy.stats import circmean
from support.tied_field import drawn_field

from pipeline.change.balance import (
    COMPACTED_SD, UNSEEN_GROWTH_M, Delivered, Density, EdgeGrown, balance, delivered, section_beyond_line,
)  # fmt: skip
from pipeline.change.difference import Change, relative_change, tied_change
from pipeline.change.moved_material import (
    Direction, Habit, along_passes, away_from, bearing_habit, direction_habit, entry_points, moved, out_of_corner,
)  # fmt: skip
from pipeline.frame import Grid
from pipeline.survey.edges.edge_cover import Cover
from pipeline.survey.edges.edge_shape import Bump, bump
from pipeline.survey.edges.edge_table import columns
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, Noise, of_difference
from pipeline.survey.stable.correlated import error_fields
from pipeline.survey.stable.drift import drift_basis
from pipeline.survey.stable.misfit import misfits
from pipeline.survey.stable.patches import PatchHeight, footprint
from pipeline.survey.stable.tie import reference, tie_pair
from pipeline.survey.stable.uncertainty import TieOnGrid, Uncertainty
from pipeline.surface.lip_shape import LipShape

GRID = Grid("EPSG:32617", 0, 80, 0.5, 80, 80)  # 40 x 40 m
CENTRE = (20.0, 20.0)
SKIN = GRID.mask(shapely.box(5, 5, 35, 35))  # 900 m2
E, N = GRID.mesh()
QUIET = Noise(0.0, ((0.003, 4.0),), 0.0, 0.0, 0.0, 0.0)
WHITE = 0.002
DAY = dt.date
NO_TRUCK = Delivered(0.0, 0.0, 0.0, 0.0, (), "")


def known(dz: np.ndarray, noise: Noise = QUIET) -> Change:
    white = np.where(np.isfinite(dz), WHITE, np.nan)
    return Change(GRID, dz, Uncertainty(GRID, noise, white, tie=TieOnGrid(reference(CENTRE), GRID)))


def brought(tonnes: float, density: Density = Density(1.7, 0.1)) -> Delivered:
    row = {"work_id": "w1", "done_on": DAY(2026, 5, 1), "mix_amount": tonnes, "mix_unit": "tonne"}
    return delivered([row], DAY(2026, 4, 1), DAY(2026, 7, 1), density, None)


@pytest.mark.independent
def test_the_worked_balance_of_the_methods():
    """A 900 m2, -8 mm; edge +3.1 m3; 6 t at 1.7 t/m3: -7.2 + 3.1 - 3.529 = -7.629 m3."""
    edge = EdgeGrown("outer", 0.031, 0.002, 0.5, 200.0)
    found = balance(known(np.full(GRID.shape, -0.008)), SKIN, [edge], brought(6.0))
    assert found.value["skin"] == approx(-7.2) and found.value["edge"] == approx(3.1)
    assert found.value["delivered"] == approx(6 / 1.7)
    assert found.value["unexplained"] == approx(-7.629, abs=5e-4)
    assert np.isnan(found.value["beyond"]) and any("beyond" in note for note in found.notes)
    assert found.sigma["edge"] == approx(0.2)
    m, rho = 0.02, 0.1 / 1.7
    assert found.sigma["delivered"] == approx(6 / 1.7 * np.hypot(m, rho))
    expected = found.sigma["skin"] ** 2 + 0.2**2 + found.sigma["delivered"] ** 2
    assert found.sigma["unexplained"] == approx(np.sqrt(expected))
    assert found.balanced is False


@pytest.mark.analytic
def test_what_left_the_skin_and_stands_in_the_edge_balances():
    edge = EdgeGrown("outer", 0.012, 0.002, 0.30, 200.0)
    found = balance(known(np.full(GRID.shape, -0.0008)), SKIN, [edge], NO_TRUCK)
    assert found.value["unexplained"] == approx(0.0, abs=1e-9) and found.balanced


@pytest.mark.analytic
def test_skin_and_beyond_share_the_tie_so_their_sum_errs_more_than_apart():
    """A tie of one common shift s: variance of the sum (A1 + A2)^2 s^2, not A1^2 s^2 + A2^2 s^2."""

    class Shifted:
        def __init__(self, s):
            self.s = s

        def covariance(self, weights):
            total = np.array([w.sum() for w in weights])
            return self.s**2 * np.outer(total, total)

    far = GRID.mask(shapely.box(0, 0, 40, 40)) & ~SKIN
    change = Change(GRID, np.zeros(GRID.shape), Shifted(0.004))
    found = balance(change, SKIN, [], NO_TRUCK, far)
    assert found.sigma["skin"] == approx(900 * 0.004) and found.sigma["beyond"] == approx(700 * 0.004)
    assert found.sigma["unexplained"] == approx(1600 * 0.004)
    grown = balance(Change(GRID, np.full(GRID.shape, 0.01), Shifted(0.004)), SKIN, [], NO_TRUCK, far, 0.01, 0.003)
    assert grown.value["beyond"] == approx(0.0, abs=1e-9)
    assert grown.sigma["beyond"] == approx(700 * np.hypot(0.004, 0.003))


@pytest.mark.analytic
def test_a_pair_without_a_tie_or_half_seen_has_no_balance():
    dz = np.zeros(GRID.shape)
    relative = relative_change(GRID, dz, dz, dz + WHITE, dz + WHITE, QUIET, SKIN)
    for change in (relative, known(np.where(N < 25, np.nan, 0.0))):
        found = balance(change, SKIN, [EdgeGrown("outer", 0.01, 0.002, 0.3, 100.0)], NO_TRUCK)
        assert found.reason and found.balanced is None and np.isnan(list(found.value.values())).all()


@pytest.mark.analytic
def test_an_edge_that_was_not_read_widens_the_balance():
    edges = [EdgeGrown("a", 0.01, 0.001, 0.3, 100.0), EdgeGrown("b", np.nan, np.nan, 0.3, 50.0)]
    found = balance(known(np.zeros(GRID.shape)), SKIN, edges, NO_TRUCK)
    assert found.value["edge"] == approx(0.3) and (found.seen_m, found.edge_m) == (100.0, 150.0)
    assert found.sigma["edge"] == approx(np.hypot(0.001 * 30, UNSEEN_GROWTH_M * 15))
    assert any("50 of 150 m" in note for note in found.notes)
    grassy = [EdgeGrown(k, 0.01, 0.001, 0.3, 100.0, 0.25) for k in "ab"]  # a third of what was seen may be hidden, on both alike
    expected = np.sqrt(2 * (0.001 * 30) ** 2 + (2 * 0.3 / 3) ** 2 / 3)
    assert balance(known(np.zeros(GRID.shape)), SKIN, grassy, NO_TRUCK).sigma["edge"] == approx(expected)


@pytest.mark.analytic
def test_the_section_of_a_lip_is_counted_beyond_the_line_alone():
    d = columns()
    shape = LipShape("outer", d, Bump(0.9, 0.3, 0.3), Cover(d * 0, 0.1, "colour", 0.0), bump(d, Bump(0.9, 0.3, 0.3)))
    # the bump's area is 2 w Gamma(1 + 1 / p)
    assert section_beyond_line(shape) == approx(0.6 * gamma(1 + 1 / 2.3), rel=2e-3)
    astride = LipShape("outer", d, Bump(0.0, 0.3, 0.3), Cover(d * 0, 0.1, "colour", 0.0), bump(d, Bump(0.0, 0.3, 0.3)))
    assert section_beyond_line(astride) == approx(0.3 * gamma(1 + 1 / 2.3), rel=2e-3)


@pytest.mark.analytic
def test_trucks_are_counted_in_tonnes_whatever_the_ticket_says():
    """1 short ton = 0.90718474 t, 1 yd3 = 0.764554857984 m3 (NIST SP 811)."""
    rows = [
        {"work_id": "a", "done_on": DAY(2026, 5, 1), "mix_amount": 10.0, "mix_unit": "short_ton"},
        {"work_id": "b", "done_on": DAY(2026, 5, 2), "mix_amount": 4.0, "mix_unit": "yd3_loose"},
        {"work_id": "c", "done_on": DAY(2026, 5, 3)},
        {"work_id": "d", "done_on": DAY(2026, 8, 3), "mix_amount": 4.0, "mix_unit": "tonne"},
    ]
    found = delivered(rows, DAY(2026, 4, 1), DAY(2026, 7, 1), Density(1.7, 0.1), Density(1.4, 0.05))
    heaped = 4 * 0.764554857984 * 1.4
    assert found.work_ids == ("a", "b")
    assert found.tonnes == approx(9.0718474 + heaped, rel=1e-9)
    assert found.volume_m3 == approx(found.tonnes / 1.7)
    expected = (0.02 * 9.0718474) ** 2 + (0.10 * heaped) ** 2 + (heaped * 0.05 / 1.4) ** 2
    assert found.sigma_t == approx(np.sqrt(expected))
    refused = delivered(rows, DAY(2026, 4, 1), DAY(2026, 7, 1), Density(1.7, 0.1), None)
    assert "loose_t_per_m3" in refused.reason and np.isnan(refused.volume_m3)
    no_figure = balance(known(np.zeros(GRID.shape)), SKIN, [], refused)
    assert np.isnan(no_figure.value["unexplained"]) and np.isfinite(no_figure.value["skin"]) and no_figure.reason


@pytest.mark.invariant
def test_a_work_on_the_day_of_a_survey_is_counted_once():
    row = [{"work_id": "a", "done_on": DAY(2026, 5, 1), "mix_amount": 1.0, "mix_unit": "tonne"}]
    days = DAY(2026, 4, 1), DAY(2026, 5, 1), DAY(2026, 6, 1)
    for before in (False, True):
        first = delivered(row, days[0], days[1], Density(1.7, 0.1), None, later_before=before)
        second = delivered(row, days[1], days[2], Density(1.7, 0.1), None, earlier_before=before)
        assert (bool(first.work_ids), bool(second.work_ids)) == (not before, before)


@pytest.mark.analytic
def test_a_density_nobody_gave_is_marked():
    assert Density.placed(None) == Density(1.7, COMPACTED_SD, True) and not Density.placed(1.6).assumed
    assert Density.loose(None) is None
    found = balance(known(np.zeros(GRID.shape)), SKIN, [], brought(6.0, Density.placed(None)), assumed_density=True)
    assert any("placed_t_per_m3" in note for note in found.notes)


# Direction


@pytest.mark.analytic
def test_a_slab_moved_12_m_east_is_a_moment_of_its_volume_times_12():
    dz = np.zeros(GRID.shape)
    west, east = GRID.mask(shapely.box(10, 15, 14, 25)), GRID.mask(shapely.box(22, 15, 26, 25))
    dz[west], dz[east] = -0.05, 0.05
    found = moved(known(dz), SKIN)
    assert found.moment == approx([0.05 * 40 * 12, 0.0], abs=1e-9)
    assert found.detected and found.bearing_deg == approx(90.0)
    assert found.moved_m3[1] == approx(2.0, rel=0.001) and 0 < found.moved_m3[0] < 2
    assert found.shift_m[0] < 12.0 < found.shift_m[1]
    assert found.bearing_sigma_deg == approx(np.degrees(np.sqrt(found.covariance[1, 1]) / 24.0))


@pytest.mark.invariant
def test_the_whole_survey_raised_moves_nothing_and_turned_turns():
    dz = 0.010 * (E - 20) / 15
    plain, raised, turned = (moved(known(v), SKIN) for v in (dz, dz + 0.05, 0.010 * (N - 20) / 15))
    assert raised.moment == approx(plain.moment, abs=1e-9)
    assert plain.bearing_deg == approx(90) and turned.bearing_deg == approx(0, abs=1e-6)
    assert moved(known(-dz), SKIN).bearing_deg == approx(270)


@pytest.mark.analytic
def test_where_a_plane_was_taken_off_no_direction_is_told():
    dz = 0.01 * (E - 20)
    found = moved(relative_change(GRID, dz * 0, dz, dz * 0 + WHITE, dz * 0 + WHITE, QUIET, SKIN), SKIN)
    assert "plane was taken off" in found.reason and np.isnan(found.bearing_deg)


@pytest.mark.independent
def test_mean_angle_length_and_rayleigh_of_a_printed_example():
    """Zar 1999, examples 26.4 and 27.1 (from memory): eight angles, mean 99 degrees, r 0.82522, z 5.448, 0.001 < p < 0.002."""
    angles = [45, 55, 81, 96, 110, 117, 132, 154]
    found = direction_habit(angles)
    assert found.deg == approx(99, abs=0.5) and found.length == approx(0.82522, abs=1e-5)
    assert found.count * found.length**2 == approx(5.448, abs=1e-3)
    assert 0.001 < found.rayleigh_p < 0.002
    axial = bearing_habit([a / 2 for a in angles])
    assert axial.deg == approx(found.deg / 2) and axial.length == approx(found.length)


@pytest.mark.independent
def test_axial_means_are_those_of_a_statistics_library():
    """scipy.stats.circmean with a period of 180 degrees."""
    rng = np.random.default_rng(3)
    for _ in range(10):
        bearings = (rng.normal(175, 20, 9)) % 180
        found = bearing_habit(bearings).deg
        other = np.degrees(circmean(np.radians(bearings), high=np.pi))
        assert (found - other + 90) % 180 - 90 == approx(0, abs=1e-9)
    assert bearing_habit([]) is None
    assert bearing_habit([10, 100]).length == approx(0, abs=1e-12)


def pointing(deg: float, sigma: float = 5.0) -> Direction:
    return Direction(np.ones(2), np.eye(2), deg, sigma, 0.001, (1.0, 1.0), (1.0, 1.0), "")


@pytest.mark.analytic
@pytest.mark.parametrize(("deg", "word"), [(45, "agrees"), (225, "agrees"), (135, "differs"), (75, "cannot_tell"), (229, "agrees"), (359, "differs")])
def test_along_the_passes_either_way(deg, word):
    found = along_passes(pointing(deg), Habit(45.0, 0.9, 6, 0.001))
    assert found.word == word
    assert found.apart_deg == approx(abs((deg - 45 + 90) % 180 - 90))


@pytest.mark.analytic
def test_out_of_the_corner_that_was_entered_at():
    corners = {"home": (20.0, 5.0), "first": (35.0, 20.0)}
    away = away_from(["home", "home", "home", "left"], corners, CENTRE)
    assert away == approx([0.0, 0.0, 0.0])
    habit = direction_habit(away)
    assert out_of_corner(pointing(5), habit).word == "agrees"
    assert out_of_corner(pointing(185), habit).word == "differs"
    assert out_of_corner(pointing(5), direction_habit(away[:2])).word == "cannot_tell"
    assert "stands out" in out_of_corner(pointing(5), Habit(0.0, 0.2, 6, 0.5)).reason
    still = moved(known(np.zeros(GRID.shape)), SKIN)
    assert "no movement" in out_of_corner(still, habit).reason


@pytest.mark.analytic
def test_entries_lie_where_the_words_say():
    """Second base stands due north of home, so east is first base's side and right field's."""
    at = entry_points(drawn_field(()))
    assert at["first"][0] > at["second"][0] > at["third"][0] and at["home"][1] < at["first"][1] < at["second"][1]
    assert at["left"][0] < at["centre"][0] < at["right"][0] and at["centre"][1] > at["second"][1]
    middle = (5000.0, 7015.0)
    assert away_from(["home", "centre"], at, middle) == approx([0.0, 180.0], abs=0.5)


# Simulated pairs of tied surveys

SURVEY = GOOD_PHOTOGRAMMETRY
PAIR = of_difference(SURVEY, SURVEY)
SLABS = [
    footprint(f"slab-{i}", shapely.box(x - 1.55, y - 1.05, x + 1.55, y + 1.05))
    for i, (x, y) in enumerate([(2.5, 2.5), (37, 3), (3, 37), (37, 37), (20, 2), (20, 20), (2.5, 20)])
]
CELLS = {p.patch_id: GRID.mask(p.shape) for p in SLABS}
PLACES = np.column_stack([v[SKIN][::25] for v in GRID.mesh()])
OWN = np.full(GRID.shape, 0.001)


def tied(earlier: np.ndarray, later: np.ndarray) -> Change:
    a, b = ({k: PatchHeight(k, float(z[c].mean()), 0.0003, int(c.sum()), 0) for k, c in CELLS.items()} for z in (earlier, later))
    return tied_change(GRID, earlier, later, OWN, OWN, PAIR, tie_pair(misfits(SLABS, a, b, PAIR), PAIR, CENTRE, PLACES))


@pytest.fixture(scope="module")
def still_pairs() -> list[Change]:
    rng = np.random.default_rng(41)
    drift = rng.standard_normal((160, 4)) * [SURVEY.shift_m, SURVEY.tilt * 30, SURVEY.tilt * 30, SURVEY.dome_m]
    heights = [100 + f + drift_basis(*GRID.mesh(), CENTRE) @ d for f, d in zip(error_fields(SURVEY, GRID.shape, GRID.cell_m, 160, rng, OWN), drift)]
    return [tied(a, b) for a, b in zip(heights[::2], heights[1::2])]


@pytest.mark.analytic
def test_95_in_100_balances_of_fields_that_balance_are_said_to(still_pairs):
    """8 mm leave the skin; edges take half of it, a truck brings its part, the rest was swept away: R is what was swept."""
    rng = np.random.default_rng(5)
    held, scores = 0, []
    for change in still_pairs:
        gone = Change(GRID, change.dz - 0.008 * SKIN, change.uncertainty)
        edge = EdgeGrown("outer", 0.0144 + 0.002 * rng.standard_normal(), 0.002, 0.25, 200.0)
        density = 1.7 + 0.1 * rng.standard_normal()
        ticket = 6.0 * (1 + 0.02 * rng.standard_normal())
        found = balance(gone, SKIN, [edge], brought(ticket))
        swept = -7.2 + 0.0144 * 50 - 6.0 / density
        scores.append((found.value["unexplained"] - swept) / found.sigma["unexplained"])
        held += abs(scores[-1]) <= 1.96
    print(f"balance: cover {held / len(scores):.3f}, score s.d. {np.std(scores):.2f}, sigma {found.sigma['unexplained']:.2f} m3")
    assert 0.89 <= held / len(scores) <= 1.0
    assert np.std(scores) == approx(1.0, abs=0.25)


@pytest.mark.analytic
def test_still_fields_seldom_show_a_direction_and_real_ones_show_theirs(still_pairs):
    shown = [moved(c, SKIN) for c in still_pairs]
    scores = [float(d.moment @ np.linalg.solve(d.covariance, d.moment)) for d in shown]
    print(f"direction: false {np.mean([d.detected for d in shown]):.3f}, mean square {np.mean(scores) / 2:.2f}")
    assert np.mean([d.detected for d in shown]) <= 0.125  # 0.05 wanted; 10 of 80 has a chance under 1 %
    assert np.mean(scores) == approx(2.0, abs=0.7)
    pattern = 0.030 * np.exp(-((E - 30) ** 2 + (N - 28) ** 2) / 18) - 0.030 * np.exp(-((E - 12) ** 2 + (N - 12) ** 2) / 18)
    far, volume, true = np.hypot(18, 16), 0.030 * 18 * np.pi, np.degrees(np.arctan2(18, 16))
    found = [moved(Change(GRID, c.dz + pattern, c.uncertainty), SKIN) for c in still_pairs]
    seen = [d for d in found if d.detected]
    held = [abs((d.bearing_deg - true + 180) % 360 - 180) <= 1.96 * d.bearing_sigma_deg for d in seen]
    shift, gained = (np.median([getattr(d, k) for d in seen], axis=0).round(1) for k in ("shift_m", "moved_m3"))
    sigma = np.median([d.bearing_sigma_deg for d in seen])
    print(f"direction: seen {len(seen)} of {len(found)}, cover {np.mean(held):.3f}, sigma {sigma:.0f} degrees")
    print(f"direction: shift {shift} of {far:.1f} m, moved {gained} of {volume:.2f} m3")
    assert np.mean([d.shift_m[0] <= far <= d.shift_m[1] for d in seen]) >= 0.9
    assert len(seen) >= 0.5 * len(found) and np.mean(held) >= 0.88
