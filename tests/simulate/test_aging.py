"""What time and work do: straight lines between events."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from pipeline.simulate.aging import YEAR_DAYS, pit_depth_m, state_at
from pipeline.simulate.scenario import Event, Pit
from support.quiet_field import FIRST, LATER

PIT = Pit(name="hole", at=(0.0, 20.0), depth_mm=10.0, growth_mm_per_year=20.0)
YEAR = (LATER - FIRST).days / YEAR_DAYS
LIPPED = {"lips": [{"edge": "outer", "height_mm": 20, "wander_mm": 2, "growth_mm_per_year": 10}]}


@pytest.mark.analytic
def test_a_pit_grows_in_a_straight_line():
    assert pit_depth_m(PIT, [], FIRST, FIRST) == pytest.approx(0.010)
    assert pit_depth_m(PIT, [], FIRST, LATER) == pytest.approx(0.010 + 0.020 * YEAR)


@pytest.mark.analytic
def test_levelling_leaves_what_it_leaves_and_growth_starts_again():
    done = [Event(day=date(2025, 10, 7), work="level", only=("hole",), leaves_mm=3)]
    since = (LATER - done[0].day).days / YEAR_DAYS
    assert pit_depth_m(PIT, done, FIRST, LATER) == pytest.approx(0.003 + 0.020 * since)
    elsewhere = [Event(day=date(2025, 10, 7), work="level", only=("another",))]
    assert pit_depth_m(PIT, elsewhere, FIRST, LATER) == pit_depth_m(PIT, [], FIRST, LATER)


@pytest.mark.analytic
def test_a_lip_grows_on_average_by_its_rate_and_is_nothing_where_none_is_planted(scene_of):
    scene, first = scene_of(LIPPED)
    later = state_at(scene, FIRST, LATER)
    outer = slice(*first.along.first[:2])
    grown = (later.along.lip - first.along.lip)[outer] * 1000
    inside = slice(20, -20)  # the ends die out, where edges meet
    assert np.mean(grown[inside]) == pytest.approx(10 * YEAR, rel=0.25) and grown[0] == 0
    assert (later.along.lip[first.along.first[1] :] == 0).all()


@pytest.mark.analytic
def test_cutting_a_lip_leaves_an_even_remainder(scene_of):
    cut = {"events": [{"day": date(2025, 11, 1), "work": "lip_cut", "only": ["outer"], "leaves_mm": 4}]}
    scene, _ = scene_of(LIPPED | cut)
    lip = state_at(scene, FIRST, date(2025, 11, 1)).along.lip[20 : scene_nodes(scene) - 20] * 1000
    assert lip == pytest.approx(np.full(lip.size, 4.0))
    before = state_at(scene, FIRST, date(2025, 10, 31)).along.lip[20 : scene_nodes(scene) - 20] * 1000
    assert before.min() > 15


def scene_nodes(scene) -> int:
    return int(np.ceil(scene.edges[0].length_m / 0.1)) + 1


@pytest.mark.analytic
def test_mix_raises_the_skin_and_wear_lowers_it(scene_of):
    added = {"day": date(2025, 9, 1), "work": "mix_add", "raise_mm": 9}
    field = {"level_mm": -20, "wear_mm_per_year": 6, "events": [added]}
    scene, first = scene_of(field)
    assert first.skin_m == pytest.approx(-0.020)
    assert state_at(scene, FIRST, LATER).skin_m == pytest.approx(-0.020 - 0.006 * YEAR + 0.009)


@pytest.mark.analytic
def test_laser_grading_takes_waves_and_pits_away(scene_of):
    field = {"skin_waves_mm": 8.0, "finish_waves_mm": 1.0, "pits": [PIT.model_dump()],
             "events": [{"day": date(2025, 9, 1), "work": "laser_grade", "leaves_mm": 1}]}  # fmt: skip
    scene, first = scene_of(field)
    later = state_at(scene, FIRST, date(2025, 9, 1))
    assert first.waves[0].values.std() == pytest.approx(0.008, rel=0.2)
    assert later.waves[0].values.std() == pytest.approx(0.001, rel=0.2)
    assert later.pits[0, 2] == pytest.approx(0.001)


@pytest.mark.analytic
def test_a_heaved_slab_stands_higher_from_its_day_on(scene_of):
    scene, _ = scene_of({"heaves": [{"slab": "pad", "since": date(2026, 2, 1), "mm": 40}]})
    before, after = (state_at(scene, FIRST, d).lifts_m[-1] for d in (date(2026, 1, 31), date(2026, 2, 1)))
    assert after - before == pytest.approx(0.040, abs=0.005) and before == pytest.approx(0.050, abs=0.004)


@pytest.mark.invariant
def test_a_state_does_not_depend_on_which_other_days_were_looked_at(scene_of):
    scene, _ = scene_of({**LIPPED, "movement": 1.0, "skin_waves_mm": 3.0})
    alone = state_at(scene, FIRST, LATER)
    state_at(scene, FIRST, date(2025, 12, 1))
    again = state_at(scene, FIRST, LATER)
    assert np.array_equal(alone.along.lip, again.along.lip) and np.array_equal(alone.patchy.values, again.patchy.values)
    assert alone.skin_m == again.skin_m


@pytest.mark.invariant
def test_faults_in_the_story_are_errors(scene_of):
    scene, _ = scene_of()
    with pytest.raises(ValueError, match="before"):
        state_at(scene, FIRST, date(2024, 1, 1))
    with pytest.raises(ValueError, match="inner"):
        scene_of({"lips": [{"edge": "inner", "height_mm": 3}]})


@pytest.mark.independent  # pandas' own date arithmetic
def test_a_year_of_growth_is_a_year_of_days():
    import pandas as pd

    days = (pd.Timestamp("2027-10-03") - pd.Timestamp(FIRST)).days
    assert pit_depth_m(PIT, [], FIRST, date(2027, 10, 3)) == pytest.approx(0.010 + 0.020 * days / 365.25)
