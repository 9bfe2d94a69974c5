"""What each design of a field hands to others to decide: rows of handoffs.csv, and what was looked at."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import asdict
from math import isfinite
from typing import Mapping, Sequence

import numpy as np

from pipeline.diamond.layout import Feature, Layout
from pipeline.jobs import Job
from pipeline.steps.grade_ground import GradeGround
from pipeline.steps.measure_lip import round_mound
from pipeline.steps.spot_given import spot_input
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.survey_error import SurveyError
from pipeline.works.design import Design
from pipeline.works.drains import inlets, leaving
from pipeline.works.handoffs import Handoff, Site, levels
from pipeline.works.outflow import Ground, compared, dressed
from pipeline.works.ways import Outside, ways

SET_IN_GROUND, DRAINS, WAYS = ("irrigation_head", "valve_box"), ("inlet", "outlet"), ("accessible_route", "gate")
MOVED_M = 1e-6


def handoffs_of(
    job: Job, layout: Layout, seen: Surveyed, features: Sequence[Feature], ground: GradeGround, designs: Mapping[str, Design], error: SurveyError, chosen: str
) -> tuple[list[dict], dict[str, int]]:  # fmt: skip
    """Rows of every design that was made, and how many drawn things of each role were looked at.

    seen, error : the survey the designs start from, and its error; chosen: the design that the crew works to, or ''
    """
    given = spot_input(job, layout, seen)
    grass = np.where(given.masks.grass, given.canopy_m, 0.0)
    edges = [e for e in seen.edges if not round_mound(e, layout.mound)]
    white, rows = np.nan_to_num(seen.white), []
    for variant, design in designs.items():
        site = Site(layout.grid, design.existing, design.design, lambda weights: error.sigma(weights, layout.grid, white))
        if not site.graded.any():
            continue
        was = np.where(np.isfinite(design.existing), design.existing, ground.elevation - grass)
        made, _ = dressed(was, design.design, given.masks.skin & ~given.masks.mound)
        wet = Ground(layout.grid, was, made, given.masks.flood, np.abs(made - was) > MOVED_M, white)
        drawn = [f for f in features if f.role in DRAINS]
        stretches, drains = compared(wet, edges, [(f.name, f.geometry) for f in drawn], error, _rng(job, seen.survey_id))
        found = levels(site, [f for f in features if f.role in SET_IN_GROUND]) + inlets(site, drawn, {d.name: d for d in drains})
        found += leaving(stretches, edges)
        found += ways(site, [f for f in features if f.role in WAYS], layout.skin, Outside(ground.elevation, given.canopy_m, given.canopy_sigma_m))
        rows += [_plain(h, variant, variant == chosen) for h in found]
    looked = Counter(f.role for f in features if f.role in SET_IN_GROUND + DRAINS + WAYS)
    return rows, dict(sorted(looked.items()))


def _plain(h: Handoff, variant: str, chosen: bool) -> dict:
    return {k: None if isinstance(v, float) and not isfinite(v) else v for k, v in asdict(h).items()} | {"variant": variant, "chosen": chosen}


def _rng(job: Job, survey: str) -> np.random.Generator:
    """The same draws for each design, so that two designs differ by what they are."""
    name = f"{job.settings.random_seed}:handoffs:{job.field}:{survey}".encode()
    return np.random.default_rng(int.from_bytes(hashlib.sha256(name).digest()[:8], "big"))
