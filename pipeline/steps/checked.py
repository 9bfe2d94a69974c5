"""Independent points of control.csv against a survey's surface."""

from __future__ import annotations

import numpy as np

from pipeline.coordinates import read_crs
from pipeline.diamond.layout import Layout
from pipeline.errors import BadInput, Problem
from pipeline.heights import normal_reference
from pipeline.jobs import Job
from pipeline.steps.gridded import Survey
from pipeline.survey.points import Ground
from pipeline.survey.stable.checkpoints import Accuracy, accuracy, height_at
from pipeline.survey.stable.uncertainty import TieOnGrid
from pipeline.transform import NoExactStep, step_between
from pipeline.units import VERTICAL_UNITS


def checkpoints(job: Job, layout: Layout, ground: Ground, tie: TieOnGrid, mine: Survey) -> Accuracy:
    """Surface as surveyed minus the checkpoints named in the survey's row.

    The survey is compared as delivered, before the tie: a checkpoint judges the survey, not the baseline.
    """
    residuals, own = [], []
    e, n, z = ground.metres()
    for row in job.rows.get("control", ()):
        here = _heights_agree(job, row, mine)
        at = _place(row, layout)
        if not here or not layout.grid.holds(*layout.grid.rows_cols(*at)):
            continue
        near = (np.abs(e - at[0]) < 1.0) & (np.abs(n - at[1]) < 1.0)
        seen = height_at(e[near], n[near], z[near], at, mine.white_m)
        residuals.append(seen.height_m - row["height"] * VERTICAL_UNITS[row["unit"]])
        own.append(row.get("sigma_mm", float("nan")) / 1000)
    return accuracy(np.array(residuals), np.array(own))


def left_out(job: Job, mine: Survey) -> list[str]:
    """A sentence for the operator where checkpoints could not be compared."""
    rows = list(job.rows.get("control", ()))
    missed = sum(not _heights_agree(job, row, mine) for row in rows)
    if not missed:
        return []
    stated = mine.record["height_reference"] or "nothing that table or file says"
    return [f"control.csv: {missed} of {len(rows)} checkpoints count their heights from another surface than the survey ({stated}); they were not compared."]


def _heights_agree(job: Job, row, mine: Survey) -> bool:
    stated = mine.record["height_reference"]
    return stated is not None and normal_reference(row["height_reference"]) == stated


def _place(row, layout: Layout) -> tuple[float, float]:
    try:
        e, n = step_between(read_crs(row["crs"]), read_crs(layout.grid.crs))(np.array([row["e"]]), np.array([row["n"]]))
    except (NoExactStep, ValueError) as error:
        raise BadInput([Problem("control.csv", row.row, "crs", repr(row["crs"]), "coordinates that can be carried to the field's", f"{error}", code="control-not-carried")]) from None
    return float(e[0]), float(n[0])
