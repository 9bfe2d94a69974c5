"""Make one survey of an invented scenario with the truth beside it, or the tables that its operator would have.

One job a survey, so that two cores share the work. Clouds go to the survey's own file name below the folder, the truth
to a folder `truth` beside the cloud: `<survey>--<field>.json`, and `.npz` with the true height less z0 on the field's
grid and which cells are skin.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pipeline.errors import BadInput, Problem, did_you_mean
from pipeline.simulate import crew, flight
from pipeline.simulate.scenario import Scenario, parse
from pipeline.store import clouds_out
from pipeline.store import scenario_file


def run(scenario: Path, survey: str, out: Path) -> None:
    """Write the cloud or walk of one survey, and what is true of each of its fields."""
    story = _story(scenario)
    if survey not in story.surveys:
        todo = "Name one of its surveys." + did_you_mean(survey, story.surveys)
        raise BadInput([Problem(str(scenario), None, "surveys", repr(survey), "a survey of the scenario", todo, code="unknown-survey")])
    made = flight.make(story, survey)
    path = out / made.file
    if made.points is not None:
        p = made.points
        clouds_out.write_laz(path, p.x, p.y, p.z, p.offset, flight.SCALE, made.crs, made.flown_on, made.guid,
                             p.rgb, p.intensity, p.source, p.time_s)  # fmt: skip
    if made.walk is not None:
        clouds_out.write_columns(path, made.walk)
    for true in made.truths:
        grid = true.grid
        placed = np.array([grid.col0, grid.row0, grid.ny, grid.nx])
        z0, cell_m = np.float64(true.z0), np.float64(grid.cell_m)
        arrays = {"z": true.z, "skin": true.skin, "z0": z0, "grid": placed, "cell_m": cell_m}
        clouds_out.write_truth(path.parent / "truth", f"{true.survey_id}--{true.field_id}", true.plain, arrays)


def files(scenario: Path) -> dict[str, str]:
    """The file each survey of a scenario makes, as a path below the folder it is made in -> the survey's id."""
    return {survey.file: name for name, survey in _story(scenario).surveys.items()}


def write_tables(scenario: Path, out: Path) -> None:
    """Write what the district's own people drew, read off and levelled: features/, readings.csv, control.csv."""
    story = _story(scenario)
    for field_id in story.fields:
        clouds_out.write_features(out / "features" / f"{field_id}.geojson", crew.features(story, field_id))
    clouds_out.write_rows(out / "readings.csv", crew.readings(story))
    clouds_out.write_rows(out / "control.csv", crew.control(story))


def _story(scenario: Path) -> Scenario:
    return parse(scenario_file.read(scenario), str(scenario))
