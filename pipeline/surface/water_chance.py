"""How sure the water is: the same rain on surfaces that carry one more error of the survey, with their lips and without.

As for the ponds themselves (`pond_chance`), the noisy floods run on block means; only their departures are used. An error more
lets water out by the lowest notch it makes in a rim, and a long lip has many: so their mean departs too, downward, as the survey's
own figure has departed from the truth. That shift counts beside the scatter; of a lip, where it is largest, it is given back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
from scipy import ndimage

from pipeline.diamond.edges import Edge
from pipeline.frame import Grid
from pipeline.surface.block_heights import Smoother, block_grid, block_of, block_share, blocks
from pipeline.surface.flood import drain, fill
from pipeline.surface.lip_dam import Strips, capped, held_without, strips
from pipeline.surface.pond_chance import BLOCK_M, VOLUME_WIDER, grown, in_blocks
from pipeline.surface.ponds import EIGHT, KEEP_M, SMOOTH_SD_M, Ponding, deepest_of, walls
from pipeline.surface.pools import RAINS_M, rained
from pipeline.surface.runoff import LEAST_M2, Path, ground_through, steered
from pipeline.surface.survey_error import SurveyError

LIP_WIDER = 2.2  # the draws scatter by so much less than surveys do; chosen on simulated dams
LEAST_M3 = 0.02  # errors alone hold back so much along a flush edge
NEAR_M = 1.0  # a noisy path so near is the same path
MOST_GAIN = 4.0  # what a dam is said to hold over what is seen: half of its height gone to notches, beyond that nobody can tell


@dataclass(frozen=True)
class WaterChance:
    """Of each pond one s.d. of its figures, and of each path how often noise leaves it where it is.

    stands_sigma_m3, deepest_sigma_m : (ponds, rains)
    lip_m3, lip_sigma_m3 : (ponds,) water that the lip holds back, and its s.d.; NaN where no edges were given
    path_share           : of each path, for each of its cells the share of noisy surfaces with a main path near it
    """

    stands_sigma_m3: np.ndarray
    deepest_sigma_m: np.ndarray
    lip_m3: np.ndarray
    lip_sigma_m3: np.ndarray
    path_share: tuple[np.ndarray, ...]


@dataclass(frozen=True)
class Heights:
    """What the water runs over: heights as surveyed, each cell's own s.d., what grass adds on the `grass`, and the s.d. of that."""

    z: np.ndarray
    white: np.ndarray
    grass: np.ndarray
    canopy_m: float
    canopy_sigma_m: float


def water_chance(
    ponding: Ponding, paths: Sequence[Path], given: Heights, grid: Grid, asked: np.ndarray, skin: np.ndarray, error: SurveyError,
    edges: Sequence[Edge], rng: np.random.Generator, count: int,
) -> WaterChance:  # fmt: skip
    """Scatter of the standing water, of the lip's share and of the paths over `count` noisy surfaces.

    asked : (ny, nx) bool, ground on which water is reported
    edges : those whose lip is known to lie where they do; none: the lip's share stays NaN
    """
    regions = grown(ponding, grid, asked)
    fine = strips(grid, edges, skin)
    cells = [p.cells for p in ponding.ponds]
    whole = np.array([p.volume_m3 for p in ponding.ponds])
    lip = whole - held_without(ponding, capped(ponding.smoothed, given.z, given.canopy_m, fine), cells, grid.cell_area_m2)

    factor = max(int(BLOCK_M / grid.cell_m + 1e-9), 1)
    coarse = block_grid(grid, factor)[0]
    over = block_share(ponding.ground, grid, factor) >= 0.5
    b = blocks(given.z, grid, factor, given.white)
    held = over & b.held
    soft = block_share(given.grass, grid, factor)
    smoother = Smoother(held, coarse.cell_m, np.sqrt(max(SMOOTH_SD_M**2 - (factor**2 - 1) / 12 * grid.cell_m**2, 0.0)), twice=True)
    holes = over & ~held
    shut = walls(holes, coarse.cell_m)
    where = [in_blocks(r, grid, factor) for r in regions]
    line = [block_of(p.cells, grid, factor) for p in paths]
    laid = strips(coarse, edges, block_share(skin, grid, factor) >= 0.5)
    stands, deepest, dam = (np.zeros((count + 1, len(regions), k)) for k in (len(RAINS_M), len(RAINS_M), 1))
    near = [np.zeros(len(c)) for c in line]
    fields = error.fields(coarse, np.where(b.held, b.white, 0.0), count, rng)
    for k, field in enumerate([*fields, np.zeros(coarse.shape)]):  # the last: the survey as it is
        own = k == count
        canopy = given.canopy_m + (0.0 if own else given.canopy_sigma_m * rng.standard_normal())
        z = b.value + field
        surface = smoother.heights(np.where(held, z - soft * canopy, np.nan))
        flow = steered(drain(surface, shut))
        number, full = _ponds(flow.filled - surface, coarse.cell_area_m2)
        for i, rain in enumerate(RAINS_M):
            depth = rained(flow, surface, number, full, rain, coarse.cell_area_m2).ravel()
            stands[k, :, i] = [depth[c].sum() * coarse.cell_area_m2 for c in where]
            deepest[k, :, i] = [depth[c].max(initial=0.0) for c in where]
        if laid.edges:
            dam[k, :, 0] = _held_back(flow.filled, surface, z, canopy, laid, shut, where)
        if own:
            break
        main = ndimage.binary_dilation(ground_through(flow, coarse.cell_area_m2) >= LEAST_M2, EIGHT, max(int(NEAR_M / coarse.cell_m), 1))
        for share, cells in zip(near, line):
            share += main.ravel()[cells] / count
    none = np.full(len(regions), np.nan)
    lip, lip_sigma = without_noise(lip, dam[:-1, :, 0], dam[-1, :, 0]) if laid.edges else (none, none)
    return WaterChance(_spread(stands, VOLUME_WIDER), _spread(deepest), lip, lip_sigma, tuple(near))


def without_noise(found: np.ndarray, noisy: np.ndarray, own: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What dams hold had the survey no error, and one s.d. of it, (ponds,), m3.

    found : what the survey shows them to hold, (ponds,)
    noisy : the same on coarser cells with one error more on top, (K, ponds); own : with none more, (ponds,)
    A dam spills at its lowest notch, and errors notch it: on average by an amount that goes with their s.d. What it holds goes
    with its height squared, so its root falls along a straight line of sqrt(1 + lambda), lambda the errors' variance added over
    the one that is there; carried on to lambda = -1 (simulation extrapolation: Cook & Stefanski 1994, from memory). At most
    MOST_GAIN times what is found, and half of what is added counts as doubt.
    """
    root, roots = np.sqrt(own), np.sqrt(noisy)
    gone = np.maximum(root - roots.mean(axis=0), 0.0) / (np.sqrt(2.0) - 1.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        gain = np.where(root > 0, np.minimum(((root + gone) / root) ** 2, MOST_GAIN), 1.0)
        scatter = np.where(root > 0, 2.0 * np.sqrt(found * gain) * np.sqrt(found) / root * roots.std(axis=0, ddof=1), noisy.std(axis=0, ddof=1))
    least = np.where((found > 0) | (noisy > 0).any(axis=0), LEAST_M3, 0.0)  # a pool that no lip ever dams is known to have none
    return found * gain, np.sqrt((LIP_WIDER * scatter) ** 2 + (0.5 * found * (gain - 1.0)) ** 2 + least**2)


def _spread(found: np.ndarray, wider: float = 1.0) -> np.ndarray:
    """Scatter of noisy figures (K + 1, ...) and their mean's shift off the survey's own, which comes last, in quadrature."""
    noisy, own = found[:-1], found[-1]
    return np.hypot(wider * noisy.std(axis=0, ddof=1), noisy.mean(axis=0) - own)


def _ponds(depth: np.ndarray, cell_area_m2: float) -> tuple[np.ndarray, np.ndarray]:
    """Ponds deeper than KEEP_M, numbered, and what each holds, m3."""
    depth = np.nan_to_num(depth)
    number, count = ndimage.label(depth > 1e-6, EIGHT)
    keep = np.flatnonzero(deepest_of(depth, number, count) > KEEP_M) + 1
    rank = np.zeros(count + 1, np.int32)
    rank[keep] = np.arange(1, len(keep) + 1)
    number = rank[number]
    return number, np.bincount(number.ravel(), depth.ravel(), len(keep) + 1)[1:] * cell_area_m2


def _held_back(filled, surface, z, canopy: float, laid: Strips, shut: np.ndarray, where: list[np.ndarray]) -> list[float]:
    """Of each region the water that stands with the lip less what stands without, m3."""
    without = np.nan_to_num(fill(capped(surface, z, canopy, laid), shut))
    less = np.maximum(np.nan_to_num(filled) - np.maximum(without, np.nan_to_num(surface)), 0.0).ravel()
    return [float(less[c].sum() * laid.grid.cell_area_m2) for c in where]
