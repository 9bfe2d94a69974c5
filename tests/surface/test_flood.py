"""The flood: the level water rises to, and where it runs."""

from __future__ import annotations

import heapq

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.ndimage import label
from skimage.morphology import reconstruction

from pipeline.surface.flood import DRY, OUTLET, drain, fill, standing


def plain_fill(z: np.ndarray, wall: np.ndarray | None = None) -> np.ndarray:
    """The readable twin: always take the lowest cell reached so far."""
    ny, nx = z.shape
    wall = np.zeros(z.shape, bool) if wall is None else wall & np.isnan(z)
    outlet = np.isnan(z) & ~wall
    filled, waiting = np.full(z.shape, np.nan), []
    around = [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1) if a or b]

    def inside(r, c):
        return 0 <= r < ny and 0 <= c < nx

    for r in range(ny):
        for c in range(nx):
            near = [(r + a, c + b) for a, b in around]
            if np.isfinite(z[r, c]) and any(not inside(*p) or outlet[p] for p in near):
                heapq.heappush(waiting, (z[r, c], r, c))
                filled[r, c] = z[r, c]
    while waiting:
        level, r, c = heapq.heappop(waiting)
        for a, b in around:
            p = (r + a, c + b)
            if inside(*p) and np.isfinite(z[p]) and np.isnan(filled[p]):
                filled[p] = max(z[p], level)
                heapq.heappush(waiting, (filled[p], *p))
    return filled


def reconstructed(z: np.ndarray) -> np.ndarray:
    """scikit-image's grey reconstruction by erosion; a NaN becomes a hole without bottom."""
    low = np.where(np.isnan(z), -np.inf, z)
    seed = np.where(np.isnan(z), -np.inf, np.inf)
    seed[0], seed[-1], seed[:, 0], seed[:, -1] = low[0], low[-1], low[:, 0], low[:, -1]
    return np.where(np.isnan(z), np.nan, reconstruction(seed, low, method="erosion", footprint=np.ones((3, 3))))


heights = arrays(np.float64, st.tuples(st.integers(1, 9), st.integers(1, 9)), elements=st.integers(0, 6).map(float))


@pytest.mark.analytic
def test_a_pit_fills_to_its_lowest_way_out():
    z = np.array([[5, 5, 5, 5.0], [5, 1, 4, 5], [5, 2, 3, 3.5], [5, 5, 5, 5]])
    assert np.array_equal(fill(z), np.array([[5, 5, 5, 5], [5, 3.5, 4, 5], [5, 3.5, 3.5, 3.5], [5, 5, 5, 5]]))


@pytest.mark.analytic
def test_a_cell_without_height_is_a_way_out_and_a_wall_is_none():
    z = np.full((7, 7), 9.0)
    z[2:5, 2:5] = 1.0
    z[3, 3] = np.nan
    assert np.array_equal(fill(z), z, equal_nan=True)
    shut = fill(z, np.isnan(z))
    assert (shut[2:5, 2:5][np.isfinite(z[2:5, 2:5])] == 9.0).all()


@pytest.mark.analytic
def test_ground_that_walls_shut_in_has_no_level():
    z = np.full((7, 7), 2.0)
    z[1:6, 1:6] = np.nan
    z[3, 3] = 1.0
    assert np.isnan(fill(z, np.isnan(z))[3, 3])


@pytest.mark.invariant
@settings(deadline=None, max_examples=60)
@given(heights)
def test_a_second_flood_changes_nothing_and_none_lowers_the_ground(z):
    once = fill(z)
    assert (once >= z).all()
    assert np.array_equal(fill(once), once)
    assert np.isin(once, z).all()


@pytest.mark.invariant
@settings(deadline=None, max_examples=60)
@given(heights, st.integers(0, 3), st.booleans())
def test_turning_the_map_only_turns_the_water(z, quarter, mirrored):
    def turned(a):
        return np.rot90(a.T if mirrored else a, quarter)

    assert np.array_equal(fill(turned(z)), turned(fill(z)))


@pytest.mark.independent
@settings(deadline=None, max_examples=80)
@given(heights, st.integers(0, 2**32 - 1))
def test_the_kernel_equals_its_plain_twin(z, seed):
    rng = np.random.default_rng(seed)
    z = np.where(rng.random(z.shape) < 0.1, np.nan, z)
    wall = rng.random(z.shape) < 0.5
    assert np.array_equal(fill(z, wall), plain_fill(z, wall), equal_nan=True)


@pytest.mark.independent
@pytest.mark.parametrize("holes", [0.0, 0.002])
def test_the_flood_is_grey_reconstruction_by_erosion_bit_for_bit(holes):
    """Another engine: scikit-image `morphology.reconstruction`, 90,000 cells."""
    rng = np.random.default_rng(3)
    z = rng.normal(size=(300, 300))
    z[rng.random(z.shape) < holes] = np.nan
    assert np.array_equal(fill(z), reconstructed(z), equal_nan=True)


@pytest.mark.invariant
def test_every_cell_drains_to_a_neighbour_that_stands_no_higher_and_was_reached_before():
    rng = np.random.default_rng(5)
    z = rng.normal(size=(40, 50))
    z[rng.random(z.shape) < 0.02] = np.nan
    d = drain(z)
    level, place_in_order = d.filled.ravel(), np.full(z.size, -1)
    place_in_order[d.order] = np.arange(len(d.order))
    assert len(d.order) == np.isfinite(z).sum() and (d.receiver[np.isnan(z.ravel())] == DRY).all()
    inner = d.order[d.receiver[d.order] >= 0]
    to = d.receiver[inner]
    assert (level[to] <= level[inner]).all() and (place_in_order[to] < place_in_order[inner]).all()
    assert (np.maximum(abs(to // 50 - inner // 50), abs(to % 50 - inner % 50)) == 1).all()
    assert (d.receiver[d.order] == OUTLET).any()
    padded = np.pad(np.nan_to_num(d.filled, nan=np.inf), 1, constant_values=np.inf)
    lowest = np.lib.stride_tricks.sliding_window_view(padded, (3, 3)).min(axis=(2, 3)).ravel()
    assert (level[to] == lowest[inner]).all()


def chain() -> tuple[np.ndarray, np.ndarray]:
    """A gutter one cell wide between walls of 9 m: it falls east over two pits, and out over the border."""
    z = np.full((3, 12), 9.0)
    z[1] = [8, 7.9, 7.8, 7.0, 7.7, 7.6, 7.5, 7.0, 7.0, 7.4, 7.3, 7.2]
    number = np.zeros(z.shape, int)
    number[1, 3], number[1, 7:9] = 1, 2
    return z, number


@pytest.mark.analytic
def test_a_full_pond_passes_the_rest_on_to_the_next_downhill():
    z, number = chain()
    filled = fill(z)
    assert filled[1, 3] == 7.7 and (filled[1, 7:9] == 7.4).all()
    d = drain(z)
    stands, ground = standing(d, number, np.array([0.5, 100.0]), rain_m=1.0, cell_area_m2=1.0)
    # cells 1 to 3 run into the first pond, 4 to 8 into the second; 0 and 9 to 11 leave over the border
    assert ground.tolist() == [3.0, 5.0]
    assert stands.tolist() == [0.5, 5.0 + 2.5]


@pytest.mark.invariant
def test_no_pond_holds_more_than_it_can_nor_more_than_the_rain_that_fell():
    rng = np.random.default_rng(8)
    z = rng.normal(size=(60, 60))
    d = drain(z)
    number, count = label(d.filled > z, np.ones((3, 3)))
    capacity = np.bincount(number.ravel(), (d.filled - z).ravel())[1:] * 0.01
    for rain in (0.001, 0.1, 10.0):
        stands, ground = standing(d, number, capacity, rain, 0.01)
        assert (stands <= capacity + 1e-12).all() and stands.sum() <= rain * z.size * 0.01 + 1e-9
        assert (stands >= np.minimum(capacity, rain * ground) - 1e-12).all()
    assert count > 10 and stands == pytest.approx(capacity)
