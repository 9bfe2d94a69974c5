"""Depth of mix on the day of one survey: cores drawn and read, kriged; rasters, rows of mix_depth.csv, where to core next."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipeline.change.balance import Density
from pipeline.coordinates import read_crs, unit_m
from pipeline.diamond.layout import Layout
from pipeline.frame import Grid
from pipeline.jobs import Job
from pipeline.steps.drawn import features_of
from pipeline.store import rasters
from pipeline.surface.core_places import core_places
from pipeline.surface.masks import masks_of
from pipeline.surface.mix_cores import Core, cores_drawn, cores_read, still_speaking
from pipeline.surface.mix_depth import BLOCK_M, DECLARED_SD_M, MixDepth, mix_depth
from pipeline.surface.mix_restore import DRAWS, Restore, depth_draws, restore
from pipeline.surface.mix_zones import ZoneMix, zone_mix
from pipeline.surface.verdict import SURE, UNKNOWN, WORK, judge_least
from pipeline.units import LENGTH_UNITS

PLACES_BLOCK_M = 1.0  # between places that are looked at for a core
LEAST_THIN_M2 = 5.0  # so much ground that is surely thin is work, however deep the mix is on average; ours
STATED_SD_M = float(np.hypot(DECLARED_SD_M, DECLARED_SD_M))  # of a depth somebody stated: the field's own spread, and as much again for the statement; a guess
NAN = float("nan")


@dataclass(frozen=True)
class Mix:
    """rows: of mix_depth.csv; cores: each with what became of it; wanted: places for the cores still to be taken;
    fine: depth of mix on the field's grid."""

    rows: list[dict]
    cores: list[dict]
    wanted: list[tuple[float, float]]
    fine: MixDepth


def mix_of(job: Job, layout: Layout, rng: np.random.Generator) -> Mix:
    """What is known of the mix on the day of the job's survey."""
    on = job.survey_row["flown_on"]
    taken = _taken(job, layout)
    mound = [c for c in taken if _on_mound(c, layout)]
    speaking, dropped = still_speaking([c for c in taken if c not in mound], job.rows["works"], layout.places, on)
    dropped += tuple((c, "taken on the mound, which is built of other stuff") for c in mound)
    blocks = Grid.covering(layout.grid.bounds, layout.grid.crs, BLOCK_M)
    coarse = mix_depth(speaking, blocks, masks_of(replace(layout, grid=blocks)).ponds, on)
    drawn = depth_draws(coarse, DRAWS, rng) if not coarse.reason else np.empty((0, 0))
    used = {c.core_id for c in coarse.cores}
    told = [_core(c, c.core_id in used, "" if c.core_id in used else "too far from the skin") for c in speaking]
    told += [_core(c, False, why) for c, why in dropped]
    if coarse.reason and dropped:
        coarse = replace(coarse, reason=f"no core speaks for this day: {dropped[-1][0].core_id} {dropped[-1][1]}")
    rows = [_row(job, coarse, drawn, name, blocks.mask(shape), rng) for name, shape in layout.zones.items() if name not in ("mound", "turf_infield", "landing")]
    looked = Grid.covering(layout.grid.bounds, layout.grid.crs, PLACES_BLOCK_M)
    wanted = core_places(looked, masks_of(replace(layout, grid=looked)).even, [(c.e, c.n) for c in coarse.cores])
    return Mix(rows, sorted(told, key=lambda c: (c["core_id"], c["why"])), wanted, mix_depth(speaking, layout.grid, masks_of(layout).ponds, on))


def write(folder: Path, job: Job, layout: Layout, mix: Mix) -> None:
    """Depth of mix, its s.d., and how deep a blade may go, as rasters in a folder."""
    reserve = job.settings.material.of("reserve_mm")
    blade = np.full(layout.grid.shape, NAN) if reserve is None else mix.fine.blade_m(reserve / 1000)
    tags = {"survey": job.survey, "cores": ";".join(c.core_id for c in mix.fine.cores), "reason": mix.fine.reason}
    for name, values in (("mix_depth", mix.fine.depth_m), ("mix_depth_sigma", mix.fine.sigma_m), ("blade_depth", blade)):
        rasters.write(folder / f"{name}.tif", name, values, layout.grid, tags)


def _taken(job: Job, layout: Layout) -> list[Core]:
    """All cores of the field, drawn and read, whenever they were taken."""
    read, _ = cores_read(job.rows["readings"], layout.places, unit_m(read_crs(job.field_row["crs"])))
    return [*cores_drawn(features_of(job, layout)), *read]


def _on_mound(core: Core, layout: Layout) -> bool:
    mound = layout.mound
    return mound is not None and bool(np.hypot(core.e - mound.e, core.n - mound.n) <= mound.radius_m)


def _core(core: Core, used: bool, why: str) -> dict:
    return {
        "core_id": core.core_id, "e": core.e, "n": core.n, "depth_mm": core.depth_m * 1000, "taken_on": core.taken_on.isoformat() if core.taken_on else None,
        "used": used, "why": why,
    }  # fmt: skip


def _row(job: Job, mix: MixDepth, drawn: np.ndarray, zone: str, cells: np.ndarray, rng: np.random.Generator) -> dict:
    material, whole = job.settings.material, zone == "skin"
    least_mm = job.settings.tolerances.of("mix_depth_min_mm", job.field)
    reserve = material.of("reserve_mm")
    if mix.reason:
        return _without(job, zone, least_mm, mix.reason)
    found = zone_mix(mix, drawn, cells, None if reserve is None else reserve / 1000)
    verdict = judge_least(found.depth_m * 1000, found.sigma_m * 1000, least_mm, "mix_depth_min_mm")
    thin = mix.told & cells & (mix.short_chance(NAN if least_mm is None else least_mm / 1000) >= SURE)
    thin_m2 = float(thin.sum() * mix.grid.cell_area_m2) if least_mm is not None else NAN
    word = WORK if whole and thin_m2 >= LEAST_THIN_M2 else verdict.word
    needed = _needed(material, mix, drawn, least_mm, rng) if whole else None
    days = sorted(c.taken_on.isoformat() for c in mix.cores if c.taken_on)
    return {
        "zone": zone, "basis": "cores", "cores": len(mix.cores), "oldest_core": days[0] if days else None, "newest_core": days[-1] if days else None,
        **_figures(found), "least_mm": least_mm, "probability": verdict.over_tolerance, "thin_m2": thin_m2, **_tonnes(needed, material), "verdict": word,
        "reason": found.reason or ("" if needed is None else needed.reason) or (verdict.why if word == UNKNOWN else ""),
    }  # fmt: skip


def _needed(material, mix: MixDepth, drawn: np.ndarray, least_mm: float | None, rng: np.random.Generator) -> Restore:
    density = material.of("placed_t_per_m3")
    spread = 0.0 if density is None else Density.placed(density).sigma
    return restore(mix, None if least_mm is None else least_mm / 1000, density, spread, rng, drawn=drawn)


def _figures(found: ZoneMix) -> dict:
    return {
        "depth_mm": found.depth_m * 1000, "depth_sigma_mm": found.sigma_m * 1000, "blade_mm": found.blade_m * 1000, "told_pct": found.told * 100,
    }  # fmt: skip


def _tonnes(needed: Restore | None, material) -> dict:
    if needed is None:
        return dict.fromkeys(("tonnes", "tonnes_low95", "tonnes_high95", "loose_m3"), NAN)
    loose = material.of("loose_t_per_m3")
    return {
        "tonnes": needed.tonnes, "tonnes_low95": needed.tonnes_low95, "tonnes_high95": needed.tonnes_high95,
        "loose_m3": NAN if loose is None else needed.tonnes / loose,
    }  # fmt: skip


def _without(job: Job, zone: str, least_mm: float | None, reason: str) -> dict:
    """A zone of a field whose mix nobody measured. A depth that was stated is shown with what it is worth, and nothing is
    built on it: no blade, no order, no verdict."""
    stated = stated_m(job) if zone == "skin" else None
    why = reason if stated is None else "stated in fields.csv, no core: nobody measured it"
    return {
        "zone": zone, "basis": "none" if stated is None else "stated", "cores": 0, "oldest_core": None, "newest_core": None,
        **_figures(ZoneMix(NAN if stated is None else stated, NAN if stated is None else STATED_SD_M, NAN, 0.0, why)), "least_mm": least_mm,
        "probability": NAN, "thin_m2": NAN, **_tonnes(None, None), "verdict": UNKNOWN, "reason": why,
    }  # fmt: skip


def stated_m(job: Job) -> float | None:
    row = job.field_row
    return row["mix_depth"] * LENGTH_UNITS[row["mix_depth_unit"]] if "mix_depth" in row.values and "mix_depth_unit" in row.values else None
