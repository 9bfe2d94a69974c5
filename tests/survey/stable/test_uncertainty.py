"""One error model of heights on a grid: white, shared and tied parts, each counted once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from pipeline.frame import Grid
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, of_difference
from pipeline.survey.stable.correlated import error_fields, linear_variance
from pipeline.survey.stable.drift import drift_basis, drift_prior
from pipeline.survey.stable.misfit import Misfit, misfits
from pipeline.survey.stable.patches import Footprint, PatchHeight, footprint
from pipeline.survey.stable.tie import reference, tie_pair
from pipeline.survey.stable.uncertainty import TieOnGrid, Uncertainty

GRID = Grid("EPSG:32617", 0, 80, 0.5, 80, 80)  # 40 x 40 m
CENTRE = (20.0, 20.0)
CORNERS = [(4, 4), (36, 5), (5, 35), (35, 36), (20, 2), (19, 22), (3, 20)]
SLABS = [
    footprint(f"slab-{i}", shapely.box(x - 1.55, y - 1.05, x + 1.55, y + 1.05)) for i, (x, y) in enumerate(CORNERS)
]
SKIN = GRID.mask(shapely.Point(20, 20).buffer(13).difference(shapely.Point(20, 20).buffer(4)))
PLACES = np.column_stack([v[SKIN][::15] for v in GRID.mesh()])
PAIR = of_difference(GOOD_PHOTOGRAMMETRY, GOOD_PHOTOGRAMMETRY)
WHITE = 0.0015


def zone(x: float, y: float, radius: float) -> np.ndarray:
    cells = GRID.mask(shapely.Point(x, y).buffer(radius))
    return cells / cells.sum()


def tie_of(values, noise=PAIR, slabs=SLABS):
    heights = {p.patch_id: PatchHeight(p.patch_id, 100.0, 0.0003, 100, 0) for p in slabs}
    found = misfits(slabs, heights, heights, noise)
    return tie_pair([replace(m, later_m=100.0 + v) for m, v in zip(found, values)], noise, CENTRE, PLACES)


def fields_with_drift(noise, count: int, rng: np.random.Generator) -> np.ndarray:
    drift = rng.standard_normal((count, 4)) * [noise.shift_m, noise.tilt * 30, noise.tilt * 30, noise.dome_m]
    basis = drift_basis(*GRID.mesh(), CENTRE)
    return error_fields(noise, GRID.shape, GRID.cell_m, count, rng, WHITE) + np.einsum("kj,yxj->kyx", drift, basis)


ZONES = [SKIN / SKIN.sum(), zone(30, 20, 2.5), zone(12, 26, 1.0), zone(30, 20, 2.5) - zone(12, 26, 1.0)]


@pytest.mark.analytic
@pytest.mark.parametrize("noise", [PAIR, of_difference(LIDAR, LIDAR)], ids=["good", "lidar"])
def test_figures_of_tied_surveys_scatter_as_they_say(noise):
    """Whole chain on fields: patch means, tie, subtraction; then z-scores of zone means, cells and a contrast."""
    rng = np.random.default_rng(1)
    cells = [GRID.mask(p.shape) for p in SLABS]
    spots = [(40, 60), (28, 40), (20, 30)]
    score, at_cells = [], []
    for field in fields_with_drift(noise, 40, rng):
        tie = tie_of([field[c].mean() + 0.0014 * rng.standard_normal() for c in cells], noise)
        known = Uncertainty(GRID, noise, np.full(GRID.shape, WHITE), tie=TieOnGrid(tie, GRID))
        left = field - known.tie.value
        sd = np.sqrt(np.diag(known.covariance(ZONES)))
        score.append([(left * w).sum() / s for w, s in zip(ZONES, sd)])
        at_cells.append([left[s] / known.sigma[s] for s in spots])
    for z in (np.array(score), np.array(at_cells)):
        assert 0.78 < np.sqrt(np.mean(z**2)) < 1.12
        assert 0.90 < np.mean(np.abs(z) < 1.96) <= 1.0
    assert np.abs(np.mean(score)) < 0.3


@pytest.mark.analytic
def test_figures_of_untied_surveys_less_their_plane_scatter_as_they_say():
    rng = np.random.default_rng(2)
    known = Uncertainty(GRID, PAIR, np.full(GRID.shape, WHITE), plane_over=SKIN)
    e, n = (v - 20 for v in GRID.mesh())
    x = np.column_stack([np.ones(SKIN.sum()), e[SKIN], n[SKIN]])
    sd = np.sqrt(np.diag(known.covariance(ZONES[1:])))
    spots = [(40, 60), (28, 40), (20, 30)]
    score = []
    for field in fields_with_drift(PAIR, 150, rng):
        b = np.linalg.lstsq(x, field[SKIN], rcond=None)[0]
        left = field - (b[0] + b[1] * e + b[2] * n)
        score.append([(left * w).sum() / s for w, s in zip(ZONES[1:], sd)] + [left[s] / known.sigma[s] for s in spots])
    assert np.sqrt(np.mean(np.square(score), axis=0)) == pytest.approx(1, abs=0.2)


@pytest.mark.analytic
def test_a_plane_taken_off_leaves_nothing_of_shift_and_tilt():
    known = Uncertainty(GRID, PAIR, np.full(GRID.shape, WHITE), plane_over=SKIN)
    tilted = Uncertainty(GRID, replace(PAIR, shift_m=5.0, tilt=1.0), np.full(GRID.shape, WHITE), plane_over=SKIN)
    assert tilted.sigma_of(ZONES[1]) == known.sigma_of(ZONES[1])
    assert known.sigma_of(ZONES[0]) < 1e-3 * known.sigma_of(ZONES[1])  # the skin's own mean is gone
    domed = Uncertainty(GRID, replace(PAIR, dome_m=0.05), np.full(GRID.shape, WHITE), plane_over=SKIN)
    rim = zone(20, 31.5, 1.0)  # where the bowl stands highest over its plane
    assert domed.sigma_of(rim) > 1.1 * known.sigma_of(rim)


@pytest.mark.analytic
def test_the_baseline_carries_all_of_its_noise_and_no_tie():
    known = Uncertainty(GRID, GOOD_PHOTOGRAMMETRY, np.full(GRID.shape, WHITE), tie=TieOnGrid(reference(CENTRE), GRID))
    expected = linear_variance(ZONES[1], GOOD_PHOTOGRAMMETRY, GRID.cell_m, WHITE)
    assert known.sigma_of(ZONES[1]) == pytest.approx(np.sqrt(expected), rel=1e-9)
    assert not known.tie.value.any()


@pytest.mark.analytic
def test_two_zones_of_one_pair_share_the_tie():
    """Far more of the sum's variance is shared than of the contrast's."""
    known = Uncertainty(GRID, PAIR, np.full(GRID.shape, WHITE), tie=TieOnGrid(tie_of(np.zeros(7)), GRID))
    near, also_near = zone(30, 20, 1.0), zone(30, 21.5, 1.0)
    c = known.covariance([near, also_near])
    assert c[0, 1] > 0.5 * np.sqrt(c[0, 0] * c[1, 1])
    assert known.sigma_of(near - also_near) == pytest.approx(np.sqrt(c[0, 0] + c[1, 1] - 2 * c[0, 1]), rel=1e-6)


@pytest.mark.invariant
def test_the_tie_on_a_grid_is_the_tie_at_its_cells():
    tie = tie_of(np.array([3, -2, 1, 0, 4, -3, 2]) * 1e-3)
    on_grid = TieOnGrid(tie, GRID)
    e, n = GRID.mesh()
    value, sigma = tie.at(e[20:24, 30:33], n[20:24, 30:33])
    np.testing.assert_allclose(on_grid.value[20:24, 30:33], value, atol=1e-12)
    np.testing.assert_allclose(on_grid.sigma[20:24, 30:33], sigma, atol=1e-10)
    mean, sd = tie.mean_over(PLACES)
    w = SKIN / SKIN.sum()
    assert on_grid.mean_over(SKIN) == pytest.approx(mean, abs=5e-5)
    assert np.sqrt(on_grid.covariance(np.array([w]))[0, 0]) == pytest.approx(sd, rel=0.02)


@pytest.mark.invariant
def test_heights_are_tied_or_relative_never_both_and_never_neither():
    white = np.full(GRID.shape, WHITE)
    with pytest.raises(ValueError, match="one of the two"):
        Uncertainty(GRID, PAIR, white)
    with pytest.raises(ValueError, match="one of the two"):
        Uncertainty(GRID, PAIR, white, tie=TieOnGrid(reference(CENTRE), GRID), plane_over=SKIN)


@pytest.mark.invariant
def test_what_was_not_measured_has_no_sigma_and_may_carry_no_weight():
    white = np.full(GRID.shape, WHITE)
    white[10, 10] = np.nan
    known = Uncertainty(GRID, PAIR, white, tie=TieOnGrid(tie_of(np.zeros(7)), GRID))
    assert np.isnan(known.sigma[10, 10]) and np.isfinite(known.sigma).sum() == 80 * 80 - 1
    w = np.zeros(GRID.shape)
    w[10, 10] = 1
    with pytest.raises(ValueError, match="nothing was measured"):
        known.sigma_of(w)


@pytest.mark.independent
def test_relative_covariance_equals_the_projection_of_the_whole_matrix():
    """(I - H) C (I - H)' over a small grid, H = X (X'X)^-1 X' on the plane's cells."""
    grid = Grid("EPSG:32617", 0, 9, 1.0, 9, 11)
    e, n = (v.ravel() for v in grid.mesh())
    over = (grid.mesh()[0] > 2) & (grid.mesh()[1] > 1)
    noise = replace(PAIR, parts=((0.004, 8.0), (0.003, 20.0)))
    white = np.random.default_rng(4).uniform(0.001, 0.003, 99)
    h = np.hypot(e[:, None] - e, n[:, None] - n)
    c = sum(s**2 * (1 + 3**0.5 * h / r) * np.exp(-(3**0.5) * h / r) for s, r in noise.parts) + np.diag(white**2)
    on = over.ravel()
    bowl = ((e - e[on].mean()) ** 2 + (n - n[on].mean()) ** 2) / 900 * noise.dome_m
    x = np.column_stack([np.ones(99), e - e.mean(), n - n.mean()])
    hat = np.zeros((99, 99))
    hat[:, on] = x @ np.linalg.pinv(x[on])
    left = (np.eye(99) - hat) @ (c + np.outer(bowl, bowl)) @ (np.eye(99) - hat).T
    known = Uncertainty(grid, noise, white.reshape(grid.shape), plane_over=over)
    w = np.random.default_rng(5).standard_normal((3, 99))
    np.testing.assert_allclose(known.covariance(w.reshape(3, 9, 11)), w @ left @ w.T, rtol=1e-7, atol=1e-12)
    np.testing.assert_allclose(known.sigma.ravel(), np.sqrt(np.diag(left)), rtol=1e-7)


@pytest.mark.independent
def test_tied_covariance_equals_conditioning_all_cells_at_once():
    """A small grid as one normal vector: drift, long, short and white parts, conditioned on two patches."""
    grid = Grid("EPSG:32617", 0, 8, 1.0, 8, 10)
    e, n = (v.ravel() for v in grid.mesh())
    x, y = (e - 5) / 30, (n - 4) / 30
    basis = np.column_stack([np.ones(80), x, y, x * x + y * y])
    h = np.hypot(e[:, None] - e, n[:, None] - n)
    noise = replace(PAIR, parts=((0.004, 8.0), (0.003, 20.0)))
    long = sum(s**2 * (1 + 3**0.5 * h / r) * np.exp(-(3**0.5) * h / r) for s, r in noise.parts)
    u = basis * drift_prior(noise) @ basis.T + long
    seen = [np.array([0, 1, 10, 11]), np.array([78, 79])]
    take = np.zeros((2, 80))
    for k, cells in enumerate(seen):
        take[k, cells] = 1 / len(cells)
    own = np.diag([0.002**2, 0.003**2])
    posterior = u - (take @ u).T @ np.linalg.solve(take @ u @ take.T + own, take @ u)
    found = [
        Misfit(Footprint(str(k), shapely.box(0, 0, 1, 1), np.column_stack([e[c], n[c]])), 100.0, 100.0, s)
        for k, (c, s) in enumerate(zip(seen, (0.002, 0.003)))
    ]
    tie = tie_pair(found, noise, (5.0, 4.0), np.column_stack([e, n]))
    rng = np.random.default_rng(3)
    w = rng.standard_normal((3, 80))
    known = Uncertainty(grid, noise, np.full(grid.shape, 0.001), tie=TieOnGrid(tie, grid))
    expected = w @ (posterior + 1e-6 * np.eye(80)) @ w.T
    np.testing.assert_allclose(known.covariance(w.reshape(3, 8, 10)), expected, rtol=0.02, atol=0.02 * expected.max())
    np.testing.assert_allclose(known.sigma.ravel(), np.sqrt(np.diag(posterior) + 1e-6), rtol=0.01)
