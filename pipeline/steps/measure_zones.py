"""zones.csv of one survey: evenness, slope and verdict of every zone."""

from __future__ import annotations

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps.spot_given import mean_square
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.evenness import BlockNoise, noise_gap, planarity, straightedge
from pipeline.surface.slope import slope_of, zone_plane
from pipeline.surface.spots import SpotInput
from pipeline.surface.covered import closed
from pipeline.surface.verdict import UNKNOWN, judge, worst

STRAIGHTEDGE_M = 3.0
NAN = float("nan")


def zones(job: Job, layout: Layout, made: Surveyed, given: SpotInput, spots: list[dict], rng: np.random.Generator) -> list[dict]:
    """A row for each zone; a small zone without enough blocks for a plane has its verdict from its low spot alone."""
    tolerances = job.settings.tolerances
    length = STRAIGHTEDGE_M if tolerances.straightedge_length_m is None else tolerances.straightedge_length_m.of(job.field)
    masks, grid = given.masks, layout.grid
    gap = noise_gap(given.error, mean_square(given.white[masks.even]), grid.cell_m, length, rng)
    noise = None
    out = []
    for name, polygon in layout.zones.items():
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
            flat, fall = planarity(plane, noise, crowned=name == "skin" and _crowned(job)), slope_of(plane, given.error)
            row |= {
                "planarity_mm": flat.value_m * 1000, "planarity_sigma_mm": flat.sigma_m * 1000, "slope_pct": fall.slope * 100,
                "slope_sigma_pct": fall.slope_sigma * 100, "fall_bearing_deg": fall.bearing_deg,
            }  # fmt: skip
            if name == "skin":
                edge = straightedge(given.z, grid, usable, masks.even, length, gap)
                row |= {"straightedge_mm": edge.value_m * 1000, "straightedge_noise_mm": edge.noise_m * 1000}
                verdicts.append(judge(flat.value_m * 1000, flat.sigma_m * 1000, _tolerance(job, "planarity_mm"), None, "planarity_mm"))
        verdicts += [
            judge(s["depth_mm"], s["depth_sigma_mm"], _tolerance(job, "low_spot_mm"), _tolerance(job, "low_spot_trip_mm"), "low_spot_mm")
            for s in spots if s["low_spot_id"] == name
        ]  # fmt: skip
        out.append({**row, "verdict": worst(v.word for v in verdicts)})
    return out


def _crowned(job: Job) -> bool:
    """Whether the owner wants this skin crowned, not plane."""
    grading = job.settings.grading
    own = grading.fields.get(job.field)
    return (own.form if own is not None and own.form is not None else grading.form) == "crown"


def _tolerance(job: Job, name: str) -> float | None:
    owned = getattr(job.settings.tolerances, name)
    return None if owned is None else owned.of(job.field)
