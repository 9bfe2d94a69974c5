"""The ground that a design may move: smoothed heights, how deep a blade may go, and which low spots want filling."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
import shapely

from pipeline.diamond.layout import Feature, Layout
from pipeline.frame import Grid
from pipeline.jobs import Job
from pipeline.steps.measure_mix import STATED_SD_M, stated_m
from pipeline.steps.surveyed import Surveyed
from pipeline.store import rasters
from pipeline.store.where import Where
from pipeline.surface.block_heights import BlockHeights, Smoother, block_grid, blocks, stacked
from pipeline.surface.masks import masks_of
from pipeline.works.grading.programme import Ground
from pipeline.works.grading.touch_up import Hollow
from pipeline.works.grading.variants import Made

BLOCK_M = 0.3
SMOOTH_SD_M = 0.15
BLADE_SDS = 1.645  # so many s.d. under what was stated, 95 % of depths lie deeper
OBSTACLES = ("irrigation_head", "valve_box", "keep_out")
OBSTACLE_M = 0.3
POND_RING_M = (0.4, 0.6, 1.6)  # beyond a pond's own radius: filled to, and the ring its plane is laid through


@dataclass(frozen=True)
class GradeGround:
    """z : smoothed heights, (ny, nx), m, NaN where nothing was measured; workable: bool, skin that a hand may fill
    clear   : workable ground off everything kept free: what a blade works and a design of the whole skin covers
    elevation : as published, (ny, nx), m
    blade_m : (ny, nx), how deep a blade may go, m, 0 where nobody knows
    cells   : the same as blocks in axes whose origin is `origin`
    no_depth_m2, depth_from : workable ground without known depth, and what the depth rests on: cores, stated or none
    """

    z: np.ndarray
    workable: np.ndarray
    clear: np.ndarray
    blade_m: np.ndarray
    cells: Ground
    origin: tuple[float, float]
    no_depth_m2: float
    depth_from: str
    mesh: tuple[np.ndarray, np.ndarray]
    elevation: np.ndarray

    def raster(self, found: Made) -> np.ndarray:
        """A designed surface on the field's grid over the clear ground, (ny, nx), m."""
        out = np.full(self.z.shape, np.nan)
        e, n = self.mesh
        x, y = e[self.clear] - self.origin[0], n[self.clear] - self.origin[1]
        inside = found.form.holds(x, y)
        values = np.full(len(x), np.nan)
        values[inside] = found.form.points(x[inside], y[inside]) @ found.solved.parameters
        out[self.clear] = np.maximum(values, self.z[self.clear] - self.blade_m[self.clear])  # no cell is cut deeper than it may be
        return out


def ground_of(job: Job, where: Where, layout: Layout, seen: Surveyed, features: Sequence[Feature], kept_free: shapely.Geometry) -> GradeGround:
    """kept_free : ground that no blade may touch, working CRS"""
    grid, masks = layout.grid, masks_of(layout)
    elevation = rasters.read(where.raster(job.field, seen.survey_id, "elevation"), grid)
    sound = masks.even & np.isfinite(seen.z)
    obstacles = shapely.union_all([f.geometry.buffer(OBSTACLE_M) for f in features if f.role in OBSTACLES])
    sound &= ~grid.mask(obstacles)
    z = Smoother(sound, grid.cell_m, SMOOTH_SD_M, twice=True).heights(np.where(sound, elevation, np.nan))
    blade, came_from = _blade(job, where, layout, seen.survey_id)
    clear = np.isfinite(z) & ~grid.mask(kept_free)
    unknown = clear & ~np.isfinite(blade)
    blade = np.maximum(np.nan_to_num(blade), 0.0)
    factor = max(round(BLOCK_M / grid.cell_m), 1)
    means = blocks(np.where(clear, z, np.nan), grid, factor, seen.white)
    depth = _block_depth(np.where(clear, z, np.nan), blade, means, grid, factor)
    e, n = block_grid(grid, factor)[0].mesh()
    origin = (float(np.floor(grid.west)), float(np.floor(grid.south)))
    held = means.held
    cells = Ground(e[held] - origin[0], n[held] - origin[1], means.value[held], depth[held], means.grid.cell_area_m2)
    return GradeGround(z, np.isfinite(z), clear, blade, cells, origin, float(unknown.sum() * grid.cell_area_m2), came_from, grid.mesh(), elevation)


def _blade(job: Job, where: Where, layout: Layout, survey: str) -> tuple[np.ndarray, str]:
    """How deep a blade may go, (ny, nx), m, NaN where nobody knows: by cores, else by what the owner stated of the whole field."""
    found = rasters.read(f"{where.surface(job.field, survey)}/blade_depth.tif", layout.grid)
    cored = bool(np.isfinite(found).any())
    stated, reserve = stated_m(job), job.settings.material.of("reserve_mm")
    if stated is None or reserve is None:
        return found, "cores" if cored else "none"
    return beyond_cores(found, max(stated - BLADE_SDS * STATED_SD_M - reserve / 1000, 0.0)), "cores" if cored else "stated"


def beyond_cores(cored_m: np.ndarray, stated_m: float) -> np.ndarray:
    """The blade's depth as the cores tell it; where none does, by what was stated, (ny, nx), m."""
    return np.where(np.isfinite(cored_m), cored_m, stated_m)


def _block_depth(z: np.ndarray, blade: np.ndarray, means: BlockHeights, grid: Grid, factor: int) -> np.ndarray:
    """How far a block's mean may be lowered so that none of its cells is cut too deep: a cell that stands over the mean is cut by
    more, (block rows, block columns), m, >= 0."""
    room = stacked(np.where(np.isfinite(z), blade - z, np.nan), grid, factor, np.nan)
    least = np.where(np.isfinite(room), room, np.inf).min(axis=-1)
    return np.where(means.held, np.maximum(means.value + least, 0.0), 0.0)


def hollows_of(spots: Sequence[dict], layout: Layout, sure: float) -> list[Hollow]:
    """Low spots surely over the owner's tolerance, each with the ground its plane is laid through; the mound's are rebuilt by hand."""
    places = {p.place_id: p for p in layout.places}
    out = []
    for s in spots:
        if not (s.get("probability") or 0.0) >= sure or s["low_spot_id"] in ("landing",):
            continue
        place = places.get(s["low_spot_id"])
        if place is not None:
            out.append(Hollow(place.place_id, place.e, place.n, place.ring_in_m, place.ring_in_m, place.ring_out_m))
            continue
        radius = float(np.sqrt(max(s["area_m2"] or 0.0, 0.1) / np.pi))
        out.append(Hollow(s["low_spot_id"], s["e"], s["n"], *(radius + r for r in POND_RING_M)))
    return out
