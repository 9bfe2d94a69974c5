"""One survey of the scenario as what a file holds: whole counts, colours and the few facts of a header.

A pure function of the scenario and the survey's id: nothing else, no clock, no core count, moves a point.
"""

from __future__ import annotations

import hashlib
import uuid
from dataclasses import dataclass
from datetime import date

import numpy as np

from pipeline.simulate import draws, truth, walking
from pipeline.simulate.cloud import Cloud, Look, see, seeing
from pipeline.simulate.aging import state_at
from pipeline.simulate.instruments import INSTRUMENTS, draw_error
from pipeline.simulate.scenario import Scenario, SurveyTruth
from pipeline.simulate.scene import build_scene
from pipeline.units import LENGTH_UNITS

SCALE = 0.001  # of the file's own unit
SAME_M = 1e-6  # two CRSs that agree so far at a field's corners differ in nothing but their unit


@dataclass(frozen=True)
class Points:
    """A cloud in its file's own units: coordinate = count * SCALE + offset; x, y, z int32."""

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    offset: tuple[float, float, float]
    rgb: np.ndarray | None
    intensity: np.ndarray | None
    source: np.ndarray | None
    time_s: np.ndarray | None


@dataclass(frozen=True)
class Made:
    """What a survey leaves behind: a cloud or a walk (columns of text), a header's facts, the truth of each field."""

    survey_id: str
    file: str
    crs: str
    flown_on: date
    guid: uuid.UUID
    points: Points | None
    walk: dict[str, list[str]] | None
    truths: tuple[truth.Truth, ...]


def make(scenario: Scenario, survey_id: str) -> Made:
    """Fly or walk one survey of a scenario."""
    survey = scenario.surveys[survey_id]
    instrument = INSTRUMENTS[survey.instrument]
    scenes = [build_scene(scenario, field_id) for field_id in survey.fields]
    crs = {s.truth.crs for s in scenes}
    if len(crs) > 1:
        raise ValueError(f"{survey_id} covers fields in different zones: {sorted(crs)}")
    corners = np.array([s.flown for s in scenes])
    box = (*corners[:, :2].min(axis=0), *corners[:, 2:].max(axis=0))
    error = draw_error(draws.rng(scenario.seed, survey_id, "error"), instrument, survey.drift, box)
    clouds, walks, truths = [], [], []
    for scene in scenes:
        state = state_at(scene, scenario.first_day, survey.day)
        look = Look(scene, state, survey_id, survey, seeing(scene, survey_id, instrument, error))
        if instrument.kind == "rover":
            walks.append(walking.walked(look))
        else:
            clouds.append(see(look))
        truths.append(truth.answers(look))
    guid = uuid.UUID(bytes=hashlib.sha256(f"{scenario.seed}|{survey_id}".encode()).digest()[:16])
    working = crs.pop()
    points = _points(clouds, survey, working) if clouds else None
    rows = _rows(walks[0], survey, working) if walks else None
    return Made(survey_id, survey.file, survey.file_crs, survey.day, guid, points, rows, tuple(truths))


def _points(clouds: list[Cloud], survey: SurveyTruth, working: str) -> Points:
    def joined(name: str):
        parts = [getattr(c, name) for c in clouds]
        return None if parts[0] is None else np.concatenate(parts)

    e, n = joined("e") + survey.moved_m[0], joined("n") + survey.moved_m[1]
    x, y = carried(e, n, working, survey.file_crs)
    z = joined("z") / LENGTH_UNITS[survey.height_unit]
    offset = tuple(float(np.floor(v.min() / 100.0) * 100.0) for v in (x, y, z))
    counts = (np.rint((v - o) / SCALE).astype(np.int32) for v, o in zip((x, y, z), offset))
    return Points(*counts, offset, *(joined(k) for k in ("rgb", "intensity", "source", "time_s")))


def _rows(walked: walking.Walk, survey: SurveyTruth, working: str) -> dict[str, list[str]]:
    """A walk's columns as a receiver's export prints them."""
    x, y = carried(walked.e + survey.moved_m[0], walked.n + survey.moved_m[1], working, survey.file_crs)
    z = walked.z / LENGTH_UNITS[survey.height_unit]
    return {
        **{name: [f"{v:.3f}" for v in column] for name, column in (("e", x), ("n", y), ("z", z))},
        "quality": [str(v) for v in walked.quality],
        "receiver": ["a"] * len(z),
        "line": [str(v) for v in walked.line],
    }


def carried(e: np.ndarray, n: np.ndarray, working: str, file_crs: str) -> tuple[np.ndarray, np.ndarray]:
    """Working eastings and northings in a file's horizontal CRS; where only the unit differs, by that factor alone."""
    from pyproj import CRS, Transformer

    target = CRS.from_user_input(file_crs)
    target = target.sub_crs_list[0] if target.is_compound else target
    turn = Transformer.from_crs(working, target, always_xy=True, allow_ballpark=False)
    factor = 1.0 / target.axis_info[0].unit_conversion_factor
    ends_e, ends_n = np.array([e.min(), e.max()]), np.array([n.min(), n.max()])
    probe = np.concatenate(turn.transform(ends_e, ends_n)) / factor
    if np.abs(probe - np.concatenate([ends_e, ends_n])).max() < SAME_M:
        return e * factor, n * factor
    return turn.transform(e, n)
