"""Depth of mix from cores: kriging with a constant mean, against printed figures, a dense twin and simulated ground."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import shapely
from pytest import approx
from statsmodels.regression.linear_model import GLS

from pipeline.diamond.layout import Feature
from pipeline.diamond.places import Place
from pipeline.frame import Grid
from pipeline.survey.noise import matern32
from pipeline.surface.mix_cores import CORE_SD_M, PLACE_SD_M, Core, cores_drawn, cores_read, still_speaking
from pipeline.surface.mix_depth import AGED_SD_M_PER_YEAR, DECLARED_RANGE_M, DECLARED_SD_M, krige, mix_depth, spreads
from pipeline.surface.mix_restore import depth_draws, restore
from pipeline.surface.mix_zones import zone_mix

GRID = Grid("EPSG:32617", 0, 60, 0.5, 60, 60)  # 30 x 30 m
ALL = np.ones(GRID.shape, bool)
SAMPLES = {(61, 139): 477, (63, 140): 696, (64, 129): 227, (68, 128): 646, (71, 140): 606, (73, 141): 791, (75, 128): 783}
WEIGHTS = [0.173, 0.318, 0.129, 0.086, 0.151, 0.057, 0.086]


def cores_at(places, depths, sigma=CORE_SD_M) -> list[Core]:
    return [Core(f"c{k:02d}", float(e), float(n), float(d), None, sigma) for k, ((e, n), d) in enumerate(zip(places, depths))]


def exponential(h):
    return 10 * np.exp(-0.3 * np.asarray(h, float))


@pytest.mark.independent
def test_the_printed_example_of_ordinary_kriging():
    """Isaaks & Srivastava 1989, ch. 12 (from memory): weights, 592.7 and 8.96 at (65, 137)."""
    places, values = np.array(list(SAMPLES), float), np.array(list(SAMPLES.values()), float)
    found = krige(places, values, np.zeros(7), exponential, np.array([[65.0, 137.0]]))
    np.testing.assert_allclose(found.weights[0], WEIGHTS, atol=6e-4)
    assert found.value[0] == approx(592.7, abs=0.06)
    assert found.variance[0] == approx(8.96, abs=0.005)


@pytest.mark.independent
def test_the_bordered_system_solved_by_numpy_gives_the_same():
    rng = np.random.default_rng(1)
    places, values, own, at = rng.uniform(0, 30, (12, 2)), rng.uniform(0.05, 0.15, 12), rng.uniform(0, 1e-4, 12), rng.uniform(0, 30, (9, 2))

    def covariance(h):
        return 0.02**2 * matern32(np.asarray(h) / 5.0)

    found = krige(places, values, own, covariance, at)
    bordered = np.ones((13, 13))
    bordered[:12, :12] = covariance(np.linalg.norm(places[:, None] - places, axis=-1)) + np.diag(own)
    bordered[12, 12] = 0.0
    for k, place in enumerate(at):
        right = np.append(covariance(np.linalg.norm(places - place, axis=-1)), 1.0)
        solved = np.linalg.solve(bordered, right)
        assert found.value[k] == approx(solved[:12] @ values, rel=1e-9)
        assert found.variance[k] == approx(0.02**2 - solved @ right, rel=1e-8)
    np.testing.assert_allclose(found.weights.sum(axis=1), 1.0, atol=1e-10)


@pytest.mark.independent
def test_far_from_all_cores_it_is_the_mean_of_generalised_least_squares():
    """statsmodels GLS of a constant."""
    rng = np.random.default_rng(2)
    places, values = rng.uniform(0, 20, (10, 2)), rng.uniform(0.05, 0.15, 10)

    def covariance(h):
        return 0.02**2 * matern32(np.asarray(h) / 4.0)

    c = covariance(np.linalg.norm(places[:, None] - places, axis=-1)) + 25e-6 * np.eye(10)
    fit = GLS(values, np.ones(10), sigma=c).fit()
    far = krige(places, values, np.full(10, 25e-6), covariance, np.array([[1e4, 1e4]]))
    assert far.value[0] == approx(fit.params[0], rel=1e-9)
    assert far.variance[0] == approx(0.02**2 + fit.normalized_cov_params[0, 0], rel=1e-9)


@pytest.mark.analytic
def test_one_core_spreads_its_depth_and_knows_less_with_distance():
    """With one core the estimate is its reading; variance 2 C(0) - 2 C(h) + its own."""
    core = Core("a", 15.25, 14.75, 0.110)
    mix = mix_depth([core], GRID, ALL)
    assert mix.depth_m[mix.told] == approx(0.110, abs=1e-12)
    e, n = GRID.mesh()
    h = np.hypot(e - core.e, n - core.n)
    expected = 2 * DECLARED_SD_M**2 * (1 - matern32(h / DECLARED_RANGE_M)) + CORE_SD_M**2
    np.testing.assert_allclose(mix.sigma_m[mix.told] ** 2, expected[mix.told], rtol=1e-9)
    np.testing.assert_array_equal(mix.told, h <= 10.0)
    assert mix.told_m2 + mix.untold_m2 == approx(900)


@pytest.mark.analytic
def test_no_core_no_figure_and_nothing_assumed():
    mix = mix_depth([], GRID, ALL)
    assert "no core" in mix.reason and not mix.told.any() and mix.untold_m2 == 900
    far = mix_depth([Core("a", 200.0, 200.0, 0.1)], GRID, ALL)
    assert "within 10 m" in far.reason and not far.told.any()
    needed = restore(mix, 0.1, 1.7, 0.0, np.random.default_rng(1))
    assert needed.reason == mix.reason and np.isnan(needed.tonnes)


@pytest.mark.analytic
def test_below_eight_cores_the_spread_is_declared_from_eight_on_it_is_told():
    rng = np.random.default_rng(3)
    places = rng.uniform(0, 30, (30, 2))
    assert spreads(cores_at(places[:7], rng.normal(0.1, 0.05, 7))) == ((DECLARED_SD_M, DECLARED_RANGE_M, 1.0),)
    even = spreads(cores_at(places, np.full(30, 0.1) + rng.normal(0, 0.004, 30)))
    wild = spreads(cores_at(places, rng.normal(0.1, 0.05, 30)))
    mean = [sum(sd * w for sd, _, w in m) for m in (even, wild)]
    assert mean[0] < 0.012 and mean[1] > 0.035
    assert sum(w for *_, w in wild) == approx(1, abs=1e-12)


@pytest.mark.analytic
def test_what_a_blade_may_take_and_how_likely_the_mix_is_short():
    mix = mix_depth(cores_at([(10, 10), (20, 20), (10, 20)], [0.1, 0.1, 0.1]), GRID, ALL)
    told = mix.told
    assert mix.blade_m(0.025, 0.5)[told] == approx(0.075, abs=1e-9)
    assert (mix.blade_m(0.025)[told] < 0.075).all() and (mix.blade_m(0.2)[told] == 0).all()
    assert mix.short_chance(0.1)[told] == approx(0.5)
    assert (mix.short_chance(0.2)[told] > 0.99).all()
    assert np.isnan(mix.blade_m(0.025)[~told]).all() and np.isnan(mix.short_chance(0.1)[~told]).all()


@pytest.mark.analytic
def test_tonnes_where_the_depth_is_all_but_known():
    """30 mm short over 900 m2 is 27 m3; kriged from cores so many that hardly anything is left unknown."""
    places = np.array([(e, n) for e in np.arange(0.25, 30, 2.5) for n in np.arange(0.25, 30, 2.5)])
    mix = mix_depth(cores_at(places, np.full(len(places), 0.07), 0.0005), GRID, ALL)
    needed = restore(mix, 0.1, 1.7, 0.0, np.random.default_rng(1), 100)
    assert needed.volume_m3 == approx(27.0, rel=0.01) and needed.tonnes == approx(27 * 1.7, rel=0.01)
    assert needed.volume_low95_m3 <= 27.01 and needed.volume_high95_m3 >= 26.99
    assert needed.short_m2 == approx(900, rel=0.01) and needed.reason == ""
    unweighed = restore(mix, 0.1, None, 0.0, np.random.default_rng(1), 50)
    assert np.isnan(unweighed.tonnes) and "placed_t_per_m3" in unweighed.reason and np.isfinite(unweighed.volume_m3)
    assert "mix_depth_min_mm" in restore(mix, None, 1.7, 0.0, np.random.default_rng(1)).reason


def ground(rng, sd, range_m, cell=1.0, side=30):
    """A dense draw by Cholesky, none of the package's random fields: places (k, 2) and depths (k,)."""
    a = (np.arange(side) + 0.5) * cell
    places = np.array([(e, n) for e in a for n in a])
    c = sd**2 * matern32(np.linalg.norm(places[:, None] - places, axis=-1) / range_m)
    root = np.linalg.cholesky(c + 1e-12 * np.eye(len(c)))
    return places, lambda count: 0.1 + rng.standard_normal((count, len(places))) @ root.T


@pytest.mark.analytic
@pytest.mark.parametrize(("cores", "sd", "range_m"), [(5, 0.025, 6.0), (12, 0.025, 6.0), (12, 0.015, 3.0), (20, 0.040, 9.0)])
def test_95_in_100_brackets_hold_the_depth_on_simulated_ground(cores, sd, range_m):
    rng = np.random.default_rng([cores, int(1000 * sd)])
    places, draw = ground(rng, sd, range_m)
    grid = Grid("EPSG:32617", 0, 30, 1.0, 30, 30)
    held = total = short_in = 0
    for truth in draw(40):
        at = rng.choice(len(places), cores, replace=False)
        mix = mix_depth(cores_at(places[at], truth[at] + CORE_SD_M * rng.standard_normal(cores)), grid, np.ones((30, 30), bool))
        e, n = grid.mesh()
        row, col = grid.rows_cols(places[:, 0], places[:, 1])
        told = mix.told[row, col]
        score = (mix.depth_m[row, col] - truth)[told] / mix.sigma_m[row, col][told]
        held, total = held + (np.abs(score) < 1.96).sum(), total + told.sum()
        needed = restore(mix, 0.1, None, 0.0, np.random.default_rng(9), 300)  # of 100 draws the ends would be rough
        true = np.maximum(0.1 - truth[told], 0).sum()
        short_in += needed.volume_low95_m3 <= true <= needed.volume_high95_m3
    assert 0.90 <= held / total <= 0.985
    assert short_in >= 34


@pytest.mark.analytic
def test_draws_have_the_mean_and_the_s_d_of_the_kriged_depth():
    rng = np.random.default_rng(8)
    places = rng.uniform(5, 25, (6, 2))
    coarse = Grid("EPSG:32617", 0, 30, 1.0, 30, 30)
    mix = mix_depth(cores_at(places, rng.normal(0.1, 0.02, 6)), coarse, np.ones((30, 30), bool))
    drawn = depth_draws(mix, 1500, rng)
    score = (drawn.mean(axis=0) - mix.depth_m[mix.told]) / mix.sigma_m[mix.told]
    assert np.abs(score).max() < 0.15
    ratio = drawn.std(axis=0) / mix.sigma_m[mix.told]
    assert 0.9 < np.median(ratio) < 1.1 and ratio.min() > 0.75


@pytest.mark.invariant
def test_neither_the_order_of_the_cores_nor_where_the_field_lies_matters():
    rng = np.random.default_rng(5)
    cores = cores_at(rng.uniform(0, 30, (11, 2)), rng.normal(0.1, 0.02, 11))
    there = Grid("EPSG:32617", 2_000_000, 800_060, 0.5, 60, 60)
    moved = [Core(c.core_id, c.e + 1_000_000, c.n + 400_000, c.depth_m) for c in cores]
    first, mixed, far = (mix_depth(c, g, ALL) for c, g in ((cores, GRID), (cores[::-1], GRID), (moved, there)))
    np.testing.assert_array_equal(first.depth_m, mixed.depth_m)
    np.testing.assert_allclose(first.depth_m, far.depth_m, atol=1e-9)
    a, b = (restore(m, 0.1, 1.7, 0.05, np.random.default_rng(1), 50) for m in (first, mixed))
    assert a == b


PLACES = (Place("first", "first base", 0.0, 0.0, 0.9, 1.5, 2.7), Place("third", "third base", 40.0, 0.0, 0.9, 1.5, 2.7))
MARCH, JUNE, SEPTEMBER = dt.date(2025, 3, 1), dt.date(2025, 6, 1), dt.date(2025, 9, 1)


@pytest.mark.invariant
def test_cores_older_than_the_last_renewal_no_longer_speak():
    cores = [Core("a", 0, 0, 0.1, MARCH), Core("b", 5, 0, 0.1, SEPTEMBER), Core("c", 10, 0, 0.1)]
    graded = [{"work": "laser_grade", "done_on": dt.date(2025, 5, 30), "ended_on": JUNE}, {"work": "drag", "done_on": dt.date(2025, 10, 1)}]
    kept, dropped = still_speaking(cores, graded, PLACES, dt.date(2026, 1, 1))
    assert [c.core_id for c in kept] == ["b", "c"]
    assert dropped[0][0].core_id == "a" and "2025-06-01" in dropped[0][1]
    early, late = still_speaking(cores, graded, PLACES, dt.date(2025, 4, 1))
    assert [c.core_id for c in early] == ["a", "c"] and [c.core_id for c, _ in late] == ["b"]


@pytest.mark.invariant
def test_a_core_of_a_year_later_says_nothing_of_a_day():
    cores = [Core("soon", 0, 0, 0.1, JUNE), Core("later", 10, 0, 0.1, SEPTEMBER), Core("before", 20, 0, 0.1, MARCH)]
    kept, dropped = still_speaking(cores, [], PLACES, dt.date(2025, 5, 1))
    assert [c.core_id for c in kept] == ["soon", "before"] and "more than 60 days later" in dropped[0][1]


@pytest.mark.invariant
def test_work_on_one_place_renews_the_mix_there_alone():
    cores = [Core("a", 1, 1, 0.1, MARCH), Core("b", 20, 0, 0.1, MARCH)]
    for zone, kept in (("first", ["b"]), ("third", ["a", "b"]), ("skin", []), ("behind the fence", []), (None, [])):
        work = {"work": "level", "done_on": JUNE} | ({"zone": zone} if zone else {})
        assert [c.core_id for c in still_speaking(cores, [work], PLACES, SEPTEMBER)[0]] == kept


@pytest.mark.invariant
def test_of_two_cores_at_one_spot_the_one_nearer_in_time_speaks():
    cores = [Core("old", 0, 0, 0.12, MARCH), Core("new", 0.3, 0, 0.10, SEPTEMBER), Core("far", 3, 0, 0.11, MARCH)]
    kept, dropped = still_speaking(cores, [], (), dt.date(2026, 3, 1))
    assert [c.core_id for c in kept] == ["new", "far"] and dropped[0][0].core_id == "old" and "same spot" in dropped[0][1]
    assert [c.core_id for c in still_speaking(cores, [], (), MARCH)[0]] == ["old", "far"]


@pytest.mark.analytic
def test_the_age_of_all_cores_widens_every_depth_alike():
    """Weights add up to 1, so cores of one day add (rate x years)^2 to every variance; the draws' mean moves with it."""
    rng = np.random.default_rng(11)
    places = rng.uniform(2, 28, (9, 2))
    cores = [Core(c.core_id, c.e, c.n, c.depth_m, MARCH, c.sigma_m) for c in cores_at(places, rng.normal(0.1, 0.01, 9))]
    fresh, aged = (mix_depth(cores, GRID, ALL, on) for on in (MARCH, dt.date(2028, 2, 29)))
    years = (dt.date(2028, 2, 29) - MARCH).days / 365.25
    told = fresh.told
    np.testing.assert_array_equal(fresh.depth_m, aged.depth_m)
    np.testing.assert_allclose(aged.sigma_m[told] ** 2 - fresh.sigma_m[told] ** 2, (AGED_SD_M_PER_YEAR * years) ** 2, rtol=1e-6)
    means = [depth_draws(m, 800, np.random.default_rng(3)).mean(axis=1).std() for m in (fresh, aged)]
    assert np.sqrt(means[1] ** 2 - means[0] ** 2) == approx(AGED_SD_M_PER_YEAR * years, rel=0.15)


@pytest.mark.analytic
def test_a_zones_mean_is_known_as_its_cells_together_are():
    """One core: every draw is its depth and the zone's spread; a zone that cores speak for by less than 60 % has no figure."""
    mix = mix_depth([Core("a", 15.0, 15.0, 0.110)], GRID, ALL)
    drawn = depth_draws(mix, 600, np.random.default_rng(4))
    e, n = GRID.mesh()
    near = np.hypot(e - 15, n - 15) < 1.0
    found = zone_mix(mix, drawn, near, 0.025)
    assert found.depth_m == approx(0.110) and found.told == 1.0 and found.reason == ""
    assert CORE_SD_M < found.sigma_m < np.nanmax(mix.sigma_m[near])  # neighbours share most of their error, not all
    assert found.blade_m == approx(np.nanmin(mix.blade_m(0.025)[near])) and np.isnan(zone_mix(mix, drawn, near, None).blade_m)
    corner = zone_mix(mix, drawn, (e < 6) & (n < 36), 0.025)
    assert np.isnan(corner.depth_m) and "60%" in corner.reason
    with pytest.raises(ValueError, match="are told"):
        zone_mix(mix, drawn[:, 1:], near, None)


@pytest.mark.analytic
def test_cores_come_from_what_was_drawn_and_from_what_was_read():
    drawn = cores_drawn([
        Feature("mix_core", "c-1", shapely.Point(10, 12), {"depth_mm": 110.0, "taken_on": "2026-03-02"}),
        Feature("mix_core", "c-2", shapely.Point(11, 12), {}), Feature("inlet", "i", shapely.Point(0, 0), {}),
    ])  # fmt: skip
    assert drawn == (Core("c-1", 10.0, 12.0, 0.110, dt.date(2026, 3, 2)),)
    day = dt.date(2026, 3, 3)
    rows = [
        {"reading_id": "a", "kind": "mix_depth", "value": "4", "unit": "in", "e": 100.0, "n": 200.0, "read_on": day},
        {"reading_id": "b", "kind": "mix_depth", "value": "95", "unit": "mm", "place": "Lead-off, first", "read_on": day},
        {"reading_id": "c", "kind": "mix_depth", "value": "95", "unit": "mm", "place": "the moon", "read_on": day},
        {"reading_id": "d", "kind": "mix_depth", "value": "95", "place": "first", "read_on": day},
        {"reading_id": "e", "kind": "rain", "value": "10", "unit": "mm", "read_on": day},
    ]  # fmt: skip
    read, lost = cores_read(rows, [Place("lead-off-first", "lead-off, first", 7.0, 8.0, 0.9, 1.5, 2.7)], 0.3048)
    assert [(c.core_id, c.e, c.n) for c in read] == [("a", approx(30.48), approx(60.96)), ("b", 7.0, 8.0)]
    assert [c.depth_m for c in read] == approx([0.1016, 0.095])  # an inch is 25.4 mm, exact
    assert [c.sigma_m for c in read] == approx([CORE_SD_M, np.hypot(CORE_SD_M, PLACE_SD_M)])
    assert [name for name, _ in lost] == ["c", "d"]
