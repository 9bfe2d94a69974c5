"""zones.csv of one survey: evenness, slope and verdict of every zone."""

from __future__ import annotations

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.diamond.parts import PARTS, parts
from pipeline.jobs import Job
from pipeline.steps.spot_given import mean_square
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.covered import closed
from pipeline.surface.evenness import NOISE_FIELDS, PERCENTILE, BlockNoise, Planarity, Straightedge, noise_gaps, planarity, straightedge
from pipeline.surface.fall import Wanted, fall_of
from pipeline.surface.loose import widened
from pipeline.surface.slope import slope_of, zone_plane
from pipeline.surface.spots import SpotInput
from pipeline.surface.verdict import UNKNOWN, judge, worst
from pipeline.surface.widest_gaps import widest_gaps

STRAIGHTEDGE_M = 3.0
CURVED = ("crown", "two_planes", "free")  # forms of which one plane over the whole skin tells no fall
NAN = float("nan")


def zones(job: Job, layout: Layout, made: Surveyed, given: SpotInput, spots: list[dict], rng: np.random.Generator) -> list[dict]:
    """A row for each zone and each part of the skin; a small zone without enough blocks for a plane has its verdict from its
    low spot alone, a part from its fall alone."""
    masks, grid = given.masks, layout.grid
    noise = None
    out = []
    for name, polygon in {**layout.zones, **parts(layout)}.items():
        cells = grid.mask(polygon)
        usable = cells & (masks.even if name != "turf_infield" else cells)
        share, low, high = made.plants.share(cells)
        row = {
            "zone": name, "area_m2": float((cells & np.isfinite(given.z)).sum() * grid.cell_area_m2), "covered_by_weeds_pct": 100 * share,
            "covered_m2": made.plants.area(cells) * grid.cell_area_m2, "covered_told_by": made.plants.told_by or "not_seen",
            "covered_low95_pct": 100 * low, "covered_high95_pct": 100 * high, "reason": closed(share),
        }  # fmt: skip
        if row["reason"]:
            out.append({**row, "verdict": UNKNOWN})
            continue
        plane = zone_plane(given.z, given.white, grid, usable)
        verdicts = []
        if plane is not None and name != "mound":
            noise = noise or BlockNoise.draw(given.error, plane.blocks.grid, job.settings.measure.error_fields, rng)
            flat, slope = planarity(plane, noise, crowned=name == "skin" and _form(job) == "crown"), slope_of(plane, given.error)
            row |= {
                **_flat(flat, given.loose_m), "slope_pct": slope.slope * 100, "slope_sigma_pct": slope.slope_sigma * 100,
                "fall_bearing_deg": slope.bearing_deg,
            }  # fmt: skip
            if name == "skin":
                row |= _straightedge(job, given, usable, rng)
                verdicts.append(judge(row["planarity_mm"], row["planarity_sigma_mm"], _tolerance(job, "planarity_mm"), None, "planarity_mm").word)
                if _tolerance(job, "straightedge_mm") is not None:
                    verdicts.append(row["straightedge_verdict"])
            if name in PARTS or (name == "skin" and _form(job) not in CURVED):
                fall = fall_of(plane, given.error, _wanted(job))
                row |= {"fall_along_pct": fall.along_pct, "fall_along_sigma_pct": fall.along_sigma_pct, "fall_verdict": fall.word, "fall_reason": fall.why}
                if not fall.why.startswith("no tolerance"):
                    verdicts.append(fall.verdict)
        verdicts += [
            judge(s["depth_mm"], s["depth_sigma_mm"], _tolerance(job, "low_spot_mm"), _tolerance(job, "low_spot_trip_mm"), "low_spot_mm").word
            for s in spots if s["low_spot_id"] == name
        ]  # fmt: skip
        out.append({**row, "verdict": worst(verdicts)})
    return out


def _flat(flat: Planarity, loose_m: float) -> dict:
    """Planarity; loose topdressing may make or hide as much of it as it scatters by."""
    return {"planarity_mm": flat.value_m * 1000, "planarity_sigma_mm": float(widened(flat.sigma_m, loose_m)) * 1000}


def _straightedge(job: Job, given: SpotInput, usable: np.ndarray, rng: np.random.Generator) -> dict:
    """The gap under the straightedge over the whole skin, and what noise alone would show of it."""
    length, limit = _tolerance(job, "straightedge_length_m") or STRAIGHTEDGE_M, _tolerance(job, "straightedge_mm")
    grid, masks = given.grid, given.masks
    alone = noise_gaps(given.error, mean_square(given.white[masks.even]), grid.cell_m, length, rng)
    alone = np.hypot(alone, given.loose_m)
    noise = float(np.percentile(alone, PERCENTILE))
    errors = given.error.fields(grid, np.nan_to_num(given.white), NOISE_FIELDS, rng)
    found = straightedge(given.z, grid, usable, masks.even, length, noise, errors, None if limit is None else limit / 1000)
    return {
        "straightedge_mm": found.value_m * 1000, "straightedge_noise_mm": noise * 1000,
        "straightedge_sigma_mm": float(widened(found.sigma_m, given.loose_m)) * 1000, "straightedge_over_pct": 100 * found.over_share,
        "straightedge_noise_over_pct": NAN if limit is None else 100 * float((alone > limit / 1000).mean()),
        "straightedge_verdict": gap_word(found, float(widened(found.sigma_m, given.loose_m)), limit),
    }  # fmt: skip


def string_places(job: Job, given: SpotInput) -> list[dict]:
    """Where a string settles first how even the skin is: the widest gaps as measured."""
    even = given.masks.even
    found = widest_gaps(given.z, given.grid, even, even, _tolerance(job, "straightedge_length_m") or STRAIGHTEDGE_M)
    return [{"e": g.e, "n": g.n, "bearing_deg": g.bearing_deg, "gap_mm": 1000 * g.gap_m} for g in found]


def gap_word(found: Straightedge, sigma_m: float, limit_mm: float | None) -> str:
    """The verdict on a gap: none where noise alone shows more than the limit, whatever is left once it is taken off."""
    if limit_mm is None or not 1000 * found.noise_m <= limit_mm:
        return UNKNOWN
    return judge(1000 * found.value_m, 1000 * sigma_m, limit_mm, None, "straightedge_mm").word


def _wanted(job: Job) -> Wanted:
    """The owner's limits on the fall; of a curved form no direction is asked."""
    bearing = None if _form(job) in CURVED else _tolerance(job, "fall_bearing_deg")
    return Wanted(_tolerance(job, "slope_min_pct"), _tolerance(job, "slope_max_pct"), bearing)


def _form(job: Job) -> str | None:
    """The form the owner wants this skin to have."""
    return job.settings.grading.on(job.field).form


def _tolerance(job: Job, name: str) -> float | None:
    return job.settings.tolerances.of(name, job.field)
