from __future__ import annotations

import numpy as np
import pytest
from pytest import approx
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize_scalar
from statsmodels.regression.linear_model import GLS
from support.flat_tables import cover_ramp, straight, table_of

from pipeline.errors import Refused
from pipeline.survey.edges.edge_shape import bump
from pipeline.survey.edges.horizontal import EDGE_SD_M, SIGMA_FACTOR, Piece, agree, pieces_of, shift_of, span_of

EAST = straight(30.0)  # grass to its left: its normal points north


def profile(d):
    return 0.028 * cover_ramp(d) + 0.022 * bump(d)


def at(moved_m, mown_m=0.0, grown_m=0.0):
    """Heights of a survey whose points lie moved_m too far in the grass."""
    return lambda s, d: 51 + 0.01 * s + profile(d - moved_m) - mown_m * cover_ramp(d) + grown_m * bump(d) + 0 * s


def pieces(tau, normals, edges=None, variance=0.004**2):
    edges = np.zeros(len(tau), int) if edges is None else edges
    return [Piece(float(t), variance, (float(a), float(b)), int(k)) for t, (a, b), k in zip(tau, normals, edges)]


def around(count=24, seed=0):
    a = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.column_stack([np.cos(a), np.sin(a)])


@pytest.mark.analytic
@pytest.mark.parametrize("moved_m", [-0.02, 0.005, 0.02])
def test_a_profile_moved_into_the_grass_reads_as_moved_by_that_much(moved_m):
    found = pieces_of(table_of(at(0.0)), table_of(at(moved_m)), EAST)
    assert len(found) == 10
    for piece in found:
        assert piece.tau_m == approx(moved_m, rel=0.12, abs=2e-4)
        assert piece.normal == approx((0, 1))


@pytest.mark.analytic
def test_mowing_growth_and_a_raised_survey_do_not_pose_as_a_shift():
    before, after = table_of(at(0.0)), table_of(at(0.0, mown_m=0.02, grown_m=0.01))
    after.z[:] += 0.35
    assert max(abs(p.tau_m) for p in pieces_of(before, after, EAST)) < 3e-4


@pytest.mark.analytic
def test_what_is_added_brings_the_later_survey_back():
    normals = around()
    later_lies = np.array([0.03, -0.04])
    shift = shift_of(pieces(normals @ later_lies, normals), 0.02)
    assert shift.known and (shift.e_m, shift.n_m) == approx((-0.03, 0.04), abs=1e-9)


@pytest.mark.analytic
def test_opposite_edges_tell_one_axis_only():
    assert span_of(np.array([[0, 1], [0, -1], [0.0, 1]])) == approx(0)
    assert span_of(np.array([[0, 1], [1, 0.0]])) == approx(90)
    assert span_of(around(36)) == approx(170)
    assert span_of(np.zeros((0, 2))) == 0


@pytest.mark.invariant
def test_changing_the_dates_round_only_changes_the_sign():
    rng = np.random.default_rng(1)
    first, second = table_of(at(0.0)), table_of(at(0.03))
    for table in (first, second):
        table.z[:] += 0.002 * rng.standard_normal(table.z.shape)
    there, back = pieces_of(first, second, EAST), pieces_of(second, first, EAST)
    assert [p.tau_m for p in there] == approx([-p.tau_m for p in back], rel=1e-9)
    assert [p.variance for p in there] == approx([p.variance for p in back], rel=1e-9)


@pytest.mark.invariant
def test_one_wild_piece_hardly_moves_the_shift():
    normals = around()
    tau = normals @ np.array([0.02, 0.01]) + 0.003 * np.random.default_rng(2).standard_normal(24)
    wild = tau.copy()
    wild[3] += 0.4
    clean, spoilt = (shift_of(pieces(t, normals), 0.02) for t in (tau, wild))
    assert np.hypot(clean.e_m - spoilt.e_m, clean.n_m - spoilt.n_m) < 0.002


@pytest.mark.invariant
def test_what_is_common_to_a_closed_edge_is_not_taken_for_a_shift():
    normals = around()
    shift = shift_of(pieces(normals @ np.array([0.0, 0.0]) + 0.02, normals), 0.02)  # grass came in all round
    assert np.hypot(shift.e_m, shift.n_m) < 1e-9


@pytest.mark.invariant
def test_edges_that_face_one_way_leave_the_shift_unknown():
    facing = np.column_stack([np.sin(np.linspace(-0.4, 0.4, 20)), np.cos(np.linspace(-0.4, 0.4, 20))])
    shift = shift_of(pieces(facing @ np.array([0.05, 0.05]), facing), 0.025)
    assert not shift.known and "46 degrees" in shift.reason
    assert (shift.e_m, shift.n_m, shift.sigma_m) == (0, 0, 0.025)


@pytest.mark.invariant
def test_too_few_pieces_or_pieces_that_disagree_leave_the_shift_unknown():
    few = shift_of(pieces([0.01] * 4, around(4)), 0.02)
    assert not few.known and "4 pieces" in few.reason
    wild = shift_of(pieces(0.06 * np.random.default_rng(3).standard_normal(8), around(8)), 0.02)
    assert not wild.known and "known to" in wild.reason


@pytest.mark.invariant
def test_more_than_15_cm_is_refused_with_what_to_look_for():
    normals = around()
    assert shift_of(pieces(normals @ np.array([0.0, 0.14]), normals), 0.02).known
    with pytest.raises(Refused, match="coordinate system") as refusal:
        shift_of(pieces(normals @ np.array([0.0, 0.20]), normals), 0.02)
    assert refusal.value.code == "horizontal_shift"
    assert "200 mm" in refusal.value.reason and "180 degrees" in refusal.value.reason


@pytest.mark.independent
def test_a_piece_agrees_with_sliding_the_profile_until_it_fits():
    # scipy: cubic spline through the first profile, one-dimensional search for the slide of least squares
    first, second = table_of(at(0.0)), table_of(at(0.012))
    d = first.d
    read = (d > -0.5) & (d < 1.0)
    spline = CubicSpline(d, first.z[20])
    slid = minimize_scalar(lambda t: np.sum((second.z[20] - spline(d - t))[read] ** 2), bracket=(-0.05, 0.05))
    assert pieces_of(first, second, EAST)[3].tau_m == approx(slid.x, abs=1e-3)


@pytest.mark.independent
def test_agreement_is_generalized_least_squares_of_a_statistics_library():
    # statsmodels GLS with the same covariance; residuals small enough that no piece is weighted down
    rng = np.random.default_rng(4)
    normals, edges = around(40), np.repeat(np.arange(4), 10)
    own = np.full(40, 0.01**2)
    tau = normals @ np.array([0.02, -0.01]) + rng.uniform(-0.004, 0.004, 40)
    moved, covariance = agree(pieces(tau, normals, edges, variance=0.01**2))
    shared = np.diag(own + 0.004**2) + EDGE_SD_M**2 * (edges[:, None] == edges)
    theirs = GLS(tau, normals, sigma=shared).fit()
    assert moved == approx(theirs.params, abs=5e-4)
    assert covariance == approx(SIGMA_FACTOR**2 * theirs.normalized_cov_params, rel=0.15, abs=1e-7)
