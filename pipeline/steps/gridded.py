"""What `grid` left of one survey on one field, as the later steps take it up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.store import arrays
from pipeline.store.where import Where
from pipeline.survey.noise import Noise, declared
from pipeline.survey.points import Ground
from pipeline.survey.reading.rounding import Steps


@dataclass(frozen=True)
class Survey:
    """One survey on one field, not tied to anything.

    record : verdict and figures of `grid`
    ground : its ground points
    noise  : the error model its source and its points' scatter declare
    """

    record: dict
    ground: Ground
    noise: Noise

    @property
    def white_m(self) -> float:
        return self.record["white_point_m"]

    @property
    def steps(self) -> Steps:
        return Steps(*(np.nan if v is None else v for v in self.record["steps_m"]))


def record(where: Where, survey_id: str, field_id: str) -> dict:
    return arrays.read_record(where.gridded(survey_id, field_id))


def survey(where: Where, survey_id: str, layout: Layout) -> Survey:
    """A survey that `grid` did not refuse."""
    path = where.gridded(survey_id, layout.field_id)
    found, columns = arrays.read_record(path), arrays.read(path, "x", "y", "z", "z0", "rgb", "intensity")
    ground = Ground(layout.grid.west, layout.grid.south, float(columns["z0"]), columns["x"], columns["y"], columns["z"],
                    columns.get("rgb"), columns.get("intensity"))  # fmt: skip
    noise = declared(found["source"], found["white_point_m"])
    return Survey(found, ground, noise.drifting(found["drift_m"]) if "drift_m" in found else noise)
