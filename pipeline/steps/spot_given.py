"""What the low spots of a survey are read from, gathered from what the steps before left."""

from __future__ import annotations

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.diamond.mound import built_height
from pipeline.jobs import Job
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.loose import loose_sigma_m
from pipeline.surface.low_spot import SpotInput
from pipeline.surface.masks import masks_of
from pipeline.surface.survey_error import SurveyError
from pipeline.units import LENGTH_UNITS

CANOPY_M, CANOPY_SIGMA_M = 0.040, 0.015  # grass nobody measured


def spot_input(job: Job, layout: Layout, made: Surveyed) -> SpotInput:
    """The heights as surveyed (a low spot needs no tie), with the survey's error model and the owner's figures."""
    turf = turf_height_m(job, made.survey_id)
    reach = made.noise.canopy_reach
    canopy = (CANOPY_M if turf is None else turf) * reach
    tolerance, material = job.settings.tolerances.of("low_spot_mm", job.field), job.settings.material
    return SpotInput(
        layout.grid, made.z, made.white, masks_of(layout), layout.places, survey_error(layout, made), canopy,
        CANOPY_SIGMA_M if turf is None else max(0.2 * canopy, 0.004),
        None if tolerance is None else tolerance / 1000, material.of("placed_t_per_m3"), built_height(layout), material.of("loose_t_per_m3"),
        layout.axes, loose_sigma_m(states(job, made.survey_id)),
    )  # fmt: skip


def survey_error(layout: Layout, made: Surveyed) -> SurveyError:
    """A survey's error with the drift that the tie leaves; the baseline's own drift stays in every survey tied to it."""
    if not made.tie(layout).patches:
        return SurveyError.of(made.cell_noise, layout.centre)
    base = SurveyError.of(made.base_noise, layout.centre).drift
    return SurveyError.of(made.cell_noise, layout.centre, base + made.tie(layout).drift()[1])


def turf_height_m(job: Job, survey_id: str) -> float | None:
    """The ruler's height of the turf in a survey's row, m."""
    row = next(r for r in job.rows["surveys"] if r["survey_id"] == survey_id)
    if "turf_height" not in row.values:
        return None
    return row["turf_height"] * LENGTH_UNITS[row["turf_height_unit"]]


def states(job: Job, survey_id: str) -> tuple[str, ...]:
    """How the surface was on the day of a survey, as its row says."""
    return tuple(next(r for r in job.rows["surveys"] if r["survey_id"] == survey_id).get("surface_state", ()))


def mean_square(values: np.ndarray) -> float:
    """Root mean square over what is finite; NaN where nothing is."""
    held = values[np.isfinite(values)]
    return float(np.sqrt((held**2).mean())) if len(held) else float("nan")
