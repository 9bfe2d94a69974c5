"""How water runs: along the true fall, through the lowest ways, in a few main paths."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.flat_field import middle, plane, square

from pipeline.surface.flood import OUTLET, drain
from pipeline.surface.runoff import ground_through, main_paths, steered

FIELD = square(40.0)


def followed(flow, start: int) -> list[int]:
    run = [start]
    while flow.receiver[run[-1]] >= 0:
        run.append(int(flow.receiver[run[-1]]))
    return run


@pytest.mark.analytic
@settings(deadline=None, max_examples=25)
@given(st.floats(0.0, 360.0), st.floats(0.002, 0.03))
def test_on_a_plane_water_runs_down_the_fall(bearing_deg, slope):
    """To within a cell over the whole run; the lowest of eight neighbours alone strays by up to 45 degrees."""
    s, c = np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))
    z = plane(FIELD, -slope * s, -slope * c)
    run = np.array(followed(steered(drain(z)), 200 * FIELD.nx + 200))
    east, north = run % FIELD.nx - 200, 200 - run // FIELD.nx
    assert np.abs(east * c - north * s).max() < 1.0 and (east * s + north * c)[-1] > 195


@pytest.mark.analytic
def test_on_a_cone_water_runs_straight_from_the_top():
    e, n = FIELD.mesh()
    e0, n0 = middle(FIELD)
    z = 300.0 - 0.01 * np.hypot(e - e0, n - n0)
    flow = steered(drain(z))
    for row, col in ((190, 230), (150, 190), (215, 160)):
        run = np.array(followed(flow, row * FIELD.nx + col))
        angle = np.unwrap(np.arctan2(199.5 - run // FIELD.nx, run % FIELD.nx - 199.5))
        assert np.abs(angle - angle[0]).max() < np.radians(2.5)


@pytest.mark.invariant
def test_steered_water_still_runs_down_to_a_neighbour_reached_before_and_none_is_lost():
    rng = np.random.default_rng(5)
    z = rng.normal(size=(60, 70))
    z[rng.random(z.shape) < 0.02] = np.nan
    flow = steered(drain(z))
    place_in_order = np.full(z.size, -1)
    place_in_order[flow.order] = np.arange(len(flow.order))
    inner = flow.order[flow.receiver[flow.order] >= 0]
    to, level = flow.receiver[inner], flow.filled.ravel()
    assert (level[to] <= level[inner]).all() and (place_in_order[to] < place_in_order[inner]).all()
    assert (np.maximum(abs(to // 70 - inner // 70), abs(to % 70 - inner % 70)) == 1).all()
    through = ground_through(flow, 0.01).ravel()
    assert through[flow.receiver == OUTLET].sum() == pytest.approx(0.01 * len(flow.order))


@pytest.mark.analytic
def test_the_main_path_of_a_trough_is_its_bottom():
    """A vee of 2 % sides that falls 0.5 % south: one path, down the middle, that drains most of the field."""
    e, n = FIELD.mesh()
    e0, _ = middle(FIELD)
    z = plane(FIELD, north=0.005) + 0.02 * np.abs(e - e0 - 0.05)
    paths = main_paths(steered(drain(z)), FIELD, np.ones(FIELD.shape, bool))
    first = paths[0]
    half = first.n < FIELD.south + 20
    assert np.abs(first.e[half] - e0 - 0.05).max() <= 0.1 and first.n[-1] < FIELD.south + 0.1
    assert first.drains_m2 > 0.8 * 1600 and (np.diff(first.n) <= 0).all()


@pytest.mark.invariant
def test_even_ground_has_no_main_path():
    assert main_paths(steered(drain(plane(square(15.0), 0.004, 0.007))), square(15.0), np.ones((150, 150), bool)) == ()
