"""Low spots between two dates."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Sequence

import numpy as np

from pipeline.change.zones import detected_together
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps.spot_given import spot_input
from pipeline.steps.surveyed import Surveyed
from pipeline.store import arrays
from pipeline.store.where import Where
from pipeline.surface.masks import masks_of
from pipeline.surface.spot_change import FoundPond, LowSpotChange, low_spot_change, mean_ponding
from pipeline.surface.spot_match import same_ponds
from pipeline.surface.spots import ENOUGH
from pipeline.surface.survey_error import SurveyError
from pipeline.survey.noise import of_difference

NONE = np.empty(0, np.int64)


def spot_changes(job: Job, where: Where, layout: Layout, kept: dict[str, Surveyed], compared) -> list[dict]:
    """Rows of low_spot_change.csv. Found ponds carry the id they have over all dates."""
    ponds = found_ponds(where, layout, list(kept))
    given = {name: spot_input(job, layout, s) for name, s in kept.items()}
    masks = masks_of(layout)
    out = []
    for a, b in compared:
        noise = of_difference(kept[a].cell_noise, kept[b].cell_noise)
        dz = kept[b].z - kept[a].z
        white = np.where(np.isfinite(dz), np.hypot(kept[a].white, kept[b].white), np.nan)
        changes = low_spot_change(
            dz, white, mean_ponding(given[a], given[b]), layout.grid, masks, layout.places, _of_pair(ponds, a, b), SurveyError.of(noise, layout.centre),
            kept[b].plants.hidden_m,
        )  # fmt: skip
        out += [{"from_survey": a, "to_survey": b, **_row(c)} for c in found_together(changes)]
    return out


def found_together(changes: Sequence[LowSpotChange]) -> list[LowSpotChange]:
    """The same with `detected` of the found hollows judged together (Holm 1979): nobody declared them beforehand, and the
    more there are the sooner one of them looks changed."""
    ponds = [k for k, c in enumerate(changes) if c.low_spot_id.startswith("pond-") and np.isfinite(c.depth_change_mm)]
    values, sigmas = (np.array([getattr(changes[k], name) for k in ponds]) for name in ("depth_change_mm", "depth_change_sigma_mm"))
    out = list(changes)
    for k, detected in zip(ponds, detected_together(values, sigmas)):
        out[k] = replace(changes[k], detected=bool(detected))
    return out


def found_ponds(where: Where, layout: Layout, surveys: list[str]) -> dict[str, dict[str, tuple[dict, np.ndarray]]]:
    """For each survey its found ponds by the id they have over all dates: the row as measured, and the cells."""
    rows, cells = [], []
    for survey in surveys:
        path = where.measured(layout.field_id, survey)
        record = arrays.read_record(path)
        by_id = {r["low_spot_id"]: r for r in record["low_spots"]}
        columns = arrays.read(path, *(f"cells_{name}" for name in record["ponds"]))
        rows.append([by_id[name] for name in record["ponds"]])
        cells.append([columns[f"cells_{name}"] for name in record["ponds"]])
    names = same_ponds(cells)
    return {s: {n: (r, c) for n, r, c in zip(*found)} for s, found in zip(surveys, zip(names, rows, cells))}


def _of_pair(ponds, a: str, b: str) -> tuple[FoundPond, ...]:
    """The found ponds with enough evidence at one of the two dates."""
    sure = {n for s in (a, b) for n, (row, _) in ponds[s].items() if row["evidence"] == ENOUGH}
    out = []
    for name in sorted(sure, key=lambda n: int(n.split("-")[1])):
        row = (ponds[b].get(name) or ponds[a].get(name))[0]
        out.append(FoundPond(name, row["near"], ponds[a].get(name, (None, NONE))[1], ponds[b].get(name, (None, NONE))[1]))
    return tuple(out)


def _row(change) -> dict:
    row = asdict(change)
    return {k: v for k, v in row.items() if k != "evidence"}
