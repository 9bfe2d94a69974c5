"""A patch that all dates together show to have moved: left out of ties across the move, and what it did before that was seen."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest
from support.slab_series import drawn_series, moved_by
from support.tied_field import SLABS, ball_field, drawn_field

from pipeline.steps.change_patches import moved_ground, moved_records, without
from pipeline.steps.surveyed import Surveyed, footprints, pair_tie
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, of_difference
from pipeline.survey.stable.patches import PatchHeight

GONE, BY = "dugout-first", 0.018
NAMES = [f"s{k}" for k in range(6)]
JOB = SimpleNamespace(rows={"surveys": [{"survey_id": s, "flown_on": dt.date(2025, 1, 1) + dt.timedelta(days=90 * k)} for k, s in enumerate(NAMES)]})
LAYOUT = drawn_field(SLABS)


def surveyed(name: str, heights: dict[str, PatchHeight], base: dict[str, PatchHeight]) -> Surveyed:
    """A survey as far as its patches go."""
    g = GOOD_PHOTOGRAMMETRY
    return Surveyed({"survey_id": name}, "s0", None, None, None, g, g, (), (), (), heights, base, g, 0.0, None, None)


def kept() -> dict[str, Surveyed]:
    days = moved_by(drawn_series(ball_field(), GOOD_PHOTOGRAMMETRY, 7, 1, np.random.default_rng(30))[0], GONE, BY * (np.arange(6) >= 3))
    return {n: surveyed(n, d.heights, days[0].heights) for n, d in zip(NAMES, days)}


@pytest.mark.analytic
def test_a_slab_that_moved_18_mm_is_out_of_ties_across_the_move_and_in_all_others():
    found = kept()
    assert {f.patch_id for f in footprints(LAYOUT)} == set(found["s0"].heights)
    # No pair on its own names it.
    pair = of_difference(GOOD_PHOTOGRAMMETRY, GOOD_PHOTOGRAMMETRY)
    assert not any(pair_tie(LAYOUT, found["s0"].heights, s.heights, pair).moved for s in found.values())
    ground = moved_ground(JOB, LAYOUT, found)
    assert [m.patch_id for m in ground.found] == [GONE]
    assert ground.between("s0", "s5") == ground.between("s2", "s3") == {GONE}
    assert ground.between("s0", "s1") == frozenset() == ground.between("s4", "s5")


@pytest.mark.analytic
def test_the_record_says_how_far_the_patch_carries_each_surface():
    found = kept()
    (record,) = moved_records(LAYOUT, found, moved_ground(JOB, LAYOUT, found))
    assert record["moved_mm"] == pytest.approx(1000 * BY, abs=3 * record["sigma_mm"])
    carried = {s["survey_id"]: s["skin_mm"] for s in record["surveys"]}
    assert set(carried) >= {"s3", "s4", "s5"} and not {"s0", "s1"} & set(carried)
    bare = without(found["s4"].base_heights, frozenset({GONE})), without(found["s4"].heights, frozenset({GONE}))
    tie = pair_tie(LAYOUT, *bare, of_difference(GOOD_PHOTOGRAMMETRY, GOOD_PHOTOGRAMMETRY))
    assert GONE not in {p.patch_id for p in tie.patches}
    assert carried["s4"] == pytest.approx(1000 * (found["s4"].tie(LAYOUT).shift_m - tie.shift_m))
    assert all(v < 0 for k, v in carried.items() if k in ("s3", "s4", "s5"))  # a risen slab draws the survey down
