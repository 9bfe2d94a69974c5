"""Where water stands on one survey, where each pool spills, what a lip holds back, and the main paths it runs along."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps.measure_lip import round_mound, unseen
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.loose import widened
from pipeline.surface.low_spot import LowSpots, SpotInput
from pipeline.surface.pools import RAINS_M, StandingWater, standing_water
from pipeline.surface.ponds import RAIN_M
from pipeline.surface.runoff import main_paths
from pipeline.surface.spots import cell_centre
from pipeline.surface.water_chance import Heights, WaterChance, water_chance

TEN = RAINS_M.index(RAIN_M)
NAN = float("nan")


@dataclass(frozen=True)
class Water:
    """of: low spot id -> its columns of low_spots.csv; paths: as plain values; depth: (ny, nx) after RAIN_M in the ponds that
    are more than noise, m; 0 where dry, NaN where nothing was measured."""

    of: dict[str, dict]
    paths: list[dict]
    depth: np.ndarray


def water(job: Job, layout: Layout, made: Surveyed, given: SpotInput, found: LowSpots, rng: np.random.Generator) -> Water:
    """Water on the survey's flood; of a pond that noise alone may have made, or whose volume is not known, no figure."""
    ponding, grid = found.ponding, layout.grid
    stands = standing_water(ponding, grid)
    paths = main_paths(ponding.drainage, grid, given.masks.ponds)
    edges = [] if made.rows is not None else [e for e in made.edges if not unseen(e) and not round_mound(e, layout.mound)]
    heights = Heights(given.z, given.white, given.masks.grass, given.canopy_m, given.canopy_sigma_m)
    chance = water_chance(ponding, paths, heights, grid, given.masks.ponds, given.masks.skin, given.error, edges, rng,
                          job.settings.measure.error_fields)  # fmt: skip
    of = {name: _columns([k for k in mine if found.sure[k]], stands, chance, given) for name, mine in found.ponds_of.items()}
    depth = stands.depth.copy()
    noise = np.concatenate([p.cells for p, sure in zip(ponding.ponds, found.sure) if not sure] or [np.empty(0, int)])
    depth.ravel()[noise] = 0.0
    return Water(of, [_path(p, share) for p, share in zip(paths, chance.path_share)], depth)


def _columns(mine: list[int], stands: StandingWater, chance: WaterChance, given: SpotInput) -> dict:
    """Columns of one low spot from its ponds, deepest first; empty where it has none."""
    if not mine:
        return {}
    pools, deepest = [stands.pools[k] for k in mine], max(mine, key=lambda k: stands.pools[k].deepest_m[TEN])
    pool = stands.pools[deepest]
    e, n = cell_centre(given.grid, *pool.pour)
    held = [sum(p.stands_m3[i] for p in pools) for i in range(len(RAINS_M))]
    sigma = [float(np.sqrt(sum(chance.stands_sigma_m3[k, i] ** 2 for k in mine))) for i in range(len(RAINS_M))]
    full = max(p.fills_m for p in pools)
    lip, lip_sigma = float(sum(chance.lip_m3[k] for k in mine)), float(np.sqrt(sum(chance.lip_sigma_m3[k] ** 2 for k in mine)))
    return {
        "pour_e": e, "pour_n": n, "catchment_m2": sum(p.catchment_m2 for p in pools), "full_at_mm": NAN if full == inf else 1e3 * full,
        "ponded_2mm_m3": held[0], "ponded_5mm_m3": held[1], "ponded_25mm_m3": held[3], "ponded_sigma_m3": sigma[TEN],
        "ponded_depth_mm": 1e3 * pool.deepest_m[TEN], "ponded_area_m2": sum(p.wet_m2[TEN] for p in pools),
        "ponded_depth_sigma_mm": 1e3 * float(widened(chance.deepest_sigma_m[deepest, TEN], given.loose_m)),
        "lip_held_m3": lip, "lip_held_sigma_m3": lip_sigma,
    }  # fmt: skip


def _path(path, share: np.ndarray) -> dict:
    """A main path as plain values, every second cell of it: enough for a drawing."""
    keep = np.unique(np.r_[np.arange(0, len(path.e), 2), len(path.e) - 1])
    return {"e": [round(float(v), 2) for v in path.e[keep]], "n": [round(float(v), 2) for v in path.n[keep]],
            "share": [round(float(v), 2) for v in share[keep]], "drains_m2": path.drains_m2}  # fmt: skip
