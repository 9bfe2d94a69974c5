"""foresee: before flying, what a survey of one field would see, which stable ground to add, where to walk."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.change.foresight import Foresight, foresee, pads_tried, pads_wanted
from pipeline.change.walk_foresight import foresee_walk
from pipeline.coordinates import label, lon_lat, read_crs, unit_m, unit_words
from pipeline.diamond.layout import Layout, build
from pipeline.errors import BadInput, Problem
from pipeline.project import Project
from pipeline.report.foresight_page import Asked, foresight_page, worth_adding
from pipeline.steps.layout import read
from pipeline.steps.spoken import to_readers
from pipeline.store import pages, records, tracks
from pipeline.store.atomic import replacing_folder
from pipeline.store.where import Where
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, Noise, declared
from pipeline.survey.walks.walk_plan import Planned, walk_plan

# A height's noise grows with the height flown: 4 mm a point at 30 m, a point a pixel and a half (ours; a rule of thumb
# from memory for the cameras that fly over ball fields). A survey's own scatter is what counts: `like`.
FLOWN_M, FLOWN_WHITE_M, FLOWN_SPACING_M = 30.0, GOOD_PHOTOGRAMMETRY.white_m, 0.030
LIDAR_SPACING_M = 0.040
LEAST_PER_CELL = 4.0


@dataclass(frozen=True)
class Wanted:
    """What the operator asked for; None where nothing was said."""

    source: str
    spacing_mm: float | None = None
    height_m: float | None = None
    like: str = ""


def run(project: Project, tables_dir: str, field_id: str, wanted: Wanted, where: Where) -> str:
    """Write the page and its tables; returns the page's path.

    raises : BadInput for an unknown field or survey, a spacing too wide for the cells
    """
    row = project.fields[field_id]
    drawing, problems = read(row, tables_dir, project.config.cell_size_m)
    if problems:
        raise BadInput(problems)
    layout = build(drawing)
    plan: list[Planned] = []
    if wanted.source == "rover":
        plan = walk_plan(layout)
        seen = foresee_walk(layout, plan, np.random.default_rng(project.config.random_seed))
        noise, density = declared("rover"), 5.0
    else:
        wanted, noise, density = _survey(project, where, field_id, wanted)
        seen = foresee(layout, noise, density)
    alone = pads_tried(layout, noise, density)
    pads = pads_wanted(layout, noise, density, alone=alone)
    inside = next((t for t in alone if t.inside), None)
    asked = Asked(row.get("name") or field_id, project.config.report.title, wanted.source, wanted.spacing_mm, wanted.height_m, wanted.like)
    page = foresight_page(layout, asked, seen, pads, inside, plan, project.config.tolerances, project.config.units, to_readers(project.config))
    with replacing_folder(where.foresee(field_id)) as folder:
        pages.write(folder / "foresee.html", "foresee.html", page)
        _tables(folder, layout, row["crs"], seen, worth_adding(seen, pads))
        if plan:
            _walk(folder, layout, row["crs"], field_id, plan)
    return f"{where.foresee(field_id)}/foresee.html"


def _survey(project: Project, where: Where, field_id: str, wanted: Wanted) -> tuple[Wanted, Noise, float]:
    """The asked survey with what was left open filled in, its noise, and points per m2."""
    cell = project.config.cell_size_m
    if wanted.like:
        record = _record(project, where, field_id, wanted.like)
        white, per_cell = record["figures"]["white_point_mm"] / 1000, record["figures"]["points_median"]
        spacing = cell / per_cell**0.5 if wanted.spacing_mm is None else wanted.spacing_mm / 1000
        wanted = replace(wanted, source=record["source"], height_m=None)
    elif wanted.source == "lidar":
        spacing, white = (wanted.spacing_mm or 1000 * LIDAR_SPACING_M) / 1000, LIDAR.white_m
    else:
        times = (wanted.height_m or FLOWN_M) / FLOWN_M
        white = FLOWN_WHITE_M * times
        spacing = FLOWN_SPACING_M * times if wanted.spacing_mm is None else wanted.spacing_mm / 1000
        wanted = replace(wanted, height_m=wanted.height_m if wanted.height_m or wanted.spacing_mm else FLOWN_M)
    if (cell / spacing) ** 2 < LEAST_PER_CELL:
        most = 1000 * cell / LEAST_PER_CELL**0.5
        raise BadInput([Problem("foresee", None, "spacing", f"a point every {1000 * spacing:.0f} mm", f"at most {most:.0f} mm for cells of {cell:g} m",
                                "Fly lower, or set a wider cell_size_m.", code="spacing-too-wide")])  # fmt: skip
    return replace(wanted, spacing_mm=1000 * spacing), declared(wanted.source, white), 1.0 / spacing**2


def _record(project: Project, where: Where, field_id: str, survey_id: str) -> dict:
    if survey_id not in project.surveys or field_id not in project.fields_of(project.surveys[survey_id]):
        raise BadInput([Problem("foresee", None, "like", repr(survey_id), f"a survey of {field_id} in surveys.csv", "Correct the name.", code="unknown-survey")])
    try:
        record = records.read(where.record(field_id, survey_id))
    except FileNotFoundError:
        raise BadInput([Problem("foresee", None, "like", repr(survey_id), "a survey that was run", "Run it first.", code="not-run-yet")]) from None
    if record["verdict"] == "refused" or record["source"] in ("rover", "raster"):
        raise BadInput([Problem("foresee", None, "like", repr(survey_id), "a cloud that was not refused", "Name another survey.", code="refused-survey")])
    return record


def _tables(folder, layout: Layout, crs: str, seen: Foresight, pads) -> None:
    """What would be seen, and the pads worth adding in the field's own coordinates."""
    rows = [("skin", "", "mean", seen.mean_m * 1000, "mm"), ("skin", "", "volume", seen.volume_m3, "m3")]
    rows += [("lip", e.edge_id, f"growth, {e.clear_m:.1f} m", e.whole_m * 1000, "mm") for e in seen.edges]
    rows += [("lip", e.edge_id, "growth, 5 m", e.segment_m * 1000, "mm") for e in seen.edges]
    rows += [("low_spot", p.place_id, kind, v * 1000, "mm") for p in seen.places for kind, v in (("depth", p.depth_m), ("change", p.change_m))]
    tracks.write_rows(folder / "seen.csv", ("what", "where", "measure", "smallest_seen", "unit"), [
        (a, b, c, f"{v:.2f}" if np.isfinite(v) else "", u) for a, b, c, v, u in rows
    ])  # fmt: skip
    unit, *named = _own(crs)
    tracks.write_rows(folder / "pads.csv", ("pad", "e", "n", "crs", "unit", "tie_sigma_mm", "doubts"), [
        (k, f"{p.e / unit:.3f}", f"{p.n / unit:.3f}", *named, f"{p.sigma_m * 1000:.1f}", ";".join(p.codes))
        for k, p in enumerate(pads, start=1)
    ])  # fmt: skip


def _own(crs: str) -> tuple[float, str, str]:
    """A field's own coordinates: metres in their unit, their name, their unit's name."""
    own = read_crs(crs)
    unit = unit_m(own)
    return unit, label(own), unit_words(unit)


def _walk(folder, layout: Layout, crs: str, field_id: str, plan: list[Planned]) -> None:
    """The points in the field's own coordinates and in longitude and latitude."""
    unit, *named = _own(crs)
    tracks.write_rows(folder / "walk.csv", ("point", "e", "n", "line", "for", "crs", "unit"), [
        (k, f"{p.e / unit:.3f}", f"{p.n / unit:.3f}", p.line, p.why, *named) for k, p in enumerate(plan, start=1)
    ])  # fmt: skip
    working = read_crs(layout.grid.crs)
    places = [lon_lat(working, p.e, p.n) for p in plan]
    lines: dict[str, list] = {}
    for p, at in zip(plan, places):
        lines.setdefault(p.line, []).append(at)
    tracks.write_gpx(folder / "walk.gpx", field_id, list(lines.items()))
    tracks.write_geojson(folder / "walk.geojson", [
        ({"point": k, "line": p.line, "for": p.why}, *at) for k, (p, at) in enumerate(zip(plan, places), start=1)
    ])  # fmt: skip
