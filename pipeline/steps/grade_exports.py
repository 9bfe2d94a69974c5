"""What surveyors and machines take of a design: points in the field's own coordinates and foot, and what they are in."""

from __future__ import annotations

from pathlib import Path
from typing import Sequence

import numpy as np

from pipeline.coordinates import code, label, read_crs, unit_m, unit_words
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.store import landxml, stakeout
from pipeline.transform import step_between
from pipeline.units import FOOT_M, vertical_unit_of
from pipeline.works.design import Design
from pipeline.works.grading.touch_up import Hollow
from pipeline.works.keep_outs import KeepOut
from pipeline.works.stakes import Stake, stakes

METRIC_EVERY_M = 3.0
US_EVERY_M = 10 * FOOT_M


def write_exports(folder: Path, job: Job, layout: Layout, design: Design, hollows: Sequence[Hollow], keep_outs: Sequence[KeepOut], survey: dict) -> list[Stake]:
    """Points and triangles of a design in a folder; returns the stakes, in the working CRS. survey: survey.json of the one designed on."""
    own = read_crs(job.field_row["crs"])
    metres = unit_m(own)
    made = stakes(design, layout, hollows, keep_outs, US_EVERY_M if job.settings.units == "us" else METRIC_EVERY_M)
    step = step_between(read_crs(layout.grid.crs), own)
    e, n = step(np.array([s.e for s in made]), np.array([s.n for s in made])) if made else ((), ())
    unit = vertical_unit_of(metres)
    stakeout.write(folder, [{**s.plain(), "northing": float(b), "easting": float(a)} for s, a, b in zip(made, e, n)], metres)
    references = {str(r["height_reference"]) for r in job.rows["surveys"] if r.get("height_reference")}
    stakeout.beside(folder, {
        "field_id": job.field, "survey": survey["survey_id"], "flown_on": str(survey["flown_on"]), "design": design.variant,
        "horizontal_crs": {"code": code(own), "name": label(own), "order": "northing, easting"},
        "unit": {"word": unit, "name": unit_words(metres), "metres": metres, "of": "northing, easting, existing, design, cut, fill"},
        "height_reference": ";".join(sorted(references)) or "not stated",
        "heights": "tied to the field's baseline survey" if survey["verdict"] == "absolute" else "of this survey alone, tied to nothing: set them out from home plate",
        "files": {
            "stakeout.csv": "points with a header; cut and fill are what to take off or put on, both 0 or more; by_hand: no blade there until the thing is found",
            "stakeout_bare.csv": "the same points without a header: point, northing, easting, design height, description",
            "design.xml": "the designed surface as LandXML 1.2; where only low spots are filled, their ground alone",
            "design.dxf": "the plan: triangles, level lines, grass edges, what to keep off with its ground kept free, stakes and runs, one layer each",
            "passes.gpx": "the runs, low spots and things to keep off for a phone: longitude, latitude, good to a few metres; never to set out by",
            "control.csv": "control points of the field, in the same coordinates and unit; height_reference says what each height counts from",
            "design.tif": "designed heights on the field's grid: working CRS, metres",
            "cut_fill.tif": "design minus existing on the field's grid: working CRS, metres, positive = fill",
        },
        "caution": "Northing comes first. Check two points you know before the work. Find and mark what lies in the ground first. Local rules and licensed practice come before these points.",
    })  # fmt: skip
    _surface(folder, job.field, design, step, metres, unit, code(own), str(survey["flown_on"]))
    return made


def _surface(folder: Path, field_id: str, design: Design, step, metres: float, unit: str, crs: str, flown_on: str) -> None:
    made = design.triangles
    if made is None:
        return
    e, n = step(made.e, made.n)
    landxml.write(folder / "design.xml", f"{field_id} {design.variant}", flown_on, unit, crs if crs.startswith("EPSG:") else "", n, e, made.z / metres, made.faces)
