"""Change of a pair: later minus earlier, tied or relative, with its uncertainty."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipeline.change.difference import direct_tie_step, quadrature, relative_change, tied_change
from pipeline.frame import Grid
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, of_difference
from pipeline.survey.stable.correlated import error_fields
from pipeline.survey.stable.drift import drift_basis
from pipeline.survey.stable.misfit import misfits
from pipeline.survey.stable.patches import PatchHeight, footprint
from pipeline.survey.stable.tie import reference, tie_pair
from pipeline.survey.stable.uncertainty import TieOnGrid

GRID = Grid("EPSG:32617", 0, 80, 0.5, 80, 80)  # 40 x 40 m
CENTRE = (20.0, 20.0)
CORNERS = [(4, 4), (36, 5), (5, 35), (35, 36), (20, 2), (19, 22), (3, 20)]
SLABS = [
    footprint(f"slab-{i}", shapely.box(x - 1.55, y - 1.05, x + 1.55, y + 1.05)) for i, (x, y) in enumerate(CORNERS)
]
SKIN = GRID.mask(shapely.Point(20, 20).buffer(13))
PLACES = np.column_stack([v[SKIN][::15] for v in GRID.mesh()])
NOISE = GOOD_PHOTOGRAMMETRY
PAIR = of_difference(NOISE, NOISE)
WHITE = np.full(GRID.shape, 0.001)
GROUND = 100 + 0.01 * GRID.mesh()[0] - 0.005 * GRID.mesh()[1]


def surveys(count: int, rng: np.random.Generator) -> list[np.ndarray]:
    """Heights as surveyed, untied, of ground that does not move."""
    drift = rng.standard_normal((count, 4)) * [NOISE.shift_m, NOISE.tilt * 30, NOISE.tilt * 30, NOISE.dome_m]
    basis = drift_basis(*GRID.mesh(), CENTRE)
    fields = error_fields(NOISE, GRID.shape, GRID.cell_m, count, rng, WHITE)
    return [GROUND + f + basis @ d for f, d in zip(fields, drift)]


def tie_between(earlier: np.ndarray, later: np.ndarray):
    cells = {p.patch_id: GRID.mask(p.shape) for p in SLABS}
    a, b = (
        {k: PatchHeight(k, float(z[c].mean()), 0.0003, int(c.sum()), 0) for k, c in cells.items()}
        for z in (earlier, later)
    )
    return tie_pair(misfits(SLABS, a, b, PAIR), PAIR, CENTRE, PLACES)


def change(earlier, later):
    return tied_change(GRID, earlier, later, WHITE, WHITE, PAIR, tie_between(earlier, later))


@pytest.mark.analytic
def test_a_filled_disc_comes_out_as_gained_by_so_much():
    earlier, later = surveys(2, np.random.default_rng(0))
    later = later + 0.05  # another base height
    disc = GRID.mask(shapely.Point(26, 14).buffer(2.5))
    found = change(earlier, np.where(disc, later + 0.030, later))
    w = disc / disc.sum()
    sigma = found.uncertainty.sigma_of(w)
    assert (found.dz * w).sum() == pytest.approx(0.030, abs=2.5 * sigma)
    assert sigma < 0.008
    untied = (later - earlier)[SKIN].mean()
    assert abs(untied) > 0.030 > 3 * abs(found.dz[SKIN & ~disc].mean())


@pytest.mark.analytic
def test_relative_change_gives_back_a_plane_and_keeps_what_stands_out():
    earlier, later = surveys(2, np.random.default_rng(1))
    tilt = 0.040 + 0.001 * (GRID.mesh()[0] - 20)
    disc = GRID.mask(shapely.Point(26, 14).buffer(2.5))
    found = relative_change(GRID, earlier, later + tilt + 0.030 * disc, WHITE, WHITE, PAIR, SKIN)
    assert found.relative
    untouched = relative_change(GRID, earlier, later, WHITE, WHITE, PAIR, SKIN)
    assert found.plane.b - untouched.plane.b == pytest.approx(0.001, abs=1e-4)
    w = disc / disc.sum()
    gained = (found.dz * w).sum() - (untouched.dz * w).sum()
    assert gained == pytest.approx(0.030, abs=0.002)
    assert (found.dz * w).sum() == pytest.approx(0.030, abs=2.5 * found.uncertainty.sigma_of(w))


@pytest.mark.analytic
def test_a_pair_and_two_elevations_differ_by_the_smooth_step_that_is_stated():
    rng = np.random.default_rng(2)
    base, earlier, later = surveys(3, rng)
    pairs = [(base, earlier), (base, later), (earlier, later)]
    ties = [TieOnGrid(tie_between(a, b), GRID) for a, b in pairs]
    elevation = [earlier - ties[0].value, later - ties[1].value]
    found = change(earlier, later)
    step = direct_tie_step(*ties)
    np.testing.assert_allclose(found.dz, elevation[1] - elevation[0] + step, atol=1e-12)
    assert np.abs(step[SKIN]).mean() > 1e-5
    from_baseline = direct_tie_step(TieOnGrid(reference(CENTRE), GRID), ties[1], ties[1])
    assert not from_baseline.any()


@pytest.mark.invariant
def test_swapping_the_dates_only_flips_the_sign():
    earlier, later = surveys(2, np.random.default_rng(3))
    there, back = change(earlier, later), change(later, earlier)
    np.testing.assert_allclose(there.dz, -back.dz, atol=1e-12)
    np.testing.assert_array_equal(there.sigma, back.sigma)


@pytest.mark.invariant
def test_a_survey_in_another_datum_gives_the_same_change():
    earlier, later = surveys(2, np.random.default_rng(4))
    here, there = change(earlier, later), change(earlier, later + 0.1)
    # the shift's prior is wide, not endless: of 100 mm all but 0.02 mm is taken off
    np.testing.assert_allclose(here.dz, there.dz, atol=3e-5)


@pytest.mark.invariant
def test_what_one_date_did_not_see_stays_empty():
    earlier, later = surveys(2, np.random.default_rng(5))
    tie = tie_between(earlier, later)
    earlier[3, 4], later[7, 8] = np.nan, np.nan
    found = tied_change(GRID, earlier, later, WHITE, WHITE, PAIR, tie)
    assert np.argwhere(~found.measured).tolist() == [[3, 4], [7, 8]]
    assert np.isnan(found.sigma[3, 4]) and np.isnan(found.sigma[7, 8]) and np.isfinite(found.sigma[0, 0])


HASHED = """
import hashlib, numpy as np, shapely
from pipeline.change.difference import relative_change, tied_change
from pipeline.frame import Grid
from pipeline.survey.noise import LIDAR, of_difference
from pipeline.survey.stable.misfit import misfits
from pipeline.survey.stable.patches import PatchHeight, footprint
from pipeline.survey.stable.tie import tie_pair
grid, rng, pair = Grid("EPSG:32617", 0, 300, 0.1, 300, 300), np.random.default_rng(0), of_difference(LIDAR, LIDAR)
slabs = [footprint(str(i), shapely.box(3 * i, 2 * i, 3 * i + 2, 2 * i + 3)) for i in range(7)]
heights = [{p.patch_id: PatchHeight(p.patch_id, rng.normal(0, 0.01), 0.001, 9, 0) for p in slabs} for _ in "ab"]
skin = np.hypot(*(v - 15 for v in grid.mesh())) < 12
places = np.column_stack([v[skin][::300] for v in grid.mesh()])
tie = tie_pair(misfits(slabs, *heights, pair), pair, (15.0, 15.0), places)
z, white = rng.normal(0, 0.01, (2, 300, 300)), np.full(grid.shape, 0.002)
digest = hashlib.sha256()
for change in (tied_change(grid, *z, white, white, pair, tie), relative_change(grid, *z, white, white, pair, skin)):
    for values in (change.dz, change.sigma, np.array(change.uncertainty.sigma_of(skin * grid.mesh()[0]))):
        digest.update(values.tobytes())
print(digest.hexdigest())
"""


@pytest.mark.invariant
def test_the_number_of_threads_changes_no_bit():
    root = Path(__file__).resolve().parents[2]
    told = [
        subprocess.run([sys.executable, "-c", HASHED], cwd=root, env=os.environ | {"OPENBLAS_NUM_THREADS": threads},
                       capture_output=True, text=True, check=True).stdout
        for threads in ("1", "2")
    ]  # fmt: skip
    assert told[0] == told[1] and len(told[0]) == 65


@pytest.mark.independent
def test_errors_add_in_quadrature_cell_by_cell():
    """Independent errors: sqrt(a^2 + b^2) (Brasington et al. 2003, from memory); hypotenuse 3-4-5."""
    np.testing.assert_allclose(quadrature(np.array([0.003]), np.array([0.004])), 0.005)
    alone = replace(PAIR, parts=(), dome_m=0.0)
    earlier, later = surveys(2, np.random.default_rng(6))
    found = tied_change(GRID, earlier, later, np.full(GRID.shape, 0.3), np.full(GRID.shape, 0.4), alone,
                        tie_between(earlier, later))  # fmt: skip
    np.testing.assert_allclose(found.sigma, 0.5, rtol=1e-3)  # the tie adds under 0.1 %
