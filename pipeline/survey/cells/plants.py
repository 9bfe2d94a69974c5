"""Plants on the skin: which cells they stand on, so that no height is read through leaves.

What may pass for plants, and the answer: chalk, paint, concrete, plates, shade (grey is told apart), wet mix (stands away from
the turf), turf along the edge (cells near it are not asked), clods and heaps of mix (colour decides where there is any). What
passes unseen: dead brown plants, plants thinner than `least_cover`, and without colour or intensity all low ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from pipeline.frame import Grid
from pipeline.survey.cells.cell_sums import CellSums, cell_sums
from pipeline.survey.cells.plant_relief import standing_out
from pipeline.survey.cells.plant_signal import PlantShare, plant_share
from pipeline.survey.points import Ground

POOL_M = 0.10  # cells so far to either hand are pooled
WIDE_CELL_M = 0.25  # on wider cells no patch of plants can be outlined
LEAST_SHARE, ALONE = 0.12, 0.35  # of the pooled cells, and of a cell by itself, that plants must cover
SIGMAS, ALONE_SIGMAS = 4.0, 5.0  # of 100,000 bare cells some three pass
RIM_SHARE, RIM_SIGMAS, RIM_STEPS = 0.06, 2.0, 3  # a patch runs on so far into thinner cover
FEWEST = 3  # cells of a patch: what is smaller is a stain or a leaf
SMOOTH, SMOOTH_POINTS = 1.10, 400.0  # an intensity patch with so many points that is no rougher than the skin is wet or dry mix
HIDDEN_M = 0.050  # mean over a zone that plants of 80 mm can add where only roughness and relief tell, and tell half of them
PLANTS_MAY = "so much may be low plants: without colour or intensity nothing tells them from mix"
NONE, POSSIBLE, BESIDE, UNDER, SURELY = 0, 1, 2, 3, 4
EIGHT = np.ones((3, 3), bool)


@dataclass(frozen=True)
class Plants:
    """Plants on the skin of one survey.

    told_by : `colour`, `intensity`, `roughness`, or `` where nothing tells
    classes : (ny, nx) uint8: NONE, POSSIBLE (nothing says there are none), BESIDE plants (leaves hang over, points are
              blurred: no height is believed there either), UNDER plants, SURELY so
    asked   : (ny, nx) bool, the skin that was looked at: clear of the grass edge, of plates and stable ground
    least_cover : share of a spot of some 0.3 m that plants must cover to be seen, median over the skin; NaN by roughness
    hidden_m : so much height plants that nothing shows may add to a zone, m
    """

    told_by: str
    classes: np.ndarray
    asked: np.ndarray
    least_cover: float
    hidden_m: float

    @property
    def cells(self) -> np.ndarray:
        """Cells under plants or so near that no height of the ground is known, (ny, nx) bool."""
        return self.classes >= BESIDE

    def share(self, zone: np.ndarray) -> tuple[float, float, float]:
        """Share of a zone's asked cells under plants, and the 95 % bracket's ends; NaN where nothing tells or nothing was asked."""
        cells = zone & self.asked
        if not self.told_by or not cells.any():
            return float("nan"), float("nan"), float("nan")
        found = self.classes[cells]
        return tuple(float(np.mean(found >= least)) for least in (UNDER, SURELY, POSSIBLE))

    def area(self, zone: np.ndarray) -> float:
        """Cells of a zone under plants; NaN where nothing tells or nothing was asked."""
        cells = zone & self.asked
        return float((self.classes[cells] >= UNDER).sum()) if self.told_by and cells.any() else float("nan")


def unseen(shape: tuple[int, int], hidden_m: float = 0.0) -> Plants:
    """Of a survey that does not show plants: a walk, whose pole stands between them, or one on cells too wide."""
    return Plants("", np.zeros(shape, np.uint8), np.zeros(shape, bool), float("nan"), hidden_m)


def plants(
    ground: Ground, grid: Grid, z: np.ndarray, skin: np.ndarray, turf: np.ndarray, beside: np.ndarray, raised: np.ndarray | None = None
) -> Plants:
    """Where plants stand on the skin.

    ground : ground points, the grid's south-west corner their origin
    z      : height, (ny, nx), m; NaN where nothing was measured
    skin   : (ny, nx) bool, skin clear of the grass edge, of plates, stable ground and whatever else is not mix
    turf   : (ny, nx) bool, turf near the skin and clear of the edge
    beside : (ny, nx) bool, more of the skin, up to the edge, into which a patch may run on
    raised : (ny, nx) bool, ground that was built to stand up (the mound): its relief is no sign of plants; None: none
    """
    if grid.cell_m > WIDE_CELL_M or not skin.any():
        return unseen(grid.shape, HIDDEN_M)
    sums, half = cell_sums(ground, grid), max(int(round(POOL_M / grid.cell_m)), 0)
    asked = skin & (sums.count > 0)
    share = plant_share(sums, asked, turf & (sums.count > 0), half)
    if share is None:
        return _by_relief(sums, z, asked if raised is None else asked & ~raised, grid.cell_m, half)
    seeds, threshold = _seeds(share, asked)
    doubtful = np.zeros(grid.shape, bool)
    if share.told_by == "intensity":
        seeds, doubtful = _rougher(seeds, sums, asked)
    rim = (share.pooled > np.maximum(RIM_SHARE, RIM_SIGMAS * share.pooled_sigma)) & (asked | beside) & ~doubtful
    beside_them = ndimage.binary_dilation(_grown(seeds, rim | seeds), EIGHT) & (asked | beside)
    possible = doubtful | _thin(share, asked & ~beside_them)
    surely = seeds & ndimage.binary_erosion(seeds, EIGHT)
    classes = _classes(possible, beside_them, seeds, surely)
    return Plants(share.told_by, classes, asked, float(np.median(threshold[asked])), 0.0)


def _seeds(share: PlantShare, asked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Cells that plants cover for sure, and the share from which the pooled cells say so."""
    threshold = np.maximum(LEAST_SHARE, SIGMAS * share.pooled_sigma)
    with np.errstate(invalid="ignore"):
        seeds = asked & ((share.pooled > threshold) | (share.own > np.maximum(ALONE, ALONE_SIGMAS * share.own_sigma)))
    number, _ = ndimage.label(seeds, EIGHT)
    size = np.bincount(number.ravel())
    size[0] = 0
    return size[number] >= FEWEST, threshold


def _grown(seeds: np.ndarray, into: np.ndarray) -> np.ndarray:
    return ndimage.binary_dilation(seeds, EIGHT, RIM_STEPS, mask=into) if seeds.any() else seeds


def _rougher(under: np.ndarray, sums: CellSums, skin: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Patches that intensity shows, without those that many points show to be as smooth as bare skin; and those."""
    own = sums.scatter[skin & ~under & (sums.count >= 2)].sum() / max((sums.count - 1)[skin & ~under & (sums.count >= 2)].sum(), 1.0)
    number, count = ndimage.label(under, EIGHT)
    held = under & (sums.count >= 2)
    freedom = np.bincount(number[held], (sums.count - 1)[held], count + 1)
    scatter = np.bincount(number[held], sums.scatter[held], count + 1)
    smooth = (freedom >= SMOOTH_POINTS) & (scatter < SMOOTH * max(own, 1e-12) * freedom)
    smooth[0] = False
    return under & ~smooth[number], smooth[number] & under


def _thin(share: PlantShare, bare: np.ndarray) -> np.ndarray:
    """Cells over 2 s.d. on bare skin, where they are more than chance makes: cover too thin to be sure of."""
    with np.errstate(invalid="ignore"):
        found = bare & (share.pooled > 2.0 * share.pooled_sigma)
    return found if found.sum() > 0.05 * bare.sum() else np.zeros(bare.shape, bool)


def _by_relief(sums: CellSums, z: np.ndarray, asked: np.ndarray, cell_m: float, half: int) -> Plants:
    """What stands out is left out, whatever it is; plants may be anywhere, low ones unseen."""
    found = standing_out(sums, z, asked, cell_m, half)
    number, _ = ndimage.label(found, EIGHT)
    size = np.bincount(number.ravel())
    size[0] = 0
    under = size[number] >= FEWEST
    around = ndimage.binary_dilation(under, EIGHT) & asked
    return Plants("roughness", _classes(asked, around, under, np.zeros(asked.shape, bool)), asked, float("nan"), HIDDEN_M)


def _classes(*from_possible: np.ndarray) -> np.ndarray:
    """The highest class whose mask holds a cell; masks from POSSIBLE to SURELY."""
    out = np.zeros(from_possible[0].shape, np.uint8)
    for value, mask in enumerate(from_possible, start=POSSIBLE):
        out[mask] = value
    return out
