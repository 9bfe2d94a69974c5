"""From a file's numbers to points by tile: nothing lost, nothing moved, each point left out with its reason."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Transformer
from support.gridding_scene import bucketed, in_place, square_grid

from pipeline.frame import Grid
from pipeline.survey.cells.buckets import Buckets, carried, feed, from_ground
from pipeline.survey.points import TICK_M, Chunk, Ground, Projection

FOOT = 1200 / 3937


def contents(buckets: Buckets) -> list[np.ndarray]:
    """Each tile's points as (n, 3) x, y, z in TICK_M, sorted."""
    out = []
    for tile in range(buckets.tiling.count):
        xyz = np.column_stack(buckets.tiling.unpack(buckets.tile(tile)[0], tile))
        out.append(xyz[np.lexsort(xyz.T[::-1])])
    return out


def feet_scene() -> tuple[Grid, Projection, Chunk]:
    """A field in US survey feet, state plane, with points all over and around it."""
    step = Transformer.from_crs("EPSG:2272", "EPSG:32129", always_xy=True)
    cx, cy = 1_338_208.0, 250_887.0
    e, n = step.transform(cx, cy)
    grid = Grid.covering((e - 20, n - 15, e + 25, n + 17), "EPSG:32129", 0.1)
    half = 100.0
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 9), np.linspace(-1, 1, 9)))
    terms = np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v, u**3, u * u * v, u * v * v, v**3])
    fitted = (np.linalg.lstsq(terms, a, rcond=None)[0].tolist() for a in step.transform(cx + u * half, cy + v * half))
    projection = Projection((cx, cy), half, *map(tuple, fitted), FOOT, (cx - half, cy - half, cx + half, cy + half))
    rng = np.random.default_rng(3)
    x, y = rng.integers(-120_000, 120_000, (2, 30_000)).astype(np.int32)
    z = rng.integers(-5000, 5000, 30_000).astype(np.int32)
    return grid, projection, Chunk(x, y, z, (0.001,) * 3, (cx, cy, 640.0))


@pytest.mark.independent  # pyproj point by point, and the grid's own rows and columns
def test_points_in_feet_fall_where_the_projection_library_puts_them():
    grid, projection, chunk = feet_scene()
    buckets = Buckets(grid, projection)
    buckets.add(chunk)
    e, n = Transformer.from_crs("EPSG:2272", "EPSG:32129", always_xy=True).transform(
        chunk.x * 0.001 + chunk.offset[0], chunk.y * 0.001 + chunk.offset[1]
    )
    on = grid.holds(*grid.rows_cols(e, n))
    found = np.concatenate(contents(buckets))
    z = np.rint((chunk.z[on] * 0.001 + 640.0) * FOOT / TICK_M)
    right = np.column_stack([(e[on] - grid.west) / TICK_M, (n[on] - grid.south) / TICK_M, z])
    assert len(found) == on.sum() > 5000
    order, other = np.lexsort(np.rint(right).T[::-1]), np.lexsort(found.T[::-1])
    assert np.abs(found[other] - right[order]).max() < 1.01  # a tick: half by rounding, half by the bicubic
    assert buckets.removed["outside"] == len(chunk) - on.sum()


@pytest.mark.independent  # the readable twin: the same step in numpy
def test_the_kernel_rounds_and_sorts_as_plain_arrays_do():
    grid, projection, chunk = feet_scene()
    buckets = Buckets(grid, projection)
    buckets.add(chunk)
    e, n = projection.apply(chunk.x * 0.001 + chunk.offset[0], chunk.y * 0.001 + chunk.offset[1])
    across, down = np.floor((e - grid.west) / TICK_M + 0.5), np.floor((grid.north - n) / TICK_M + 0.5)
    size = buckets.tiling.tile * buckets.tiling.ticks
    on = (across >= 0) & (across < grid.nx * 1000) & (down >= 0) & (down < grid.ny * 1000)
    tile = (down // size * buckets.tiling.cols + across // size).astype(int)
    found = contents(buckets)
    for t in range(buckets.tiling.count):
        mine = np.column_stack([across, grid.ny * 1000 - down])[on & (tile == t)]
        assert np.abs(np.sort(mine, axis=0) - np.sort(found[t][:, :2], axis=0)).max(initial=0) <= 1
        assert len(mine) == len(found[t])


@pytest.mark.invariant
@pytest.mark.parametrize(("chunk", "workers"), [(1, 1), (257, 1), (1000, 3), (None, 2)])
def test_chunks_and_threads_do_not_matter(chunk, workers):
    grid = square_grid(30, 0.1)
    rng = np.random.default_rng(1)
    x, y, z = rng.uniform(-2, 32, 700), rng.uniform(-2, 32, 700), rng.normal(200, 1, 700)
    plain, other = bucketed(x, y, z, grid), bucketed(x, y, z, grid, chunk=chunk, workers=workers)
    assert all(np.array_equal(a, b) for a, b in zip(contents(plain), contents(other)))
    assert (plain.removed, plain.points_read, plain.held) == (other.removed, other.points_read, other.held)


@pytest.mark.analytic
def test_every_point_left_out_has_one_reason():
    grid = square_grid(10, 0.1)
    x = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, -1.0, 50.0, np.nan, 7.0, 8.0])
    z = np.array([0.0, 0, 0, 0, 0, 0, 0, 0, 0, np.inf, 0])
    klass = np.array([0, 2, 7, 18, 65, 1, 7, 2, 2, 2, 255], np.uint8)
    buckets = Buckets(grid, in_place(grid.bounds))
    buckets.add(Chunk(x, np.full(11, 5.0), z, klass=klass))
    assert buckets.removed == {"outside": 2, "class_noise": 3, "not_finite": 2}
    assert buckets.points_read == 11 and buckets.held == 4  # classes 0, 1, 2 and an unknown one: none is trusted


@pytest.mark.analytic
def test_a_point_on_a_cells_edge_belongs_south_and_east_of_it():
    grid = square_grid(1, 0.1)
    edge = np.array([0.0, 0.3, 0.9999, 1.0])
    buckets = Buckets(grid, in_place(grid.bounds))
    buckets.add(Chunk(np.repeat(edge, 4), np.tile(edge, 4), np.zeros(16)))
    x, y, _ = buckets.tiling.unpack(buckets.tile(0)[0], 0)
    row, col = grid.rows_cols(np.repeat(edge, 4), np.tile(edge, 4))
    assert len(x) == np.count_nonzero(grid.holds(row, col)) == 9


@pytest.mark.invariant
def test_fields_fed_from_one_pass_hold_what_each_would_hold_alone():
    rng = np.random.default_rng(2)
    raw = [rng.integers(0, 100_000, 20_000).astype(np.int32) for _ in range(3)]
    chunk = Chunk(*raw, (0.001,) * 3)
    grids = [square_grid(20, 0.1), square_grid(20, 0.1, 50, 40), square_grid(30, 0.1, 15, 10)]
    together = [Buckets(grid, in_place(grid.bounds)) for grid in grids]
    feed([chunk], together, workers=2)
    for grid, buckets in zip(grids, together):
        alone = Buckets(grid, in_place(grid.bounds))
        alone.add(chunk)
        assert alone.held > 500
        assert all(np.array_equal(a, b) for a, b in zip(contents(buckets), contents(alone)))
        assert buckets.removed == alone.removed


@pytest.mark.invariant
def test_colour_and_intensity_stay_with_their_point():
    grid = square_grid(30, 0.1)
    rng = np.random.default_rng(4)
    x, y = rng.uniform(0, 30, (2, 500))
    z = np.arange(500) * 0.01
    rgb, intensity = rng.integers(0, 256, (500, 3)).astype(np.uint8), rng.integers(0, 65536, 500).astype(np.uint16)
    buckets = bucketed(x, y, z, grid, chunk=70, rgb=rgb, intensity=intensity)
    seen = 0
    for tile in range(buckets.tiling.count):
        keys, extra = buckets.tile(tile)
        which = buckets.tiling.unpack(keys, tile)[2] // 100
        colour, strength = carried(extra, buckets.carries)
        assert np.array_equal(colour, rgb[which]) and np.array_equal(strength, intensity[which])
        seen += len(which)
    assert seen == 500
    assert carried(np.array([5]), frozenset()) == (None, None)


@pytest.mark.analytic
def test_chunks_that_carry_different_things_are_an_error():
    grid = square_grid(10, 0.1)
    buckets = Buckets(grid, in_place(grid.bounds))
    one = np.ones(1)
    buckets.add(Chunk(one, one, one, intensity=np.ones(1, np.uint16)))
    with pytest.raises(ValueError, match="after chunks with"):
        buckets.add(Chunk(one, one, one))


@pytest.mark.invariant
def test_ground_points_come_back_where_they_were():
    grid = square_grid(30, 0.1, 2_000_000, 700_000)
    rng = np.random.default_rng(5)
    x, y, z = (rng.integers(0, 300_000, 4000).astype(np.int32) for _ in range(3))
    ground = Ground(grid.west, grid.south, 100.0, x, y, z)
    whole = from_ground([ground], grid)
    parts = from_ground([ground.take(slice(0, 900)), ground.take(slice(900, None))], grid, workers=2)
    back = np.concatenate(contents(whole))
    inside = y > 0  # the south edge itself lies beyond the last row
    right = np.column_stack([x, y, z + 1_000_000])[inside]
    assert np.array_equal(back[np.lexsort(back.T[::-1])], right[np.lexsort(right.T[::-1])])
    assert all(np.array_equal(a, b) for a, b in zip(contents(whole), contents(parts)))


@pytest.mark.analytic
def test_parts_of_ground_must_share_their_origin():
    grid = square_grid(30, 0.1)
    none = np.zeros(1, np.int32)
    with pytest.raises(ValueError, match="ground points counted from"):
        from_ground([Ground(0, 0, 0, none, none, none), Ground(1, 0, 0, none, none, none)], grid)
    with pytest.raises(ValueError, match="no part"):
        from_ground([], grid)
