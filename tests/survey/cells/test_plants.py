"""Plants on the skin: shares that are known, light that must not matter, and simulated pieces of skin with what fools the eye."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.weeds import gains, looked
from scipy import ndimage
from support.weedy_skin import GRID, Scene, survey

from pipeline.frame import Grid
from pipeline.survey.cells.cell_sums import CellSums
from pipeline.survey.cells.plant_ground import plant_ground
from pipeline.survey.cells.plant_signal import plant_share
from pipeline.survey.cells.plants import BESIDE, SURELY, UNDER, plants, unseen
from pipeline.survey.points import Ground

SKIN, TURF, CHALK = (np.array(c, float) for c in ((168, 112, 84), (96, 132, 66), (226, 222, 214)))
SIDE = 60
EVERY = np.ones((SIDE, SIDE), bool)


def sums(share: np.ndarray, light=1.0, grey: np.ndarray | None = None, noise: float = 0.5, seed: int = 1) -> CellSums:
    """Ten points a cell; each cell's colour is made of skin, turf by its share, and chalk."""
    rng = np.random.default_rng(seed)
    over = 0.0 if grey is None else grey[..., None]
    colour = (1 - over) * ((1 - share[..., None]) * SKIN + share[..., None] * TURF) + over * CHALK
    rgb = 10 * np.asarray(light)[..., None] * colour + rng.normal(0, noise, (SIDE, SIDE, 3))
    return CellSums(np.full((SIDE, SIDE), 10.0), rgb, None, np.zeros((SIDE, SIDE)))


def halves(share_of_skin: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Share over the piece with turf in its east third; masks of skin and turf."""
    turf = np.zeros((SIDE, SIDE), bool)
    turf[:, 40:] = True
    return np.where(turf, 1.0, share_of_skin), ~turf, turf


@pytest.mark.independent
def test_between_skin_and_turf_the_share_is_that_of_the_excess_green_index():
    """2 g - r - b of colours as shares of their brightness: Woebbecke et al. 1995, Trans. ASAE 38 (from memory)."""
    given = np.zeros((SIDE, SIDE))
    given[10:20, 5:30] = np.linspace(0.2, 1.0, 25)
    share, skin, turf = halves(given)
    made = sums(share, noise=1e-3)
    found = plant_share(made, skin, turf, 0)
    chroma = made.rgb / made.rgb.sum(axis=-1, keepdims=True)
    green = 2 * chroma[..., 1] - chroma[..., 0] - chroma[..., 2]
    bare, grass = np.median(green[30:, :40]), np.median(green[:, 40:])
    want = (green - bare) / (grass - bare)
    assert found.told_by == "colour" and np.abs(found.own - want)[skin].max() < 2e-3


@pytest.mark.invariant
def test_light_shade_and_chalk_make_no_plants():
    share, skin, turf = halves(np.zeros((SIDE, SIDE)))
    light = np.ones((SIDE, SIDE))
    light[10:30, :] = 0.4
    chalk = np.zeros((SIDE, SIDE))
    chalk[40:42, :38] = 0.8
    found = plant_share(sums(share, light, chalk), skin, turf, 0)
    assert np.abs(found.own[skin]).max() < 0.03
    assert (found.own_sigma[15, :30] > 2 * found.own_sigma[35, :30]).all()  # in the dark the same noise is wider


@pytest.mark.invariant
def test_weeds_over_most_of_the_skin_do_not_become_the_skin():
    rng = np.random.default_rng(4)
    given = np.where(rng.random((SIDE, SIDE)) < 0.7, rng.uniform(0.4, 1.0, (SIDE, SIDE)), 0.0)
    share, skin, turf = halves(given)
    found = plant_share(sums(share), skin, turf, 0)
    bare = skin & (given == 0)
    assert np.abs(found.own[bare]).max() < 0.05 and found.own[skin & (given > 0)].min() > 0.25


@pytest.mark.invariant
def test_without_green_turf_colour_is_not_believed():
    share, skin, turf = halves(np.zeros((SIDE, SIDE)))
    assert plant_share(sums(np.zeros_like(share)), skin, turf, 0) is None
    grey = replace(sums(share), rgb=np.zeros((SIDE, SIDE, 3)))
    assert plant_share(grey, skin, turf, 0) is None
    assert plant_share(replace(sums(share), rgb=None), skin, turf, 0) is None


@pytest.mark.analytic
@pytest.mark.parametrize("scene", [Scene("good"), Scene("weak"), Scene("good", dormant=True), Scene("lidar", carries="intensity")],
                         ids=["good", "weak", "dormant", "lidar"])  # fmt: skip
def test_a_clean_skin_with_chalk_shade_wet_mix_and_clods_is_clean(scene):
    for seed in (8000, 8001):
        found = looked(survey(scene, seed))
        assert found.cells[found.asked].mean() < 0.01 and found.share(found.asked)[0] < 0.002


@pytest.mark.analytic
@pytest.mark.parametrize("scene, least", [(Scene("good"), 0.99), (Scene("weak"), 0.99), (Scene("lidar", carries="intensity"), 0.90)],
                         ids=["good", "weak", "lidar"])  # fmt: skip
@pytest.mark.parametrize("share", [0.05, 0.20])
def test_plants_are_found_and_their_share_lies_in_its_bracket(scene, least, share):
    seen = survey(replace(scene, share=share), 8002, 1)
    found = looked(seen)
    weedy = (seen.over > 0.2) & found.asked
    share_found, low, high = found.share(found.asked)
    assert found.cells[weedy].mean() > least
    assert low <= weedy.sum() / found.asked.sum() <= high and low <= share_found <= high
    clear = found.asked & ~ndimage.binary_dilation(seen.over > 0, np.ones((3, 3)), 3)
    assert found.cells[clear].mean() < 0.01


@pytest.mark.analytic
@pytest.mark.parametrize("share", [0.20, 0.60])
def test_plants_left_out_make_no_gain_where_left_in_they_do(share):
    scene = Scene("good")
    first, second = survey(scene, 8003, 0), survey(replace(scene, share=share, height_mm=(60.0, 80.0), cover=(0.9, 1.0)), 8003, 1)
    found = looked(first), looked(second)
    gained, _, closed = gains(scene, first, second, found)
    assert not gained and closed == (share > 0.3)
    assert gains(scene, first, second, None)[0]


@pytest.mark.invariant
def test_without_colour_nothing_is_sure_and_low_plants_may_be_anywhere():
    seen = survey(Scene("good", carries="", share=0.20), 8004)
    found = looked(seen)
    share, low, high = found.share(found.asked)
    assert found.told_by == "roughness" and low == 0.0 and high == 1.0 and 0.02 < share < 0.25
    assert found.hidden_m > 0 and np.isnan(found.least_cover)
    assert looked(survey(Scene("good", carries=""), 8004)).cells.mean() < 0.01


@pytest.mark.invariant
def test_a_walk_and_cells_too_wide_show_no_plants():
    for found in (unseen((4, 4)), plants(nothing(), Grid("EPSG:6550", 0, 8, 0.5, 8, 8), np.zeros((8, 8)), *np.ones((3, 8, 8), bool))):
        assert found.told_by == "" and not found.cells.any() and np.isnan(found.share(np.ones(found.asked.shape, bool))).all()
        assert np.isnan(found.area(np.ones(found.asked.shape, bool)))
    assert unseen((4, 4)).hidden_m == 0 and found.hidden_m > 0


def nothing() -> Ground:
    none = np.empty(0, np.int32)
    return Ground(0.0, 0.0, 0.0, none, none, none)


@pytest.mark.invariant
def test_the_same_points_in_another_order_give_the_same_classes():
    seen = survey(Scene("good", share=0.05), 8005)
    order = np.random.default_rng(1).permutation(len(seen.ground))
    assert np.array_equal(looked(seen).classes, looked(replace(seen, ground=seen.ground.take(order))).classes)
    classes = looked(seen).classes
    assert (classes == SURELY).any() and (classes == UNDER).any() and (classes == BESIDE).any()


@pytest.mark.analytic
def test_plants_are_looked_for_clear_of_the_edge_and_turf_is_read_beyond_it():
    skin = np.zeros(GRID.shape, bool)
    skin[60:-60, 60:-60] = True
    apart = np.zeros(GRID.shape, bool)
    apart[100:110, 100:110] = True
    found = plant_ground(GRID, skin, (), apart)
    row = found.clear[120]
    assert np.flatnonzero(row)[[0, -1]].tolist() == [63, GRID.nx - 64]  # 0.3 m off a rim of cells
    assert not found.clear[105, 105] and not (found.clear & found.beside).any() and found.beside[120, 61]
    turf = np.flatnonzero(found.turf[120, :60])
    assert turf.min() == 32 and turf.max() == 51  # 0.75 to 2.8 m off
