"""What a low spot did between two dates."""

from __future__ import annotations

import numpy as np
import pytest
from support.flat_field import SOURCES, all_skin, bowl, error_of, hollow, middle, no_error, place, plane, square

from pipeline.surface.ponds import find_ponds
from pipeline.surface.spot_change import FoundPond, low_spot_change, mean_ponding
from pipeline.surface.spots import SpotInput
from pipeline.surface.survey_error import SurveyError
from pipeline.survey.noise import Noise, of_difference

FIELD = square(16.0)
MASKS = all_skin(FIELD)
E0, N0 = middle(FIELD)
SECOND = place(E0 + 3.0, N0)
FALL = plane(FIELD, 0.0, 0.005)
NONE = np.empty(0, int)


def seen(z, masks=MASKS) -> np.ndarray:
    """Cells of the deepest pond; none where there is none."""
    found = find_ponds(z, FIELD, masks.flood, masks.ponds).ponds
    return found[0].cells if found else NONE


def changed(earlier, later, ponds=None, source=None, places=(SECOND,)):
    """Rows of the place and of `pond-1`, from two surfaces."""
    exact, none = no_error(FIELD)
    error, white = exact, none
    if source is not None:
        noise = SOURCES[source][0]
        error, white = SurveyError.of(of_difference(noise, noise), middle(FIELD)), 2**0.5 * error_of(source, FIELD)[1]
    both = [SpotInput(FIELD, z, none, MASKS, places, exact, 0.0, 0.0, None) for z in (earlier, later)]
    pond = FoundPond("pond-1", "3.0 m west of second base", seen(earlier), seen(later)) if ponds is None else ponds
    return low_spot_change(later - earlier, white, mean_ponding(*both), FIELD, MASKS, places, (pond,), error)


def pit(depth):
    return FALL - bowl(FIELD, E0 - 3.0, N0, depth, 1.4)


@pytest.mark.analytic
def test_a_place_that_sank_is_deeper_and_has_lost_the_material():
    sank = bowl(FIELD, SECOND.e, SECOND.n, 0.010, 1.4)
    place_row, _ = changed(pit(0.03), pit(0.03) - sank)
    share = 1 - 0.9**2 / (2 * 1.4**2)  # mean of a paraboloid over the disc
    assert place_row.low_spot_id == "second" and place_row.near == "second base"
    assert place_row.depth_change_mm == pytest.approx(10 * share, abs=0.1)
    assert place_row.volume_change_m3 == pytest.approx(-np.pi * 1.4**2 * 0.010 / 2, rel=0.01)
    assert place_row.detected and place_row.evidence == "enough"


@pytest.mark.analytic
def test_a_pond_that_was_filled_is_shallower_and_has_gained_the_material():
    _, pond = changed(pit(0.040), pit(0.015))
    assert -25.0 < pond.depth_change_mm < -18.0  # its bottom: the mean over where the water was deep
    gained = np.pi * 1.4**2 * 0.025 / 2
    assert 0.85 * gained < pond.volume_change_m3 < 1.02 * gained
    assert pond.detected


@pytest.mark.invariant
def test_swapping_the_dates_only_flips_the_sign():
    there, back = changed(pit(0.040), pit(0.015)), changed(pit(0.015), pit(0.040))
    for a, b in zip(there, back):
        assert b.depth_change_mm == pytest.approx(-a.depth_change_mm, abs=1e-9)
        assert b.volume_change_m3 == pytest.approx(-a.volume_change_m3, abs=1e-12)
        assert b.depth_change_sigma_mm == pytest.approx(a.depth_change_sigma_mm, abs=1e-12)


@pytest.mark.invariant
def test_shift_and_tilt_of_either_survey_change_nothing():
    """The two surveys need no tie."""
    plain = changed(pit(0.030), pit(0.020))
    moved = changed(pit(0.030), pit(0.020) + plane(FIELD, 0.0005, -0.0004, 0.080))
    for a, b in zip(plain, moved):
        assert b.depth_change_mm == pytest.approx(a.depth_change_mm, abs=0.15)  # the pond's ground may gain a cell
        assert b.volume_change_m3 == pytest.approx(a.volume_change_m3, abs=3e-3)
    assert moved[0].depth_change_mm == pytest.approx(plain[0].depth_change_mm, abs=1e-6)


@pytest.mark.invariant
def test_a_pond_found_at_one_date_only_is_known_less_well():
    a, b = pit(0.030), pit(0.022)
    both = changed(a, b, source="good")[1]
    once = changed(a, b, FoundPond("pond-1", "", seen(a), NONE), source="good")[1]
    assert once.depth_change_mm == both.depth_change_mm
    assert once.depth_change_sigma_mm == pytest.approx(1.5 * both.depth_change_sigma_mm)


@pytest.mark.analytic
def test_what_cannot_be_compared_says_why():
    e, n = FIELD.mesh()
    a, b = pit(0.030), pit(0.020)
    dry = changed(FALL, FALL, FoundPond("pond-4", "", np.arange(5000, 5020), NONE))[1]
    assert dry.reason == "the mean of both dates holds less than 4 mm there" and not dry.detected
    hole = np.where(np.hypot(e - E0 + 3.0, n - N0) < 0.8, np.nan, b)
    exact, none = no_error(FIELD)
    both = [SpotInput(FIELD, z, none, MASKS, (), exact, 0.0, 0.0, None) for z in (a, b)]
    pond = FoundPond("pond-1", "", seen(a), seen(b))
    (row,) = low_spot_change(hole - a, none, mean_ponding(*both), FIELD, MASKS, (), (pond,), exact)
    assert row.evidence == "not_enough_evidence" and "of it was measured at both dates, 80 needed" in row.reason
    aside = np.where(e > E0 - 3.5, np.nan, b)
    (row,) = low_spot_change(aside - a, none, mean_ponding(*both), FIELD, MASKS, (), (pond,), exact)
    assert "degrees of the ground around it, 200 needed" in row.reason
    assert np.isnan(row.depth_change_mm) and np.isnan(row.volume_change_sigma_m3)


@pytest.mark.independent
@pytest.mark.parametrize(
    "source, found_at", [("good", "both"), ("lidar", "both"), ("good", "earlier"), ("weak", "both")]
)
def test_still_ground_changes_by_no_more_than_its_sigma(source, found_at):
    """60 pairs of drawn surveys of one pond that does not move: s.d. of the z-scores, and no lean to filling up."""
    truth = FALL - hollow(FIELD, E0 - 3.0, N0, 0.022, 0.6)
    error, white = error_of(source, FIELD)
    drawn = error.fields(FIELD, white, 120, np.random.default_rng(32))
    rows = []
    for k in range(0, 120, 2):
        a, b = truth + drawn[k], truth + drawn[k + 1]
        near = np.flatnonzero(np.hypot(*(v - m for v, m in zip(FIELD.mesh(), (E0 - 3.0, N0)))) < 0.4)
        pond = FoundPond("pond-1", "", near, near if found_at == "both" else NONE)
        rows.append(changed(a, b, pond, source))
    wider = 1.0 if found_at == "both" else 1.5
    for which in (0, 1):
        z = np.array([r[which].depth_change_mm / r[which].depth_change_sigma_mm for r in rows if not r[which].reason])
        v = np.array([r[which].volume_change_m3 / r[which].volume_change_sigma_m3 for r in rows if not r[which].reason])
        scale = wider if which else 1.0
        assert len(z) > 45
        assert 0.8 <= scale * z.std() <= 1.3 and 0.8 <= scale * v.std() <= 1.3
        assert abs(scale * z.mean()) < 0.4
        assert np.mean([r[which].detected for r in rows]) <= 0.12


@pytest.mark.independent
def test_ten_millimetres_at_a_base_are_detected_by_good_surveys():
    error, white = error_of("good", FIELD)
    drawn = error.fields(FIELD, white, 20, np.random.default_rng(33))
    sank = bowl(FIELD, SECOND.e, SECOND.n, 0.010, 1.4)
    pond = FoundPond("pond-1", "", NONE, NONE)
    pairs = zip(drawn[::2], drawn[1::2])
    found = [changed(FALL + a, FALL - sank + b, pond, "good")[0] for a, b in pairs]
    assert np.mean([f.detected for f in found]) >= 0.8
    assert np.mean([f.depth_change_mm for f in found]) == pytest.approx(7.9, abs=1.5)


UNEVEN = (0.004, 0.016)  # m, white noise of a cell at two dates


def unchanged(ground, draws: int, rng) -> list:
    """Rows of all the hollows that the worse of two dates shows on ground that stayed as it was."""
    surveys = [SurveyError.of(Noise(sd, (), 0.0, 0.0, 0.0, 0.0), middle(FIELD)) for sd in UNEVEN]
    pair = SurveyError.of(of_difference(*(s.noise for s in surveys)), middle(FIELD))
    white, rows = np.full(FIELD.shape, np.hypot(*UNEVEN)), []
    for _ in range(draws):
        a, b = (ground + rng.normal(0, sd, FIELD.shape) for sd in UNEVEN)
        both = [SpotInput(FIELD, z, np.full(FIELD.shape, sd), MASKS, (), s, 0.0, 0.0, None) for z, sd, s in zip((a, b), UNEVEN, surveys)]
        found = find_ponds(b, FIELD, MASKS.flood, MASKS.ponds, keep_m=0.004).ponds
        ponds = tuple(FoundPond(f"pond-{k}", "", NONE, p.cells) for k, p in enumerate(found))
        rows += low_spot_change(b - a, white, mean_ponding(*both), FIELD, MASKS, (), ponds, pair)
    return rows


@pytest.mark.invariant
def test_hollows_that_the_noise_of_the_worse_date_digs_do_not_change():
    """Two swaths of one flight showed it. On a plain mean of both dates they deepened by 1.7 s.d., 30 % beyond 1.96."""
    rows = unchanged(FALL, 6, np.random.default_rng(11))
    assert len(rows) > 50
    assert not any(r.detected for r in rows)


@pytest.mark.invariant
def test_a_real_hollow_that_noise_deepens_at_the_worse_date_keeps_its_depth():
    rows = [r for r in unchanged(pit(0.030), 8, np.random.default_rng(12)) if np.isfinite(r.depth_change_mm)]
    units = [r.depth_change_mm / r.depth_change_sigma_mm for r in rows]
    assert len(rows) >= 8 and abs(np.mean(units)) < 0.5


@pytest.mark.analytic
@pytest.mark.parametrize("rise, hidden, sure", [(0.03, 0.0, True), (0.03, 0.05, False), (-0.03, 0.05, True), (0.09, 0.05, True)])
def test_a_place_that_rose_by_what_unseen_plants_may_add_is_not_called_changed(rise, hidden, sure):
    exact, none = no_error(FIELD)
    dz = rise * (np.hypot(FIELD.mesh()[0] - SECOND.e, FIELD.mesh()[1] - SECOND.n) < 1.2)
    mean = find_ponds(FALL, FIELD, MASKS.flood, MASKS.ponds)
    (row,) = low_spot_change(dz, none, mean, FIELD, MASKS, (SECOND,), (), exact, hidden)
    assert row.detected == sure and ("low plants" in row.reason) != sure
