"""All low spots of one survey: declared places and found ponds."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from support.flat_field import all_skin, bowl, error_of, hollow, middle, no_error, place, plane, square

from pipeline.diamond.by_play import nearby
from pipeline.surface.spots import SpotInput, low_spots

FIELD = square(20.0)
MASKS = all_skin(FIELD)
E0, N0 = middle(FIELD)
SECOND = place(E0, N0 + 5.0)
FIRST = place(E0 + 6.0, N0, "first", "first base")
FALL = plane(FIELD, 0.0, 0.006)
WORN = FALL - hollow(FIELD, SECOND.e, SECOND.n, 0.030, 0.8) - bowl(FIELD, E0 - 4.0, N0 - 4.0, 0.040, 1.2)


def given(z, source=None, **more):
    error, white = no_error(FIELD) if source is None else error_of(source, FIELD)
    return SpotInput(FIELD, z, white, MASKS, (FIRST, SECOND), error, 0.0, 0.0, 0.010, 1.7, **more)


def spots(z, source=None, seed=1, **more):
    return low_spots(replace(given(z, source), **more), np.random.default_rng(seed), 16)


def as_rows(found):
    return [tuple(getattr(s, f.name) for f in fields(s)) for s in found.spots]


@pytest.mark.analytic
def test_places_keep_their_order_and_ids_and_ponds_follow_deepest_first():
    found = spots(WORN)
    assert [s.low_spot_id for s in found.spots] == ["first", "second", "pond-1"]
    first, second, pond = found.spots
    assert first.depth_mm == pytest.approx(0.0, abs=1e-6) and first.pond_depth_mm == pytest.approx(0.0, abs=0.2)
    assert (first.probability, second.probability) == (0.0, 1 - 1 / 16)
    assert second.depth_mm == second.ring_depth_mm == pytest.approx(0.70 * 30, abs=0.3)
    assert np.isnan(pond.ring_depth_mm) and pond.depth_mm == pond.pond_depth_mm
    expected = (0.040 - 0.006 * 1.2 / 2) ** 2 / 0.040
    assert pond.depth_mm == pytest.approx(1e3 * expected, abs=1.5)
    assert pond.near == "10.0 m south-west of second base"
    assert {s.evidence for s in found.spots} == {"enough"} and {s.reason for s in found.spots} == {""}
    assert list(found.cells) == ["pond-1"] and found.unlisted == 0


@pytest.mark.analytic
def test_a_pond_at_a_base_is_that_base_s_and_is_not_listed_twice():
    found = spots(WORN)
    second = found.spots[1]
    assert second.pond_depth_mm > 15 and second.ponded_m3 > 0.02
    beside = spots(FALL - hollow(FIELD, SECOND.e + 2.0, SECOND.n, 0.030, 0.5))
    assert [s.low_spot_id for s in beside.spots] == ["first", "second", "pond-1"]
    assert beside.spots[2].near in ("2.0 m east of second base", "2.1 m east of second base")
    assert beside.spots[1].ponded_m3 == 0


@pytest.mark.analytic
def test_volume_and_fill_of_a_place_are_ground_under_the_ring_s_plane_and_of_a_pond_its_water():
    found = spots(FALL - bowl(FIELD, SECOND.e, SECOND.n, 0.030, 1.4) - bowl(FIELD, E0 - 4.0, N0 - 4.0, 0.040, 1.2))
    second, pond = found.spots[1:]
    missing = np.pi * 1.4**2 * 0.030 / 2
    assert second.volume_m3 == pytest.approx(missing, rel=0.01)
    assert second.fill_tonnes == pytest.approx(1.7 * missing, rel=0.01)
    d = 1e-3 * pond.depth_mm
    assert pond.volume_m3 == pytest.approx(np.pi * d**2 * 1.2**2 / (2 * 0.040), rel=0.05)
    assert pond.fill_tonnes == pytest.approx(1.7 * pond.volume_m3)
    assert pond.ponded_m3 <= pond.volume_m3 + 1e-12
    assert all(np.isnan(s.fill_tonnes) for s in spots(WORN, placed_t_per_m3=None).spots)
    assert np.isnan(found.spots[0].fill_tonnes)  # nothing is missing at first base


@pytest.mark.analytic
def test_the_plane_s_depth_is_measured_from_the_skin_s_own_plane():
    second, pond = spots(WORN).spots[1:]
    disc = 0.030 * (1 - np.exp(-(0.9**2) / (2 * 0.8**2))) * 2 * 0.8**2 / 0.9**2
    assert second.plane_depth_mm == pytest.approx(1e3 * disc, abs=0.3)
    assert pond.plane_depth_mm == pytest.approx(40 - 6 * 0.22, abs=1.5)  # its deepest water lies a little downhill


@pytest.mark.analytic
def test_a_pond_s_depth_below_the_plane_is_as_uncertain_as_its_smoothed_cell():
    """White noise only: the twiced Gaussian of s.d. k has sum of squares (2 - 4/3 + 1/4) / (2 pi k^2) a cell area."""
    _, none = no_error(FIELD)
    pond = spots(WORN, white=none + 0.006).spots[2]
    squares = (2 - 4 / 3 + 1 / 4) / (2 * np.pi * 0.15**2) * 0.1**2
    assert pond.plane_depth_sigma_mm == pytest.approx(6 * np.sqrt(squares), rel=0.03)


@pytest.mark.invariant
def test_without_a_tolerance_nothing_is_judged_but_everything_is_measured():
    for s, t in zip(spots(WORN, tolerance_m=None).spots, spots(WORN).spots):
        assert np.isnan(s.probability) and np.isnan(s.tolerance_mm)
        assert s.evidence == "not_enough_evidence" and "no tolerance: low_spot_mm" in s.reason
        assert s.depth_mm == t.depth_mm


@pytest.mark.invariant
def test_a_place_nobody_measured_gives_its_reason_and_leaves_the_others_alone():
    e, n = FIELD.mesh()
    z = np.where(np.hypot(e - FIRST.e, n - FIRST.n) < 1.2, np.nan, WORN)
    first, second = spots(z).spots[:2]
    assert np.isnan(first.depth_mm) and first.evidence == "not_enough_evidence"
    assert first.reason == "0 % of the place was measured, 80 needed"
    assert np.isnan(first.pond_depth_mm) and np.isnan(first.ponded_m3) and np.isnan(first.plane_depth_mm)
    assert second.depth_mm == pytest.approx(spots(WORN).spots[1].depth_mm, abs=1e-9)


@pytest.mark.invariant
def test_the_same_seed_gives_the_same_rows_and_shift_changes_none():
    one, two = as_rows(spots(WORN, "good", 3)), as_rows(spots(WORN, "good", 3))
    assert str(one) == str(two)
    lifted = spots(WORN + 7.0, "good", 3).spots
    for a, b in zip(spots(WORN, "good", 3).spots, lifted):
        assert b.depth_mm == pytest.approx(a.depth_mm, abs=1e-5)
        assert b.probability == pytest.approx(a.probability, abs=0.01)


@pytest.mark.invariant
def test_a_mound_is_no_high_spot_its_rim_no_pond_and_its_landing_is_read_against_its_form():
    e, n = FIELD.mesh()
    away = np.hypot(e - E0, n - N0)
    built = np.clip(0.254 - 0.0833 * np.maximum(away - 0.4, 0), 0, None)
    masks = replace(MASKS, mound=away < 3.5)
    landing = place(E0, N0 - 1.4, "landing", "pitcher's landing spot", 0.6, (1.2, 2.0))
    z = FALL + built - hollow(FIELD, landing.e, landing.n, 0.025, 0.5)
    found = low_spots(
        replace(given(z), masks=masks, places=(landing, SECOND), built=built), np.random.default_rng(0), 16
    )
    assert [s.low_spot_id for s in found.spots] == ["landing", "second"]
    share = 2 * 0.5**2 / 0.6**2 * (1 - np.exp(-(0.6**2) / (2 * 0.5**2)))
    assert found.spots[0].ring_depth_mm == pytest.approx(25 * share, abs=1.5)
    assert np.isnan(found.spots[0].pond_depth_mm)
    assert found.spots[1].plane_depth_mm == pytest.approx(0.0, abs=0.3)


@pytest.mark.invariant
def test_grass_is_taken_off_before_the_flood():
    """Skin that falls into 28 mm of grass would pond all along it."""
    high = FALL + np.where(MASKS.grass, 0.028, 0.0)
    assert len(spots(high).spots) > 2
    assert [s.low_spot_id for s in spots(high, canopy_m=0.028).spots] == ["first", "second"]


@pytest.mark.invariant
def test_ponds_that_noise_alone_makes_are_not_listed_or_are_said_to_be_unproven():
    """Flat ground under a weak survey: it is riddled with hollows of noise."""
    flat = plane(FIELD, 0.0, 0.003)
    error, white = error_of("weak", FIELD)
    f = error.fields(FIELD, white, 1, np.random.default_rng(5))[0]
    found = spots(flat + f, "weak")
    assert found.unlisted > 20
    ponds = found.spots[2:]
    assert len(ponds) < 10
    sure = [s for s in ponds if s.evidence == "enough" and s.probability > 0.8]
    assert len(sure) <= 1
    assert all("noise alone" in s.reason and np.isnan(s.probability) for s in ponds if s.evidence != "enough")


@pytest.mark.invariant
def test_hollows_of_noise_that_holes_in_the_data_cut_are_not_listed_either():
    """A sparse survey has empty places everywhere; most hollows of its noise touch one, and none has a depth for it."""
    error, white = error_of("weak", FIELD)
    field = plane(FIELD, 0.0, 0.003) + error.fields(FIELD, white, 1, np.random.default_rng(5))[0]
    draw = np.random.default_rng(6).random((FIELD.ny // 7 + 1, FIELD.nx // 7 + 1)) < 0.1
    holes = np.kron(draw, np.ones((7, 7), bool))[: FIELD.ny, : FIELD.nx]
    found = spots(np.where(holes, np.nan, field), "weak")
    cut = [p for p in found.ponding.ponds if p.reason]
    assert len(cut) > 20
    assert sum("not measured" in s.reason or "hole" in s.reason for s in found.spots[2:]) < 10
    deep = spots(np.where(holes, np.nan, field - bowl(FIELD, E0 - 4.0, N0 - 4.0, 0.060, 1.5)), "weak")
    assert any(np.hypot(s.e - E0 + 4.0, s.n - N0 + 4.0) < 1.0 for s in deep.spots[2:])  # a real one still is, hole or not


@pytest.mark.invariant
def test_a_pond_cut_by_a_hole_has_no_depth_and_a_volume_below_its_sigma_none():
    e, n = FIELD.mesh()
    hole = (np.abs(e - E0 + 4) < 0.5) & (np.abs(n - N0 + 4) < 0.5)
    pond = spots(np.where(hole, np.nan, WORN)).spots[2]
    assert np.isnan(pond.depth_mm) and np.isnan(pond.volume_m3) and np.isnan(pond.probability)
    assert pond.evidence == "not_enough_evidence" and "hole in the data" in pond.reason
    shallow = spots(plane(FIELD, 0, 0.002) - hollow(FIELD, E0 - 4, N0 - 4, 0.012, 2.5), "weak", seed=2)
    for s in shallow.spots[2:]:
        assert not s.volume_sigma_m3 > s.volume_m3
        assert np.isfinite(s.volume_m3) or s.reason


@pytest.mark.invariant
def test_water_at_a_place_that_noise_explains_is_not_told_from_none():
    error, white = error_of("good", FIELD)
    for seed, f in enumerate(error.fields(FIELD, white, 2, np.random.default_rng(12))):
        for s in spots(FALL + f, "good", seed).spots[:2]:
            assert s.pond_depth_mm < 6.0
            assert s.pond_depth_sigma_mm >= s.pond_depth_mm


@pytest.mark.analytic
@pytest.mark.parametrize(
    "e, n, words",
    [
        (0, 2.1, "2.1 m north"),
        (1, 1, "1.4 m north-east"),
        (-3, 0.2, "3.0 m west"),
        (-1, -1.02, "1.4 m south-west"),
        (0.5, -0.1, "0.5 m east"),
    ],
)
def test_a_spot_is_told_from_its_nearest_place_in_words(e, n, words):
    assert nearby(SECOND.e + e, SECOND.n + n, (FIRST, SECOND)) == f"{words} of second base"


@pytest.mark.analytic
def test_a_spot_on_a_place_carries_its_words_and_one_without_places_none():
    assert nearby(SECOND.e, SECOND.n + 0.04, (FIRST, SECOND)) == "second base"
    assert nearby(0.0, 0.0, ()) == ""


@pytest.mark.independent
@pytest.mark.parametrize("source", ["good", "lidar"])
def test_the_figures_of_a_survey_lie_within_two_sigma_of_the_truth(source):
    """Two worn places and a pond under drawn errors, three surveys: at most one figure in ten beyond 1.96 s.d."""
    true = spots(WORN)
    error, white = error_of(source, FIELD)
    away = []
    for seed, f in enumerate(error.fields(FIELD, white, 3, np.random.default_rng(11))):
        found = spots(WORN + f, source, seed)
        for s, t in zip(found.spots[:3], true.spots[:3]):
            assert s.low_spot_id == t.low_spot_id
            for name in ("depth", "ring_depth", "pond_depth", "plane_depth"):
                away.append((getattr(s, f"{name}_mm") - getattr(t, f"{name}_mm")) / getattr(s, f"{name}_sigma_mm"))
            away.append((s.volume_m3 - t.volume_m3) / s.volume_sigma_m3)
    away = np.abs([a for a in away if np.isfinite(a)])
    assert len(away) > 35 and (away > 1.96).mean() <= 0.10 and away.max() < 4
