from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from itertools import product

import numpy as np
import pytest
from pytest import approx
from scipy.stats import norm, truncnorm
from shapely.geometry import LineString, box
from support.edge_scene import LIDAR, WEAK, Lip, Options, Scene, single_arc, small_infield
from support.flat_tables import cover_ramp, straight, table_of
from support.lip_trials import NOISE, figures, lips, mixed_scene, one_date, ruled, tables, true_kind

from pipeline.diamond.edges import Edge
from pipeline.surface.calibration import Canopy
from pipeline.surface.lip import FALL_M, RISE_M, kind_of, lip_of_edge, more_readings, one_date_noise, see
from pipeline.surface.lip_noise import StillNoise
from pipeline.surface.lip_shape import freeze
from pipeline.survey.edges.edge_shape import bump
from pipeline.survey.edges.edge_table import edge_table
from pipeline.survey.points import Ground

EDGE = straight(30.0)
QUIET = StillNoise(2.0, 1e-6, 1e-6, 1000.0, 1000.0)
SEEDS = {"good": (41, 42), "weak": (41, 42, 43), "lidar": (41, 42, 43)}
KNOWN = Canopy(0.028, 0.001, "edge", 20, 1e-5)


def flat_table(height=0.0, step=0.0, kink=0.0, canopy=0.028):
    def z(s, d):
        return 51 + 0.01 * d + (canopy + step) * cover_ramp(d) + height * bump(d) + kink * np.maximum(d, 0) + 0 * s

    return table_of(z, green=lambda d: 0.05 + 0.85 * cover_ramp(d))


def stations(table, canopy=KNOWN, turf_height_m=None):
    return lip_of_edge(table, EDGE, freeze(table), QUIET, canopy, turf_height_m, 0.005)


@lru_cache(maxsize=None)
def mixed(name: str, seed: int):
    scene = mixed_scene(name, seed, small_infield())
    return scene, *one_date(scene)


@pytest.mark.analytic
def test_a_lip_of_25_mm_reads_25_mm_of_rise_and_of_fall():
    whole = stations(flat_table(0.025))[-1]
    assert whole.kind == "lip" and whole.station_m is None
    # blades may stand lower on a lip than behind it: half of 15 % on 30 mm is allowed for, here 1.9 mm of canopy
    assert whole.height_m == approx(0.025 + 0.0019, abs=5e-4) and whole.height_m - 0.025 < whole.height_sigma_m
    assert whole.fall_m == approx(0.025, abs=5e-4)
    assert (whole.crest_offset_m, whole.width_m) == approx((0.13, 0.853 * 0.43), abs=0.02)
    # area under a bump of unit height: 0.43 m times Gamma(1 + 1/2.3)
    assert whole.section_m2 == approx(0.025 * 0.43 * 0.886, rel=0.05)


@pytest.mark.analytic
def test_a_step_up_without_a_fall_is_low_skin_and_reads_the_step():
    whole = stations(flat_table(0.0, step=0.030))[-1]
    assert whole.kind == "low_skin"
    assert whole.height_m == approx(0.030, abs=5e-4)
    assert abs(whole.fall_m) < 0.002
    assert whole.section_m2 == approx(0, abs=3e-4)


@pytest.mark.analytic
def test_canopy_alone_is_flush_where_a_ruler_has_told_its_height():
    found = stations(flat_table(0.0))
    assert {q.kind for q in found if np.isfinite(q.height_m)} == {"flush"}
    assert found[-1].height_m == approx(0, abs=5e-4)


@pytest.mark.analytic
def test_ends_are_not_told_and_every_metre_has_its_station():
    found = stations(flat_table(0.025))
    assert [q.station_m for q in found[:-1]] == approx(np.arange(30) + 0.5)
    assert found[0].kind == found[29].kind == "not_enough_evidence" and np.isnan(found[0].height_m)
    assert found[4].e == approx(4.5) and found[4].n == approx(0.13, abs=0.02)  # at the crest, in the grass
    assert see(flat_table(0.02), freeze(flat_table(0.02)), np.array([10.5])).length_m == approx(2.0)


@pytest.mark.analytic
def test_a_mound_that_bends_at_its_grass_is_no_lip():
    # 1 in per ft on the skin, level grass: the ground bends by 83 mm per m at the line
    for kink in (-0.083, 0.083):
        whole = stations(flat_table(0.0, kink=kink))[-1]
        assert whole.kind != "lip"
        assert abs(whole.height_m) < 0.003 < whole.height_sigma_m * 1.96


@pytest.mark.analytic
def test_without_a_ruler_the_bracket_runs_from_all_blades_to_none():
    uncalibrated = Canopy(0.028, 0.009, "none", 0, 1e-5)
    whole = stations(flat_table(0.025), uncalibrated, turf_height_m=0.035)[-1]
    seen = see(flat_table(0.025), freeze(flat_table(0.025)), np.array([15.0])).rise[0]
    assert whole.rise_high95_m >= seen and whole.rise_low95_m <= seen - 0.035
    assert whole.rise_low95_m < 0.025 < whole.rise_high95_m


@pytest.mark.invariant
def test_a_higher_survey_and_a_sloping_field_change_nothing():
    table = flat_table(0.02)
    tilted = replace(table, z=table.z + 3.0 + 0.02 * table.d + 0.01 * table.s[:, None])
    here, there = stations(table)[-1], stations(tilted)[-1]
    assert there.height_m == approx(here.height_m, abs=1e-6)
    assert there.fall_m == approx(here.fall_m, abs=1e-6)


@pytest.mark.invariant
def test_an_edge_that_was_not_seen_is_told_nowhere():
    blank = replace(flat_table(0.02), z=np.full(flat_table().z.shape, np.nan), green=None)
    found = stations(blank)
    assert {q.kind for q in found} == {"not_enough_evidence"} and np.isnan(found[-1].height_m)
    assert one_date_noise([blank], [freeze(blank)], NOISE["good"], 0.028).turf > 0


@pytest.mark.invariant
def test_taller_grass_moves_the_rise_of_an_uncalibrated_edge_and_hardly_its_fall():
    unruled = Canopy(0.028, 0.009, "none", 0, 1e-5)
    short, tall = (stations(flat_table(0.02, canopy=c), unruled)[-1] for c in (0.02, 0.05))
    assert tall.height_m - short.height_m > 0.025
    assert abs(tall.fall_m - short.fall_m) < 0.007
    assert tall.height_sigma_m > 2 * tall.canopy_part_m / 2 > 0


@pytest.mark.invariant
def test_more_uncertainty_never_turns_no_evidence_into_a_verdict():
    rng = np.random.default_rng(1)
    for rise, fall in rng.uniform(-0.01, 0.04, (200, 2)):
        words = [kind_of(rise, s, fall, s) for s in (0.001, 0.003, 0.009, 0.03)]
        undecided = [w == "not_enough_evidence" for w in words]
        assert undecided == sorted(undecided) or rise < RISE_M or fall < FALL_M


@pytest.mark.independent
def test_verdicts_are_normal_probabilities_of_nine_in_ten():
    # scipy.stats.norm: 6 mm + 1.2816 s.d. of rise, 4 mm + 1.2816 s.d. of fall
    edge = norm.ppf(0.90)
    assert kind_of(RISE_M + edge * 0.0051, 0.005, FALL_M + edge * 0.0041, 0.004) == "lip"
    assert kind_of(RISE_M + edge * 0.0049, 0.005, 0.05, 0.004) == "not_enough_evidence"
    assert kind_of(RISE_M + edge * 0.0051, 0.005, FALL_M + edge * 0.0039, 0.004) == "not_enough_evidence"
    assert kind_of(0.05, 0.005, FALL_M - edge * 0.0041, 0.004) == "low_skin"
    # scipy.stats.truncnorm: flush is judged given that the crest stands no more than 6 mm below the skin
    for rise, sigma in product((-0.030, -0.010, -0.003, 0.0, 0.003), (0.002, 0.005, 0.010)):
        over = truncnorm.sf(RISE_M, (-RISE_M - rise) / sigma, np.inf, rise, sigma)
        assert (kind_of(rise, sigma, 0.0, 0.02) == "flush") == (over <= 0.10), (rise, sigma)
    assert kind_of(-0.0094, 0.0105, 0.0, 0.02) == "not_enough_evidence"  # grass taken for too tall, not a flush edge


@pytest.mark.independent
@pytest.mark.parametrize("name", ["good", "weak", "lidar"])
def test_of_the_stations_decided_hardly_any_is_of_the_wrong_kind(name):
    # the scenes' own truth: lips, low skin, flush edges and lips over a step, under a canopy
    wrong = decided = lip_on_none = without = 0
    misses = []
    for seed in SEEDS[name]:
        scene, edges, seen = mixed(name, seed)
        found = lips(scene, edges, seen, ruled(scene, seen, [6] * 5, seed))
        for q in (q for edge in found for q in edge[:-1]):
            kind, rise, _ = true_kind(scene, q.edge_id, q.station_m)
            decided += q.kind != "not_enough_evidence"
            wrong += q.kind not in ("not_enough_evidence", kind)
            without += kind != "lip"
            lip_on_none += kind != "lip" and q.kind == "lip"
            if np.isfinite(q.height_m) and q.kind != "low_skin":
                misses.append((q.height_m * 1000, rise, q.height_sigma_m * 1000))
    assert decided > 30 * len(SEEDS[name]) and without > 15 * len(SEEDS[name])
    assert wrong <= 0.05 * decided
    assert lip_on_none <= 0.05 * without
    assert 0.88 < figures(misses)["cover"] <= 1.0
    assert figures(misses)["rmse"] < {"good": 6, "weak": 8, "lidar": 5}[name]


@pytest.mark.independent
@pytest.mark.parametrize("name", ["good", "weak", "lidar"])
def test_fifteen_readings_on_an_edge_know_its_mean_to_2_mm_and_elsewhere_to_4(name):
    ruled_edges, others = [], []
    for seed in SEEDS[name]:
        scene, edges, seen = mixed(name, seed)
        for first in range(5):
            near = {(first + k) % 5 for k in range(3)}  # five readings each on three edges, none on the other two
            some = lips(scene, edges, seen, ruled(scene, seen, [5 * (k in near) for k in range(5)], seed + first))
            full = lips(scene, edges, seen, ruled(scene, seen, [15 * (k == first) for k in range(5)], seed + first))
            for k, table in enumerate(seen):
                true = np.mean([true_kind(scene, table.edge_id, s)[1] for s in table.s[table.usable]])
                for q, group in ((full[k][-1], ruled_edges), (some[k][-1], others)):
                    if q.kind != "low_skin" and (k == first if group is ruled_edges else k not in near):
                        group.append((q.height_m * 1000, true, q.height_sigma_m * 1000))
                        assert q.calibration == ("edge" if group is ruled_edges else "field")
    assert figures(ruled_edges)["rmse"] <= 2.0
    assert figures(others)["rmse"] <= 4.0
    assert figures(ruled_edges)["cover"] >= 0.85 and figures(others)["cover"] >= 0.85


@pytest.mark.invariant
def test_without_a_ruler_a_canopy_step_is_never_called_a_lip():
    canopy_only = {"outer": Lip(height=0.0, step=0.0)}
    called = 0
    for seed in range(6):
        scene = Scene(50 + seed, WEAK if seed % 2 else LIDAR, single_arc(20, 25), lips=canopy_only)
        seen = tables(scene, 0, scene.edges)
        called += sum(q.kind == "lip" for q in lips(scene, scene.edges, seen)[0][:-1])
    assert called <= 0.05 * 6 * 23


@pytest.mark.invariant
def test_a_line_known_less_well_makes_the_height_less_sure():
    sure, unsure = (
        lip_of_edge(flat_table(0.0, step=0.03), EDGE, freeze(flat_table(0.0, step=0.03)), QUIET, KNOWN, None, off)[10]
        for off in (0.0, 0.035)
    )
    assert unsure.fall_sigma_m > 1.1 * sure.fall_sigma_m
    assert unsure.fall_m == sure.fall_m


@pytest.mark.independent
def test_real_airborne_lidar_is_too_sparse_for_a_lip_and_says_so(real_data):
    # Open field of the French national lidar (Licence Ouverte), 8 points per m2; lines laid where no edge is
    import laspy

    las = laspy.read(real_data / "field" / "open_field.laz")
    e, n, z = np.asarray(las.x), np.asarray(las.y), np.asarray(las.z)
    west, south = np.floor(e.min()), np.floor(n.min())
    x, y, h = (np.round(v * 1e4).astype(np.int32) for v in (e - west, n - south, z))
    ground = Ground(west, south, 0.0, x, y, h, None, np.asarray(las.intensity).astype(np.uint16))
    for bearing in (10.0, 70.0, 130.0):
        edge = straight(60.0, bearing, start=(484_800.0, 6_632_800.0))
        table = edge_table(ground, edge)
        found = lip_of_edge(table, edge, freeze(table), StillNoise(2.0, 1e-5, 1e-5, 8.0, 8.0), KNOWN)
        assert table.n.sum() > 1000
        assert {q.kind for q in found} == {"not_enough_evidence"}


@pytest.mark.independent
def test_lines_down_the_middle_of_a_real_road_are_never_a_lip(real_data):
    # Dutch national height model and road register (copyleft: read there, nothing kept)
    import geopandas
    import laspy

    las = laspy.read(real_data / "city" / "ahn_2386_9702.laz")
    soil = np.asarray(las.classification) == 2
    e, n, z = (np.asarray(v)[soil] for v in (las.x, las.y, las.z))
    west, south = np.floor(e.min()), np.floor(n.min())
    x, y, h = (np.round(v * 1e4).astype(np.int32) for v in (e - west, n - south, z + 10))
    ground = Ground(west, south, -10.0, x, y, h, None, np.asarray(las.intensity)[soil].astype(np.uint16))
    roads = geopandas.read_file(real_data / "city" / "outlines_2386_9702.gpkg", layer="road")
    laid = 0
    for outline in roads.geometry:
        corners = np.asarray(outline.minimum_rotated_rectangle.exterior.coords)
        ends = sorted(zip(corners[:-1], corners[1:]), key=lambda c: np.hypot(*(c[1] - c[0])))[:2]
        middle = LineString([(a + b) / 2 for a, b in ends]).intersection(box(*ground_bounds(ground)))
        if middle.length < 12:
            continue
        edge = Edge("road", middle, True, "drawn")
        table = edge_table(ground, edge)
        found = lip_of_edge(table, edge, freeze(table), StillNoise(2.0, 1e-5, 1e-5, 8.0, 8.0), KNOWN)
        assert "lip" not in {q.kind for q in found}
        laid += 1
    assert laid >= 5


def ground_bounds(ground: Ground) -> tuple[float, float, float, float]:
    e, n, _ = ground.metres()
    return e.min(), n.min(), e.max(), n.max()


@pytest.mark.invariant
def test_the_advice_tells_how_many_more_readings_are_worth_it():
    table = flat_table(0.02)
    shape = freeze(table)
    vague = Canopy(0.030, 0.010, "none", 0, 2e-5)
    whole = lip_of_edge(table, EDGE, shape, QUIET, vague)[-1]
    more = more_readings(whole, vague, shape)
    assert more is not None and 1 <= more <= 5
    sharp = replace(vague, sigma_m=0.0005)
    assert more_readings(lip_of_edge(table, EDGE, shape, QUIET, sharp)[-1], sharp, shape) is None


@pytest.mark.invariant
def test_relief_of_the_ground_itself_counts_as_uncertainty_of_one_date():
    found = []
    for uneven_mm in (0.0, 8.0):
        scene = Scene(60, LIDAR, single_arc(20, 40), options=Options(uneven_mm=uneven_mm))
        seen = tables(scene, 0, scene.edges)
        found.append(one_date_noise(seen, [freeze(t) for t in seen], NOISE["lidar"], 0.028))
    assert found[1].skin > 1.5 * found[0].skin
