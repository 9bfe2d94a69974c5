"""A lip from one zig-zag walk: what the joint fit across an edge finds, and when it says nothing."""

from __future__ import annotations

import numpy as np
import pytest
from support.rover_scene import EdgeScene, EdgeTruth, along, draw_edge, step, zigzag

from pipeline.survey.edges.edge_shape import DEFAULT_BUMP, Bump, bump, ramp
from pipeline.survey.walks.walk_edges import CREST_M, fit_profile, huber_fit, near, rover_lip, spline, why_not

LENGTH = 45.0
OVER = np.linspace(*CREST_M, 51)


def plain_rows(shape=DEFAULT_BUMP, lip=0.025, up=0.006, slope=-0.01, seed=0, points=400):
    """Rows of exactly the model's own form."""
    rng = np.random.default_rng(seed)
    s, d = zigzag(rng, LENGTH, points)
    z = 300 + 0.02 * np.sin(s / 4) + slope * d + up * ramp(d, -0.05, 0.25) + lip * bump(d, shape)
    return s, d, z


def true_lip(scene: EdgeScene, date: int = 0) -> tuple[float, float]:
    """Rise and fall of a scene's lip: mean over the crest, along the whole edge, from its own formula."""
    t = scene.truth
    x = OVER / np.where(OVER < 0, t.w_in, t.w_out)
    body = np.exp(-np.abs(x) ** t.power).mean()
    high = t.height * np.interp(np.linspace(0, t.length, 2000), scene.at, scene.lip_varies).mean() + date * t.growth
    up = t.step * step((OVER + t.crest + 0.1) / 0.3).mean()
    return body * high + up, body * high + up - t.step


@pytest.mark.analytic
def test_rows_of_the_models_own_form_give_its_numbers_back():
    shape = Bump(0.16, 0.11, 0.26)
    fit = fit_profile([plain_rows(shape)], LENGTH, shape)
    assert fit.value == pytest.approx({"slope": -0.01, "step": 0.006, "lip": 0.025}, abs=2e-4)
    found = fit_profile([plain_rows(shape)], LENGTH)
    assert found.value["lip"] == pytest.approx(0.025, abs=1e-3)
    assert (found.shape.crest, found.shape.w_in, found.shape.w_out) == pytest.approx((0.16, 0.11, 0.26), abs=0.015)


@pytest.mark.analytic
def test_rise_and_fall_are_crest_over_skin_and_over_turf_less_what_the_pole_adds():
    result = rover_lip(plain_rows(), LENGTH, DEFAULT_BUMP)
    body = bump(OVER + DEFAULT_BUMP.crest).mean()
    grass = ramp(OVER + DEFAULT_BUMP.crest, -0.05, 0.25).mean()
    assert result.rise_m == pytest.approx(body * 0.025 + grass * (0.006 - 0.005), abs=3e-4)
    assert result.fall_m == pytest.approx(body * 0.025 - (1 - grass) * (0.006 - 0.005), abs=3e-4)
    assert result.rise_sigma_m < 0.003 and result.step_m == pytest.approx(0.006, abs=3e-4)


@pytest.mark.analytic
def test_the_spline_sums_to_one_and_follows_a_cubic_exactly():
    s = np.linspace(0, 30, 200)
    columns = spline(s, 30.0, 3.0)
    assert columns.shape == (200, 13) and columns.sum(axis=1) == pytest.approx(np.ones(200))
    curve = 1 + 0.1 * s - 0.01 * s**2 + 2e-4 * s**3
    rest = curve - columns @ np.linalg.lstsq(columns, curve, rcond=None)[0]
    assert np.abs(rest).max() < 1e-9


@pytest.mark.invariant
def test_rises_and_falls_are_right_as_often_as_claimed():
    z, error = [], []
    for seed in range(40):
        rng = np.random.default_rng(900 + seed)
        scene = EdgeScene(rng, draw_edge(rng, rng.uniform(15, 60), 0.0))
        result = rover_lip(scene.walk(0), scene.truth.length)
        rise, fall = true_lip(scene)
        error += [result.rise_m - rise, result.fall_m - fall]
        z += [error[-2] / result.rise_sigma_m, error[-1] / result.fall_sigma_m]
    assert np.sqrt(np.mean(np.square(error))) < 0.0040
    assert np.abs(np.mean(error)) < 0.0012
    assert np.mean(np.abs(z) < 1.96) >= 0.92 and np.sqrt(np.mean(np.square(z))) > 0.6


@pytest.mark.invariant
def test_a_step_without_a_lip_has_no_fall():
    """Low skin: the ground steps up 30 mm at the edge and does not fall off in the grass."""
    falls = []
    for seed in range(12):
        rng = np.random.default_rng(300 + seed)
        truth = EdgeTruth(LENGTH, 0.13, 0.13, 0.30, 2.3, 0.0, 0.0, 0.030, -0.01)
        result = rover_lip(EdgeScene(rng, truth).walk(0), LENGTH)
        falls.append((result.fall_m, result.fall_sigma_m))
        assert result.step_m > 0.025 and result.rise_m > 0.010
    fall, sigma = np.array(falls).T
    assert np.mean(fall) < 0.002 and np.mean(fall - 1.645 * sigma > 0.0) < 0.1


@pytest.mark.invariant
def test_a_walk_along_the_edge_is_never_told():
    for seed in range(20):
        rng = np.random.default_rng(seed)
        scene = EdgeScene(rng, draw_edge(rng, LENGTH))
        result = rover_lip(scene.walk(0, along(rng, LENGTH)), LENGTH)
        assert np.isnan(result.rise_m) and np.isnan(result.rise_sigma_m) and "walk a zig-zag" in result.reason


@pytest.mark.invariant
def test_three_lines_along_the_edge_are_not_told_either():
    """Skin, crest and turf all hold rows, but minutes apart: the drift between them would pass for a lip."""
    s = np.tile(np.linspace(0, LENGTH, 80), 3)
    d = np.repeat([-0.6, 0.15, 1.0], 80)
    result = rover_lip((s, d, np.where(d == 0.15, 0.005, 0.0)), LENGTH)
    assert np.isnan(result.rise_m) and "not along it" in result.reason


@pytest.mark.invariant
@pytest.mark.parametrize("gone, words", [
    (lambda s, d: d < -0.3, "on the skin"),
    (lambda s, d: (d > 0.0) & (d < 0.3), "on the crest"),
    (lambda s, d: d > 0.7, "on the turf"),
    (lambda s, d: s > 0.5 * LENGTH, "covers"),
    (lambda s, d: d > -9.0, "no row near the edge"),
])  # fmt: skip
def test_what_is_missing_is_said(gone, words):
    s, d, z = plain_rows()
    held = ~gone(s, d)
    assert words in rover_lip((s[held], d[held], z[held]), LENGTH).reason
    assert why_not(s, d, LENGTH) == ""


@pytest.mark.invariant
def test_a_few_rows_far_off_change_little():
    s, d, z = plain_rows()
    clean = rover_lip((s, d, z + np.random.default_rng(1).normal(0, 0.007, len(z))), LENGTH, DEFAULT_BUMP)
    z = z + np.random.default_rng(1).normal(0, 0.007, len(z))
    z[::41] += 0.3
    dirty = rover_lip((s, d, z), LENGTH, DEFAULT_BUMP)
    assert abs(dirty.rise_m - clean.rise_m) < 0.0015 and dirty.rise_sigma_m < 1.5 * clean.rise_sigma_m


@pytest.mark.invariant
def test_height_and_direction_of_the_walk_do_not_matter():
    rows = near(plain_rows(seed=3))
    here = rover_lip(rows, LENGTH)
    up = rover_lip((rows[0], rows[1], rows[2] + 1500.0), LENGTH)
    back = rover_lip((LENGTH - rows[0], rows[1], rows[2]), LENGTH)
    assert up.rise_m == pytest.approx(here.rise_m, abs=1e-6)
    assert back.rise_m == pytest.approx(here.rise_m, abs=1e-5)


@pytest.mark.independent
def test_the_huber_fit_is_that_of_statsmodels():
    import statsmodels.api as sm

    rng = np.random.default_rng(4)
    design = np.column_stack([np.ones(300), rng.normal(size=(300, 3))])
    z = design @ [1.0, 0.5, -0.2, 0.1] + rng.standard_t(3, 300)
    beta, covariance, _ = huber_fit(design, z, np.full(4, 1e-12))
    theirs = sm.RLM(z, design, M=sm.robust.norms.HuberT(2.0)).fit(tol=1e-10, maxiter=200)
    assert beta == pytest.approx(theirs.params, abs=0.01)
    assert np.sqrt(np.diag(covariance)) == pytest.approx(theirs.bse, rel=0.05)
