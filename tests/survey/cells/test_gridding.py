"""From buckets to a surface: the same bytes whatever does not matter, and what comes out is what the contract says."""

from __future__ import annotations

import numpy as np
import pytest
from support.gridding_scene import (
    CAR,
    PLAYER,
    SPACING_M,
    TARP,
    bucketed,
    cloud,
    gridded,
    in_place,
    square_grid,
    unscreened,
    with_clutter,
)  # fmt: skip

from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.store.scratch import FileScratch
from pipeline.survey.cells.buckets import Buckets
from pipeline.survey.cells.gridding import grid_cloud, regrid
from pipeline.survey.points import Chunk

RASTERS = ("z", "white", "count", "points", "objects")


@pytest.fixture(scope="module")
def cluttered():
    """x, y, z, colour of one survey with clutter, and how it grids."""
    x, y, z = cloud("good", 11)
    *xyz, _ = with_clutter(x, y, z, 12, SPACING_M["good"], (PLAYER, CAR, TARP))
    rgb = np.random.default_rng(13).integers(0, 256, (len(xyz[0]), 3)).astype(np.uint8)
    return *xyz, rgb, gridded(*xyz, square_grid(), rgb=rgb)


def assert_same(one, other) -> None:
    for name in RASTERS:
        assert getattr(one, name).tobytes() == getattr(other, name).tobytes(), name
    assert (one.removed, one.points_read, one.white_point_m, one.steep_share, one.steps) == (
        other.removed, other.points_read, other.white_point_m, other.steep_share, other.steps
    )  # fmt: skip
    for a, b in zip(one.ground, other.ground, strict=True):
        assert (a.west, a.south, a.z0) == (b.west, b.south, b.z0)
        for name in ("x", "y", "z", "rgb", "intensity"):
            left, right = getattr(a, name), getattr(b, name)
            assert (left is None and right is None) or left.tobytes() == right.tobytes(), name


@pytest.mark.invariant
@pytest.mark.parametrize(("chunk", "workers"), [(50_000, 1), (None, 2), (33_333, 4)])
def test_threads_and_chunks_change_no_byte(cluttered, chunk, workers):
    x, y, z, rgb, plain = cluttered
    assert_same(gridded(x, y, z, square_grid(), chunk=chunk, workers=workers, rgb=rgb), plain)


@pytest.mark.invariant
def test_shuffled_points_change_no_byte(cluttered):
    x, y, z, rgb, plain = cluttered
    mixed = np.random.default_rng(14).permutation(len(x))
    assert_same(gridded(x[mixed], y[mixed], z[mixed], square_grid(), rgb=rgb[mixed]), plain)


@pytest.mark.invariant
def test_points_that_wait_in_a_file_change_no_byte(cluttered, tmp_path):
    x, y, z, rgb, plain = cluttered
    with FileScratch(tmp_path) as scratch:
        assert_same(gridded(x, y, z, square_grid(), workers=2, scratch=scratch, rgb=rgb), plain)


@pytest.mark.invariant
def test_two_thousand_kilometres_away_no_byte_changes(cluttered):
    x, y, z, rgb, plain = cluttered
    raw = [np.rint(v * 1000).astype(np.int32) for v in (x, y, z)]
    grid = square_grid(west=2_000_000.0, south=700_000.0)
    buckets = Buckets(grid, in_place(grid.bounds))
    buckets.add(Chunk(*raw, (0.001,) * 3, (2_000_000.0, 700_000.0, 0.0), rgb=rgb))
    far = grid_cloud(buckets)
    for name in RASTERS:
        assert getattr(far, name).tobytes() == getattr(plain, name).tobytes(), name
    assert far.removed == plain.removed
    assert (far.ground.whole().west, far.ground.whole().south) == (2_000_000.0, 700_000.0)


@pytest.mark.invariant
def test_every_point_is_ground_or_left_out_for_one_reason(cluttered):
    found = cluttered[4]
    assert found.points_read == len(cluttered[0]) == len(found.ground) + sum(found.removed.values())
    assert found.points.sum() == len(found.ground) == len(found.ground.whole())
    assert set(found.removed) == {"outside", "class_noise", "not_finite", "above", "below", "object"}


@pytest.mark.invariant
def test_empty_cells_are_nan_with_no_count_and_no_error(cluttered):
    found = cluttered[4]
    empty = np.isnan(found.z)
    assert 0 < empty.mean() < 0.2
    assert np.array_equal(empty, np.isnan(found.white)) and np.array_equal(empty, found.count == 0)
    assert (found.points[empty] < 3).mean() > 0.99 and np.array_equal(found.count[~empty], found.points[~empty])
    assert found.count.dtype == np.uint32 and found.z.shape == found.grid.shape


@pytest.mark.invariant
def test_gridding_the_ground_again_unmoved_gives_the_same_surface(cluttered):
    found = cluttered[4]
    for ground in (found.ground.whole(), found.ground):
        again = regrid(ground, found.grid, workers=2, steps=found.steps)
        for name in ("z", "white", "count", "points"):
            assert getattr(again, name).tobytes() == getattr(found, name).tobytes(), name
        assert again.removed["outside"] == 0 and len(again.ground) == len(found.ground)


@pytest.mark.invariant
def test_without_a_screen_every_point_is_taken_and_gridded_as_ground_is(cluttered):
    x, y, z, rgb, screened = cluttered
    grid = square_grid()
    taken = grid_cloud(bucketed(x, y, z, grid, rgb=rgb), screen=False)
    assert len(taken.ground) == len(screened.ground) + sum(screened.removed[reason] for reason in ("above", "below", "object"))
    assert np.isnan(taken.steep_share) and not taken.objects.any()
    again = regrid(taken.ground.whole(), grid, steps=taken.steps)
    for name in ("z", "white", "count", "points"):
        assert getattr(again, name).tobytes() == getattr(taken, name).tobytes(), name


@pytest.mark.analytic
def test_moving_the_ground_by_whole_plane_blocks_moves_the_surface():
    x, y, z = cloud("good", 15)
    found = unscreened(x, y, z, square_grid())
    moved = regrid(found.ground.whole().moved(1.5, -3.0), found.grid)
    assert np.array_equal(moved.z[30:, 15:], found.z[:-30, :-15], equal_nan=True)
    assert moved.removed["outside"] == len(found.ground) - len(moved.ground) > 0
    assert np.isnan(moved.z[:29]).all() and np.isnan(moved.z[:, :14]).all()


@pytest.mark.analytic
def test_moving_the_ground_by_half_a_cell_costs_no_more_than_the_noise():
    x, y, z = cloud("good", 16)
    found = unscreened(x, y, z, square_grid())
    moved = regrid(found.ground.whole().moved(0.05, 0.0), found.grid)
    half = 0.5 * (found.z[:, 1:] + found.z[:, :-1])  # where the moved points' cells lie, on gentle ground
    e, n = found.grid.mesh()
    level = np.hypot(e - 7, n - 7)[:, 1:] > 4
    gap = (moved.z[:, 1:] - half)[level & (e[:, 1:] < 15)]
    assert np.nanmedian(np.abs(gap)) < 0.002 and abs(np.nanmean(gap)) < 1e-4


@pytest.mark.invariant
def test_colours_come_back_with_their_points(cluttered):
    x, y, z, rgb, found = cluttered
    ground = found.ground.whole()
    ticks = np.rint(np.column_stack([x, y, z]) * 1000).astype(np.int64) * 10
    given = {tuple(p): tuple(c) for p, c in zip(ticks.tolist(), rgb.tolist())}
    some = np.random.default_rng(17).choice(len(ground), 3000, replace=False)
    found = zip(np.column_stack([ground.x, ground.y, ground.z])[some].tolist(), ground.rgb[some].tolist())
    assert np.mean([given.get(tuple(p)) == tuple(c) for p, c in found]) > 0.999  # but for points in one place


@pytest.mark.analytic
@pytest.mark.parametrize("cell_m", [0.05, 0.25, 0.5, 1.0, 2.0])
def test_any_cell_size_gives_the_plane_and_its_share_of_the_noise(cell_m):
    rng = np.random.default_rng(18)
    x, y = rng.uniform(0, 31, (2, 300_000))
    z = 100 + 0.03 * x + rng.normal(0, 0.01, len(x))
    grid = Grid.covering((0, 0, 31, 31), "EPSG:6550", cell_m)
    found = gridded(x, y, z, grid)
    e, _ = grid.mesh()
    ratio = ((found.z - 100 - 0.03 * e) / found.white)[1:-1, 1:-1]
    assert found.removed["above"] + found.removed["below"] + found.removed["object"] < 30
    known = np.isfinite(ratio)
    assert ratio[known].std() == pytest.approx(1.0, abs=4 / np.sqrt(2 * known.sum()) + 0.03)
    assert found.white_point_m == pytest.approx(0.01, rel=0.05)


@pytest.mark.analytic
def test_a_cloud_beside_the_field_is_refused_with_where_it_lies():
    grid = square_grid(24)
    beside = bucketed(np.array([100.0, 110.0]), np.array([200.0, 210.0]), np.zeros(2), grid)
    with pytest.raises(Refused, match=r"x, y from 100.00, 200.00 to 110.00, 210.00.*none of them on") as refusal:
        grid_cloud(beside)
    assert refusal.value.code == "misses_field"
    with pytest.raises(Refused, match="no points at all"):
        grid_cloud(Buckets(grid, in_place(grid.bounds)))
    one = np.full(1, 5.0)
    with pytest.raises(Refused, match="all marked as noise"):
        grid_cloud(bucketed(one, one, one, grid, klass=np.full(1, 7, np.uint8)))


@pytest.mark.analytic
def test_no_class_at_all_never_empties_a_surface():
    x, y, z = cloud("good", 19)
    plain = gridded(x, y, z, square_grid())
    unclassified = gridded(x, y, z, square_grid(), klass=np.zeros(len(x), np.uint8))
    assert plain.z.tobytes() == unclassified.z.tobytes() and np.isfinite(plain.z).mean() > 0.9


@pytest.mark.analytic
def test_no_ground_left_is_an_empty_surface_not_an_error():
    none = np.empty(0)
    found = unscreened(none, none, none, square_grid(5))
    assert np.isnan(found.z).all() and np.isnan(found.white_point_m) and len(found.ground) == 0
    assert len(found.ground.whole()) == 0 and not found.count.any()


@pytest.mark.independent  # plane fits in four windows measured on this file with other code, see its notes
@pytest.mark.parametrize(
    ("east_ft", "north_ft", "x_pct", "y_pct"),
    [
        (636220, 852080, 0.25, 0.83), (636100, 852120, 0.11, 0.70),
        (636420, 852220, 0.52, 1.59), (636350, 852380, -0.44, -1.42),
    ],
)
def test_a_public_sports_field_has_the_slopes_measured_on_it_before(public_field, east_ft, north_ft, x_pct, y_pct):
    e, n = public_field.grid.mesh()
    here = (np.abs(e / 0.3048 - east_ft) < 30) & (np.abs(n / 0.3048 - north_ft) < 30) & np.isfinite(public_field.z)
    design = np.column_stack([np.ones(here.sum()), e[here] - e[here].mean(), n[here] - n[here].mean()])
    _, along_x, along_y = np.linalg.lstsq(design, public_field.z[here], rcond=None)[0]
    assert here.sum() > 250
    assert (100 * along_x, 100 * along_y) == pytest.approx((x_pct, y_pct), abs=0.03)


@pytest.fixture(scope="module")
def public_field(real_data):
    """Unclassified lidar over marked pitches, in international feet, on cells of 1 m."""
    import laspy

    file = laspy.read(real_data / "park" / "athletic_field.laz")
    x, y, z = (np.asarray(file[a]) * 0.3048 for a in ("x", "y", "z"))
    grid = Grid.covering((x.min(), y.min(), x.max(), y.max()), "EPSG:2991", 1.0)
    buckets = Buckets(grid, in_place(grid.bounds))
    buckets.add(Chunk(x, y, z))
    return grid_cloud(buckets)


@pytest.mark.independent  # the producer's own ground class in an open public tile of bare ground
def test_bare_ground_of_a_public_tile_is_kept(real_data):
    import laspy

    file = laspy.read(real_data / "field" / "open_field.laz")
    x, y, z, klass = (np.asarray(file[a]) for a in ("x", "y", "z", "classification"))
    grid = Grid.covering((x.min(), y.min(), x.max(), y.max()), "EPSG:2154", 1.0)
    buckets = Buckets(grid, in_place(grid.bounds))
    buckets.add(Chunk(x, y, z, klass=klass, intensity=klass.astype(np.uint16)))
    found = grid_cloud(buckets, workers=2)
    left = found.ground.whole().intensity
    assert found.removed["class_noise"] == 10  # class 65, the producer's artefacts
    assert (left == 2).sum() > 0.985 * (klass == 2).sum()
    assert (left == 6).sum() < 0.05 * (klass == 6).sum()
