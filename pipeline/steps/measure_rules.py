"""rulebook.csv of one survey: every item of every base set against the book, from heights, colour and located points."""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np

from pipeline.coordinates import read_crs, unit_m
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.masks import masks_of
from pipeline.surface.own_drift import own_drift
from pipeline.surface.rulebook import RuleInput, RuleTolerances, rulebook
from pipeline.surface.rulebook_arcs import MeasuredLine, line_from_table
from pipeline.surface.rulebook_bases import LOCATED_SIGMA_M, Located, located_bases
from pipeline.surface.rulebook_heights import Heights
from pipeline.surface.rulebook_tape import taped
from pipeline.surface.survey_error import SurveyError
from pipeline.survey.stable.drift import drift_basis
from pipeline.survey.stable.patches import PatchHeight, footprints

GIVEN_AT = ("home_e", "home_n", "second_e", "second_n")


def rules_checked(job: Job, layout: Layout, made: Surveyed) -> list[dict]:
    """Rows of rulebook.csv; none where the field has no layout."""
    row = job.field_row
    main, other = row.get("layout"), row.get("other_layout")
    if main is None:
        return []
    heights, plates = drift_off(layout, made)
    given = RuleInput(
        layout, main, other, heights, masks_of(layout), plates, seen_lines(made), points(job, layout), sideways_m(made), tolerances(job),
        taped(job.rows["readings"], job.rows["works"], job.survey_row["flown_on"], main, other),
    )  # fmt: skip
    return [asdict(item) for item in rulebook(given)]


def drift_off(layout: Layout, made: Surveyed) -> tuple[Heights, dict[str, PatchHeight]]:
    """The survey's heights and plates less what its tie shows of its own shift, tilt and bowl, with their error.

    A bad camera's bowl would read as bases low or high; what neighbours share is left in, it is counted in the error.
    """
    tie, error, drift = made.tie(layout), SurveyError.of(made.cell_noise, layout.centre), np.zeros(4)
    if tie.patches:
        drift, covariance = own_drift(made.noise, made.base_noise, *tie.drift(), tie.prior)
        error = SurveyError.of(made.cell_noise, layout.centre, covariance)
    off = drift_basis(*layout.grid.mesh(), layout.centre) @ drift
    at = {f.patch_id: float((drift_basis(*f.places.T, layout.centre) @ drift).mean()) for f in footprints(layout)}
    plates = {k: replace(p, height_m=p.height_m - at[k]) for k, p in made.heights.items()}
    return Heights(layout.grid, made.z - off, made.white, error), plates


def seen_lines(made: Surveyed) -> dict[str, MeasuredLine]:
    """Where this survey shows the grass begin; an edge that stands in the layout only, or that was walked, shows nothing."""
    if made.rows is not None:
        return {}
    found = {e.edge_id: line_from_table(e, t) for e, t in zip(made.edges, made.tables) if e.source != "layout"}
    return {name: line for name, line in found.items() if line is not None}


def points(job: Job, layout: Layout) -> dict[str, dict[str, Located]]:
    """The field's two given points and its located base anchors."""
    row = job.field_row
    to_m = unit_m(read_crs(row["crs"]))
    home, second = ((row[f"{name}_e"] * to_m, row[f"{name}_n"] * to_m) for name in ("home", "second"))
    step_m = to_m * 10.0 ** -max(len(row.cells[c].partition(".")[2]) for c in GIVEN_AT)
    sigma = float(np.hypot(LOCATED_SIGMA_M, step_m / 12**0.5))  # a figure to whole feet is no better than that
    return located_bases(layout.drawn_anchors, row["layout"], row.get("other_layout"), home, second, sigma)


def sideways_m(made: Surveyed) -> float:
    """One s.d. of the survey's place against the given points, each axis: the baseline's own and what is left against it."""
    return float(np.hypot(made.base_noise.horizontal_m, made.sideways_m))


def tolerances(job: Job) -> RuleTolerances:
    return RuleTolerances(**{n: job.settings.tolerances.of(n, job.field) for n in RuleTolerances.__dataclass_fields__})
