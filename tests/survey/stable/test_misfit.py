"""Misfits of patches: what goes into them, and each against the others."""

from __future__ import annotations

import numpy as np
import pytest
from support.tied_field import ball_field

from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, Noise, of_difference
from pipeline.survey.stable.drift import LONG_RANGE_M, drift_prior
from pipeline.survey.stable.misfit import PATCH_MOVES_M, MisfitSystem, misfits
from pipeline.survey.stable.patches import PatchHeight

FIELD = ball_field()
PATCHES = FIELD.chosen(7)
PAIR = of_difference(GOOD_PHOTOGRAMMETRY, GOOD_PHOTOGRAMMETRY)


def heights(level_m: float, sigma_m: float = 0.001) -> dict[str, PatchHeight]:
    return {p.patch_id: PatchHeight(p.patch_id, level_m + 0.001 * i, sigma_m, 50, 0) for i, p in enumerate(PATCHES)}


def system(values) -> MisfitSystem:
    found = misfits(PATCHES, heights(100.0), heights(100.0), PAIR)
    made = MisfitSystem.of(found, PAIR.longer_than(LONG_RANGE_M), drift_prior(PAIR), FIELD.centre)
    return MisfitSystem(np.asarray(values, float), made.drift, made.rest)


@pytest.mark.analytic
def test_a_misfit_is_later_minus_earlier_and_knows_its_own_error():
    white_only = Noise(0.004, (), 0.02, 0.0, 0.01, 0.0)
    found = misfits(PATCHES, heights(100.0, 0.0006), heights(100.02, 0.0008), white_only)
    assert [m.value_m for m in found] == pytest.approx([0.02] * 7)
    assert found[0].sigma_m == pytest.approx(np.sqrt(0.0006**2 + 0.0008**2 + 2 * PATCH_MOVES_M**2))


@pytest.mark.analytic
def test_the_short_part_counts_more_on_a_plate_than_on_a_slab():
    """On a slab much larger than the range l its mean keeps 2 pi l^2 / A of the variance."""
    found = {m.patch.patch_id: m.sigma_m**2 for m in misfits(PATCHES, heights(100, 0.0), heights(100, 0.0), PAIR)}
    short = {k: v - 2 * PATCH_MOVES_M**2 for k, v in found.items()}
    area = 2.1 * 6.9
    assert short["dugout-first"] == pytest.approx(2 * 0.003**2 * 2 * np.pi * 0.15**2 / area, rel=0.25)
    assert short["pitchers-plate"] > 20 * short["dugout-first"]


@pytest.mark.invariant
def test_a_patch_that_one_date_did_not_measure_is_no_misfit():
    earlier, later = heights(100.0), heights(100.0)
    del earlier["backstop"]
    later["pad-left"] = PatchHeight("pad-left", float("nan"), float("nan"), 2, 0)
    names = [m.patch.patch_id for m in misfits(PATCHES, earlier, later, PAIR)]
    assert names == [p.patch_id for p in PATCHES if p.patch_id not in ("backstop", "pad-left")]


@pytest.mark.invariant
def test_one_patch_alone_has_nothing_to_be_held_against():
    one = system(np.zeros(7)).only(np.arange(7) == 2)
    residual, sd = one.left_out()
    assert one.count == 1 and np.isnan(residual).all() and np.isnan(sd).all() and np.isnan(one.misfit_q)


@pytest.mark.independent
def test_each_against_the_others_equals_conditioning_on_the_others_one_by_one():
    values = np.array([3, -2, 1, 0, 4, -3, 2]) * 1e-3
    whole = system(values)
    residual, sd = whole.left_out()
    for k in range(7):
        rest = np.arange(7) != k
        c = whole.drift + whole.rest
        gain = np.linalg.solve(c[np.ix_(rest, rest)], c[rest, k])
        assert residual[k] == pytest.approx(values[k] - gain @ values[rest], abs=1e-9)
        assert sd[k] == pytest.approx(np.sqrt(c[k, k] - gain @ c[rest, k]), rel=1e-6)
    assert whole.misfit_q == pytest.approx(np.mean((residual / sd) ** 2))
