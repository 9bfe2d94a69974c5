"""The tie to stable ground: what it leaves, how well it knows it, and what it refuses to promise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.tied_field import ball_field, drawn

from pipeline.errors import RELATIVE, Refused
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, WEAK_PHOTOGRAMMETRY, Noise, of_difference
from pipeline.survey.stable.drift import drift_prior
from pipeline.survey.stable.misfit import Misfit, misfits
from pipeline.survey.stable.patches import PatchHeight
from pipeline.survey.stable.tie import MOVED_SD, reference, tie_pair, tie_to_baseline, widest_gap_deg

FIELD = ball_field()
SOURCES = {"good": GOOD_PHOTOGRAMMETRY, "lidar": LIDAR, "weak": WEAK_PHOTOGRAMMETRY}
DRAWS = 160


def errors_of(noise: Noise, count: int, draws: int = DRAWS) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Error of the tied mean over the skin, its stated s.d., and the untied error, each (draws,), m."""
    sample = drawn(FIELD, noise, count, draws, np.random.default_rng(20 + count))
    left, sigma, untied = [], [], []
    for found, truth in sample.pairs():
        tie = tie_pair(found, sample.pair, FIELD.centre, FIELD.places)
        left.append(truth + tie.shift_m)
        sigma.append(tie.shift_sigma_m)
        untied.append(truth)
    return np.array(left), np.array(sigma), np.array(untied)


def flat_misfits(values_m, count: int = 7, noise: Noise = GOOD_PHOTOGRAMMETRY, field=FIELD) -> list[Misfit]:
    """Misfits of exactly these values on a set of patches."""
    patches = field.chosen(count)
    heights = {p.patch_id: PatchHeight(p.patch_id, 100.0, 0.0005, 100, 0) for p in patches}
    found = misfits(patches, heights, heights, of_difference(noise, noise))
    return [replace(m, later_m=100.0 + v) for m, v in zip(found, np.broadcast_to(values_m, count))]


def tied(found: list[Misfit], noise: Noise = GOOD_PHOTOGRAMMETRY, field=FIELD, prior=None):
    return tie_pair(found, of_difference(noise, noise), field.centre, field.places, prior)


# Limits of the declared method: rmse in mm over the skin, with five patches and with seven; cover of 95 %.
@pytest.mark.analytic
@pytest.mark.parametrize("source, count, limit_mm", [
    ("good", 5, 4.5), ("lidar", 5, 4.0), ("weak", 5, 9.5), ("good", 7, 3.0), ("lidar", 7, 3.0), ("weak", 7, 5.5),
])  # fmt: skip
def test_the_tied_mean_of_the_skin_is_as_good_as_it_says(source, count, limit_mm):
    left, sigma, untied = errors_of(SOURCES[source], count)
    rmse = np.sqrt(np.mean(left**2))
    assert rmse <= limit_mm * 1e-3
    assert 0.93 <= np.mean(np.abs(left) < 1.96 * sigma) <= 0.985
    assert 0.85 < rmse / np.median(sigma) < 1.15
    assert np.sqrt(np.mean(untied**2)) > 5 * rmse  # with the tie switched off nothing of this holds


@pytest.mark.analytic
@pytest.mark.parametrize("source", ["good", "lidar"])
def test_a_slab_raised_by_40_mm_among_seven_is_named(source):
    sample = drawn(FIELD, SOURCES[source], 7, 120, np.random.default_rng(8))
    named = innocent = 0
    for found, _ in sample.pairs():
        raised = [replace(m, later_m=m.later_m + 0.040) if i == 1 else m for i, m in enumerate(found)]
        moved = tie_pair(raised, sample.pair, FIELD.centre, FIELD.places).moved
        named += moved == ("dugout-first",)
        innocent += bool(moved) and moved != ("dugout-first",)
    assert named >= 0.80 * 120
    assert innocent <= 0.02 * 120


@pytest.mark.analytic
def test_still_patches_are_almost_never_named_as_moved():
    sample = drawn(FIELD, GOOD_PHOTOGRAMMETRY, 7, DRAWS, np.random.default_rng(9))
    named = sum(bool(tie_pair(f, sample.pair, FIELD.centre, FIELD.places).moved) for f, _ in sample.pairs())
    assert named <= 0.02 * DRAWS


@pytest.mark.analytic
def test_a_constant_misfit_is_taken_off_whole():
    tie = tied(flat_misfits(0.020))
    assert tie.shift_m == pytest.approx(-0.020, abs=2e-5)
    value, _ = tie.at(FIELD.places[:, 0], FIELD.places[:, 1])
    np.testing.assert_allclose(value, 0.020, atol=1e-4)


@pytest.mark.analytic
def test_a_tilted_misfit_is_taken_off_where_it_stands():
    patches = FIELD.chosen(7)
    slope = 0.2e-3
    values = [slope * (p.places[:, 0].mean() - FIELD.centre[0]) for p in patches]
    tie = tied(flat_misfits(values))
    value, _ = tie.at(FIELD.places[:, 0], FIELD.places[:, 1])
    truth = slope * (FIELD.places[:, 0] - FIELD.centre[0])
    assert np.abs(value - truth).max() < 0.3 * np.abs(truth).max()
    drift, covariance = tie.drift()
    assert drift[1] == pytest.approx(slope * 30, rel=0.1)
    assert drift[1] > 5 * np.abs(drift[2])
    assert np.all(np.linalg.eigvalsh(covariance) > 0)


@pytest.mark.analytic
def test_right_on_a_patch_the_tie_is_as_sure_as_the_patch():
    found = flat_misfits(0.0)
    tie = tied(found)
    slab = found[1]
    value, sigma = tie.mean_over(slab.patch.places)
    assert value == pytest.approx(0.0, abs=1e-9)
    assert 0.8 * slab.sigma_m < sigma < slab.sigma_m
    far = tie.at(np.array([FIELD.centre[0] + 80.0]), np.array([FIELD.centre[1]]))[1].item()
    assert far > 4 * sigma


@pytest.mark.analytic
def test_three_patches_give_relative_figures_only():
    tie = tied(flat_misfits(0.0, 3))
    assert tie.verdict == "relative_only"
    assert "too_few_patches" in tie.codes
    assert set(tie.codes) <= set(RELATIVE)


@pytest.mark.analytic
def test_seven_good_patches_give_absolute_figures():
    tie = tied(flat_misfits(0.0))
    assert (tie.verdict, tie.codes, tie.model) == ("absolute", (), "drift")


@pytest.mark.analytic
def test_patches_on_one_side_give_relative_figures_only():
    found = flat_misfits(0.0)
    one_side = [m for m in found if m.patch.centre[1] < FIELD.centre[1]]
    more = [replace(m, patch=replace(m.patch, patch_id=m.patch.patch_id + "-b")) for m in one_side]
    tie = tied(one_side + more)
    assert len(tie.patches) >= 5
    assert tie.codes == ("one_sided_patches",)


@pytest.mark.analytic
def test_a_weak_survey_on_a_large_field_is_too_uncertain():
    field = ball_field("baseball-90")
    tie = tied(flat_misfits(0.0, 5, WEAK_PHOTOGRAMMETRY, field), WEAK_PHOTOGRAMMETRY, field)
    assert tie.codes == ("tie_too_uncertain",)
    assert tie.shift_sigma_m > 0.010


@pytest.mark.analytic
def test_no_patch_at_all_leaves_the_survey_alone_and_says_how_little_is_known():
    tie = tied([])
    assert (tie.model, tie.shift_m) == ("none", 0.0)
    assert tie.shift_sigma_m == pytest.approx(0.300, rel=0.01)
    assert tie.codes == ("too_few_patches", "tie_too_uncertain")  # no patch lies on no side


@pytest.mark.analytic
def test_the_baseline_is_its_own_zero():
    tie = reference(FIELD.centre)
    value, sigma = tie.at(FIELD.places[:, 0], FIELD.places[:, 1])
    assert not value.any() and not sigma.any()
    assert (tie.model, tie.shift_m, tie.shift_sigma_m, tie.verdict) == ("reference", 0.0, 0.0, "absolute")
    assert tie.mean_over(FIELD.places) == (0.0, 0.0)


@pytest.mark.analytic
def test_patches_that_disagree_widen_the_tie_up_to_three_times():
    calm = tied(flat_misfits([0.001, -0.001, 0.001, -0.001, 0.001, -0.001, 0.001]))
    wild = tied(flat_misfits([0.08, -0.08, 0.08, -0.08, 0.08, -0.08, 0.08]))
    assert calm.misfit_q < 1
    assert wild.misfit_q > 9
    assert wild.moved == ()  # all disagree: the survey is bad, no slab is to blame
    assert 2.0 * calm.shift_sigma_m < wild.shift_sigma_m <= 3.0 * calm.shift_sigma_m + 1e-12


@pytest.mark.analytic
def test_with_four_patches_none_is_ever_named():
    tie = tied(flat_misfits([0.0, 0.1, 0.0, 0.0], 4))
    assert tie.moved == ()
    assert tie.misfit_q > 1
    assert tie.verdict == "relative_only"


@pytest.mark.analytic
def test_the_patch_left_out_carries_its_height_over_what_the_others_say():
    tie = tied(flat_misfits([0.0, 0.060, 0.0, 0.0, 0.0, 0.0, 0.0]))
    named = {v.patch_id: v for v in tie.verdicts}["dugout-first"]
    assert not named.used
    assert named.residual_m == pytest.approx(0.060, abs=1e-3)
    assert abs(named.residual_m) > MOVED_SD * named.expected_m
    assert [v.used for v in tie.verdicts].count(True) == len(tie.patches) == 6
    assert tie.residual_m < 1e-3


@pytest.mark.analytic
def test_a_survey_decimetres_off_is_refused_but_a_rebuilt_slab_is_not():
    pair = of_difference(GOOD_PHOTOGRAMMETRY, GOOD_PHOTOGRAMMETRY)
    with pytest.raises(Refused) as told:
        tie_to_baseline(flat_misfits(0.160), pair, FIELD.centre, FIELD.places)
    assert told.value.code == "jump_on_stable_ground"
    rebuilt = tie_to_baseline(flat_misfits([0, 0, 0, 0, 0.4, 0, 0]), pair, FIELD.centre, FIELD.places)
    assert rebuilt.moved == ("pad-left",)


@pytest.mark.analytic
def test_the_widest_gap_of_bearings_is_measured_around_the_centre():
    around = [(10.0, 0.0), (0.0, 10.0), (-10.0, 0.0), (0.0, -10.0)]
    assert widest_gap_deg(around, (0.0, 0.0)) == pytest.approx(90)
    assert widest_gap_deg(around[:2], (0.0, 0.0)) == pytest.approx(270)
    assert widest_gap_deg([(0.0, 10.0)], (0.0, 0.0)) == 360
    assert widest_gap_deg([], (0.0, 0.0)) == 360
    assert widest_gap_deg([(0.0, 10.0), (1.0, -1.0)], (0.0, 0.0)) == 360  # too near the centre to count


@pytest.mark.invariant
def test_the_order_of_the_patches_does_not_matter():
    values = np.array([3, -2, 1, 0, 4, -3, 2]) * 1e-3
    there, back = tied(flat_misfits(values)), tied(flat_misfits(values)[::-1])
    assert there.shift_m == pytest.approx(back.shift_m, abs=1e-12)
    assert there.shift_sigma_m == pytest.approx(back.shift_sigma_m, abs=1e-10)


@pytest.mark.invariant
def test_swapping_the_dates_only_flips_the_sign():
    values = np.array([3, -2, 1, 0, 4, -3, 2]) * 1e-3
    there, back = tied(flat_misfits(values)), tied(flat_misfits(-values))
    assert there.shift_m == pytest.approx(-back.shift_m, abs=1e-15)
    assert there.shift_sigma_m == back.shift_sigma_m


@pytest.mark.invariant
def test_moving_the_field_by_two_million_metres_changes_nothing():
    values = np.array([3, -2, 1, 0, 4, -3, 2]) * 1e-3
    far = ball_field("baseball-60", 2_000_000.0, 400_000.0)
    here, there = tied(flat_misfits(values)), tied(flat_misfits(values, field=far), field=far)
    assert here.shift_m == pytest.approx(there.shift_m, abs=1e-8)
    assert here.shift_sigma_m == pytest.approx(there.shift_sigma_m, abs=1e-8)


@pytest.mark.invariant
def test_what_is_said_of_a_place_does_not_depend_on_what_else_is_asked():
    tie = tied(flat_misfits(np.array([3, -2, 1, 0, 4, -3, 2]) * 1e-3))
    value, sigma = tie.at(FIELD.places[:, 0], FIELD.places[:, 1])
    alone = [tie.at(*FIELD.places[i : i + 1].T) for i in (0, 7, 80)]
    np.testing.assert_allclose(value[[0, 7, 80]], [v.item() for v, _ in alone], atol=1e-12)
    np.testing.assert_allclose(sigma[[0, 7, 80]], [s.item() for _, s in alone], atol=1e-9)
    np.testing.assert_allclose(value.mean(), tie.mean_over(FIELD.places)[0], atol=1e-12)


@pytest.mark.independent
def test_the_posterior_equals_conditioning_one_large_normal_on_the_patches():
    """All places of all patches and some targets as one normal vector, conditioned on the patch means (no tables)."""
    values = np.array([3, -2, 1, 0, 4, -3, 2]) * 1e-3
    found = flat_misfits(values)
    pair = of_difference(GOOD_PHOTOGRAMMETRY, GOOD_PHOTOGRAMMETRY)
    tie = tied(found)
    assert tie.misfit_q <= 1  # no inflation to repeat here
    target = FIELD.places[::10]
    places = np.vstack([m.patch.places for m in found] + [target])
    x, y = ((places - np.array(FIELD.centre)) / 30.0).T
    basis = np.column_stack([np.ones_like(x), x, y, x * x + y * y])
    h = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    prior = basis * drift_prior(pair) @ basis.T
    for sd, range_m in pair.parts:
        if range_m >= 1:
            prior += sd**2 * (1 + 3**0.5 * h / range_m) * np.exp(-(3**0.5) * h / range_m)
    sizes = [len(m.patch.places) for m in found]
    mean = np.zeros((len(found), len(places)))
    for k, start in enumerate(np.cumsum([0] + sizes[:-1])):
        mean[k, start : start + sizes[k]] = 1 / sizes[k]
    noise = np.diag([m.sigma_m**2 for m in found])
    gain = np.linalg.solve(mean @ prior @ mean.T + noise, mean @ prior).T
    posterior = prior - gain @ mean @ prior
    value, sigma = tie.at(target[:, 0], target[:, 1])
    np.testing.assert_allclose(value, (gain @ values)[-len(target) :], atol=1e-7)
    np.testing.assert_allclose(sigma, np.sqrt(np.diag(posterior))[-len(target) :], rtol=1e-4)
    of_mean = np.sqrt(posterior[-len(target) :, -len(target) :].mean())
    assert tie.mean_over(target)[1] == pytest.approx(of_mean, rel=1e-4)


@pytest.mark.independent
def test_residuals_left_out_equal_those_of_ties_made_without_the_patch():
    found = flat_misfits(np.array([3, -2, 1, 0, 4, -3, 2]) * 1e-3)
    tie = tied(found)
    for k in (0, 3, 6):
        others = tied(found[:k] + found[k + 1 :])
        value, sigma = others.mean_over(found[k].patch.places)
        assert tie.verdicts[k].residual_m == pytest.approx(found[k].value_m - value, abs=1e-7)
        assert tie.verdicts[k].expected_m == pytest.approx(np.hypot(sigma, found[k].sigma_m), rel=1e-3)
