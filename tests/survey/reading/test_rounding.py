"""Coordinates rounded on export are found, and only those."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.gridding_scene import in_place, square_grid

from pipeline.errors import Refused
from pipeline.survey.cells.buckets import Buckets, feed
from pipeline.survey.points import Chunk, Projection
from pipeline.survey.reading.rounding import SAMPLE_MAX, Sample, Steps, check_precision, metres_per_unit, step_m


@pytest.mark.analytic
@given(st.sampled_from([0.001, 0.01, 0.03125, 0.1, 0.5]), st.integers(0, 500))
def test_the_step_of_a_lattice_is_found_in_spite_of_strays(step, strays):
    rng = np.random.default_rng(strays)
    values = np.concatenate([np.rint(rng.uniform(0, 40, 100_000) / step) * step, rng.uniform(0, 40, strays)])
    assert step_m(values, 0.025) == pytest.approx(step, abs=2e-6)


@pytest.mark.analytic
def test_few_points_over_a_wide_field_tell_nothing():
    assert np.isnan(step_m(np.linspace(0, 100, 500), 0.025))
    assert np.isnan(step_m(np.full(10, 3.0), 0.025))
    assert np.isnan(step_m(np.empty(0), 0.025))


@pytest.mark.analytic
def test_steps_are_metres_on_the_ground_whatever_the_source_unit():
    grid = square_grid(30, 0.1)
    foot = 0.3048
    rest = (0.0,) * 7
    east, north = (15, 50 * foot, 0, *rest), (15, 0, 50 * foot, *rest)
    buckets = Buckets(grid, Projection((50, 50), 50, east, north, foot, (0, 0, 100, 100)))
    rng = np.random.default_rng(1)
    buckets.add(Chunk(*np.floor(rng.uniform(0, 1000, (3, 60_000))), (0.1,) * 3))  # tenths of a foot
    assert metres_per_unit(buckets.projection) == pytest.approx((foot, foot))
    assert buckets.sample.steps(buckets.projection, 0.1) == Steps(*[pytest.approx(0.03048, abs=1e-6)] * 3)


@pytest.mark.invariant
def test_the_sample_does_not_depend_on_order_chunks_or_threads():
    grid = square_grid(30, 0.1)
    rng = np.random.default_rng(2)
    raw = rng.integers(0, 30_000, (3, 3 * SAMPLE_MAX)).astype(np.int32)

    def sampled(points: np.ndarray, size: int, workers: int) -> np.ndarray:
        buckets = Buckets(grid, in_place(grid.bounds))
        pieces = (points[:, i : i + size] for i in range(0, points.shape[1], size))
        feed((Chunk(*piece, (0.001,) * 3) for piece in pieces), [buckets], workers)
        xyz = buckets.sample.points()
        return xyz[np.lexsort(xyz.T)]

    one = sampled(raw, 1_000_000, 1)
    assert SAMPLE_MAX / 3 < len(one) <= SAMPLE_MAX
    assert np.array_equal(one, sampled(rng.permutation(raw, axis=1), 50_000, 1))
    assert np.array_equal(one, sampled(raw, 70_001, 3))


@pytest.mark.analytic
def test_coarse_steps_are_refused_and_the_sentence_says_which():
    check_precision(Steps(0.001, 0.001, 0.001), 0.1, 0.004)
    check_precision(Steps(np.nan, np.nan, np.nan), 0.1, 0.004)
    check_precision(Steps(0.03125, 0.02, 0.005), 0.25, 0.001)
    with pytest.raises(Refused, match=r"y moves in steps of 0.5 m \(at most 0.025 m") as refusal:
        check_precision(Steps(0.001, 0.5, 0.001), 0.1, 0.004)
    assert refusal.value.code == "precision_lost"
    with pytest.raises(Refused, match="height moves in steps of 10 mm"):
        check_precision(Steps(0.001, 0.001, 0.01), 0.1, 0.004)


@pytest.mark.analytic
def test_heights_to_the_centimetre_pass_where_the_points_scatter_by_half_a_step():
    check_precision(Steps(0.01, 0.01, 0.01), 0.1, 0.012)
    check_precision(Steps(0.01, 0.01, 0.01), 0.1, 0.005)
    with pytest.raises(Refused):
        check_precision(Steps(0.01, 0.01, 0.01), 0.1, 0.0049)


@pytest.mark.analytic
def test_a_cloud_too_sparse_to_show_its_scatter_is_not_told_that_its_heights_were_rounded():
    check_precision(Steps(0.01, 0.01, 0.01), 0.1, np.nan)  # `too_sparse` is its refusal, with the cell that would do
    with pytest.raises(Refused, match="y moves in steps"):
        check_precision(Steps(0.01, 0.5, 0.01), 0.1, np.nan)


@pytest.mark.independent  # numerical integration of a rounded normal's mean
def test_scatter_of_half_a_step_leaves_a_bias_of_a_quarter_percent_of_it():
    from scipy.stats import norm

    steps = np.arange(-60, 61)
    true = np.linspace(0, 1, 201)[:, None]
    share = norm.cdf(steps + 0.5, true, 0.5) - norm.cdf(steps - 0.5, true, 0.5)
    bias = np.abs((share * steps).sum(axis=1) - true[:, 0]).max()
    assert bias == pytest.approx(np.exp(-2 * np.pi**2 * 0.25) / np.pi, rel=0.01)
    assert bias < 0.003


@pytest.mark.independent  # a public cloud whose coordinates went through 32-bit numbers: steps measured in its notes
def test_a_public_cloud_that_lost_its_digits_is_refused(real_data):
    import laspy

    file = laspy.read(real_data / "ground" / "csite3.laz")
    x, y, z = (np.asarray(file[a]) for a in ("x", "y", "z"))
    grid = square_grid(200, 0.25, np.floor(x.min()) + 100, np.floor(y.min()) + 100)
    buckets = Buckets(grid, in_place(grid.bounds))
    buckets.add(Chunk(x, y, z))
    steps = buckets.sample.steps(buckets.projection, grid.cell_m)
    assert (steps.x_m, steps.y_m) == pytest.approx((0.03125, 0.5), abs=1e-6)
    with pytest.raises(Refused, match="32-bit"):
        check_precision(steps, grid.cell_m, 0.05)


@pytest.mark.invariant
def test_an_empty_sample_tells_nothing():
    steps = Sample().steps(in_place((0, 0, 10, 10)), 0.1)
    assert np.isnan([steps.x_m, steps.y_m, steps.z_m]).all()
