"""The noise that a field's own differences show: which count, what they change, and that intervals then hold."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest
from support.noisy_series import CELL, GRID, SKIN, ZONES, covered, lengthened, series

from pipeline.steps.change_noise import pair_noises
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, of_difference

LAYOUT = SimpleNamespace(grid=GRID, skin=SKIN, zones={"skin": SKIN, **ZONES})
DAYS = {"a": dt.date(2025, 4, 1), "b": dt.date(2025, 7, 1), "c": dt.date(2025, 10, 1)}
PAIR = of_difference(GOOD_PHOTOGRAMMETRY, GOOD_PHOTOGRAMMETRY)


def survey(z, source="photogrammetry", noise=GOOD_PHOTOGRAMMETRY, rows=None):
    white = np.full(GRID.shape, 0.15 * noise.white_m)
    return SimpleNamespace(z=z, white=white, cell_noise=noise, noise=noise, rows=rows, record={"source": source})


def job(*works):
    return SimpleNamespace(rows={"surveys": [{"survey_id": s, "flown_on": d} for s, d in DAYS.items()], "works": list(works)})


def kept(factor=1.0, seed=0):
    return {s: survey(z) for s, z in zip("abc", series(GOOD_PHOTOGRAMMETRY.scaled(factor), 3, np.random.default_rng(seed)))}


def rise(noise) -> list[float]:
    return [a / b for (a, _), (b, _) in zip(noise.parts, PAIR.parts)]


@pytest.mark.analytic
def test_louder_differences_widen_every_part_and_the_record_says_so():
    found = pair_noises(job(), LAYOUT, kept(2.0))
    assert min(rise(found.of("a", "c"))) > 1.2
    record = found.record("a", "c")
    assert record["differences"] == 2
    assert [p["fitted"] for p in record["parts"]] == [True, True, True]
    assert all(p["used_mm"] > 1.2 * p["declared_mm"] for p in record["parts"])


@pytest.mark.analytic
def test_differences_as_declared_leave_it_nearly_as_it_was():
    assert rise(pair_noises(job(), LAYOUT, kept()).of("a", "b")) == pytest.approx([1.0, 1.0, 1.0], abs=0.15)


@pytest.mark.analytic
def test_work_on_all_of_the_skin_takes_its_difference_out_and_work_on_a_zone_only_the_zone():
    mixed = {"work": "mix_add", "done_on": dt.date(2025, 5, 2)}
    assert pair_noises(job(mixed), LAYOUT, kept(2.0)).of("a", "b") is None  # one difference is left, and one tells too little
    both = pair_noises(job(mixed, {"work": "laser_grade", "done_on": dt.date(2025, 8, 2)}), LAYOUT, kept(2.0))
    assert both.of("a", "c") is None
    record = both.record("a", "c")
    assert record["differences"] == 0 and all(p["used_mm"] == p["declared_mm"] and not p["fitted"] for p in record["parts"])
    local = {"work": "level", "done_on": dt.date(2025, 5, 2), "zone": "disc-1"}
    assert pair_noises(job(local), LAYOUT, kept(2.0)).record("a", "b")["differences"] == 2
    dragged = {"work": "drag", "done_on": dt.date(2025, 5, 2)}
    assert pair_noises(job(dragged), LAYOUT, kept(2.0)).record("a", "b")["differences"] == 2


@pytest.mark.analytic
def test_worn_places_do_not_count_as_noise():
    worn = kept()
    worn["b"].z = worn["b"].z - 0.05 * np.any([GRID.mask(z) for z in ZONES.values()], axis=0)
    calm, holes = pair_noises(job(), LAYOUT, kept()), pair_noises(job(), LAYOUT, worn)
    assert rise(holes.of("a", "b")) == pytest.approx(rise(calm.of("a", "b")), rel=1e-6)


@pytest.mark.analytic
def test_sources_are_kept_apart_and_walks_keep_what_is_declared():
    """Photogrammetry, lidar, photogrammetry: the two flights are compared over the lidar between them."""
    found = kept(2.0)
    found["b"] = survey(found["b"].z, "lidar", LIDAR)
    noises = pair_noises(job(), LAYOUT, found)
    assert {k: len(v) for k, v in noises.fits.items()} == {("lidar", "photogrammetry"): 2}  # of the flights there is one
    walked = kept(2.0)
    walked["c"] = survey(walked["c"].z, "rover", rows=object())
    assert pair_noises(job(), LAYOUT, walked).of("b", "c") is None


@pytest.mark.analytic
@pytest.mark.parametrize("length", [0.5, 2.0])
def test_intervals_hold_where_the_correlation_length_is_half_or_twice_the_assumed(length):
    """Share of 95 % intervals of still ground that hold no change; four series of four surveys, 72 discs."""
    found = covered(lengthened(GOOD_PHOTOGRAMMETRY, length), GOOD_PHOTOGRAMMETRY, 4, np.random.default_rng(3000))
    assert found["fitted"][1] >= 0.92 and found["fitted"][0] >= 0.83  # twelve of the skin: two may miss


@pytest.mark.analytic
def test_intervals_hold_where_a_survey_is_half_as_noisy_again_as_declared_and_did_not_before():
    found = covered(GOOD_PHOTOGRAMMETRY.scaled(1.5), GOOD_PHOTOGRAMMETRY, 4, np.random.default_rng(3001))
    assert found["fitted"][1] >= 0.90
    assert found["declared"][1] <= found["fitted"][1] - 0.04
    assert CELL == GRID.cell_m


@pytest.mark.analytic
def test_a_difference_far_beyond_what_is_declared_is_change_and_not_noise():
    assert pair_noises(job(), LAYOUT, kept(40.0)).of("a", "b") is None
