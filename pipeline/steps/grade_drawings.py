"""A design as drawings: a plan as DXF, runs for a phone, control points beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Callable, Sequence

import numpy as np
import shapely

from pipeline.coordinates import label, lon_lat, read_crs, unit_m, unit_words
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps import control_points
from pipeline.store import drawing, phone
from pipeline.transform import step_between
from pipeline.units import vertical_unit_of
from pipeline.works.contours import contours
from pipeline.works.design import Design
from pipeline.works.grading.touch_up import Hollow
from pipeline.works.keep_outs import KeepOut
from pipeline.works.stakes import Stake

LEVELS = {"m": 0.025, "ft": 0.1, "us-ft": 0.1}  # between level lines, in the unit that leaves
THINNED_M = 0.002  # outlines may be drawn so far beside themselves
FACES, LEVEL_LINES, EDGE, OFF, FREE = "designed surface", "designed level lines", "grass edge", "keep off", "ground kept free"
STAKES, RUNS = "stakes", "runs"


def write_drawings(folder: Path, job: Job, layout: Layout, design: Design, hollows: Sequence[Hollow], keep_outs: Sequence[KeepOut], runs: Sequence[dict],
                   made: Sequence[Stake], survey: dict) -> list[str]:  # fmt: skip
    """`design.dxf`, `passes.gpx` and `control.csv` in a folder; returns the control points that could not be carried over.

    runs : as `passes_of` gives them; made : the stakes of `write_exports`; survey : survey.json of the one designed on
    """
    working, own = read_crs(layout.grid.crs), read_crs(job.field_row["crs"])
    metres, step = unit_m(own), step_between(working, own)
    unit = vertical_unit_of(metres)
    plan = _plan(layout, design, keep_outs, runs, made, step, metres, LEVELS[unit])
    plan.notes = (f"{job.field}, {design.variant.replace('_', ' ')}, survey {survey['survey_id']} of {survey['flown_on']}", f"{label(own)}, {unit_words(metres)}, heights too",
                  "Check two points you know before the work. Find and mark what lies in the ground first.")  # fmt: skip
    drawing.write(folder / "design.dxf", plan, unit, metres, str(survey["flown_on"]))
    _phone(folder, job.field, working, hollows, keep_outs, runs)
    points, left = control_points.carried(job, layout)
    control_points.write(folder, points)
    return left


def _plan(layout: Layout, design: Design, keep_outs: Sequence[KeepOut], runs: Sequence[dict], made: Sequence[Stake], step: Callable, metres: float,
          every: float) -> drawing.Plan:  # fmt: skip
    """All of a design's plan in the CRS and unit that leave."""
    flat = lambda xy: np.column_stack(step(*np.asarray(xy, float)[:, :2].T))
    spaced = lambda xy, z: np.column_stack([flat(xy), np.broadcast_to(z, len(xy))])
    surface = design.triangles
    faces = None if surface is None else spaced(np.column_stack([surface.e, surface.n]), surface.z / metres)[surface.faces]
    points = [(s.point, *np.ravel(flat([(s.e, s.n)])), s.design_m / metres) for s in made]
    return drawing.Plan(
        {} if faces is None else {FACES: faces},
        {
            EDGE: [spaced(_thin(e.line).coords, 0.0) for e in layout.edges],
            LEVEL_LINES: [spaced(line, k * every) for k, line in contours(design.moved_ground, design.grid, every * metres)],
            OFF: [spaced(part.coords, 0.0) for k in keep_outs for part in _lines(k.geometry)],
            RUNS: [spaced(r["line"], 0.0) for r in runs],
        },
        {FREE: [flat(ring.coords) for k in keep_outs for ring in _rings(k.kept_free)], OFF: [flat(ring.coords) for k in keep_outs for ring in _rings(k.geometry)]},
        {
            STAKES: [(str(p), e, n, z) for p, e, n, z in points],
            OFF: [(f"{k.name} ({k.kind.replace('_', ' ')})", *np.ravel(flat(k.geometry.representative_point().coords)), 0.0) for k in keep_outs],
        },
        strokes={FREE: "dashed", RUNS: "dashed"},
    )  # fmt: skip


def _thin(shape: shapely.Geometry) -> shapely.Geometry:
    return shapely.simplify(shape, THINNED_M)


def _parts(shape: shapely.Geometry) -> list[shapely.Geometry]:
    return [g for g in getattr(shape, "geoms", (shape,)) if not g.is_empty]


def _lines(shape: shapely.Geometry) -> list[shapely.LineString]:
    return [_thin(g) for g in _parts(shape) if isinstance(g, shapely.LineString)]


def _rings(shape: shapely.Geometry) -> list[shapely.LinearRing]:
    return [ring for g in _parts(_thin(shape)) if isinstance(g, shapely.Polygon) for ring in (g.exterior, *g.interiors)]


def _phone(folder: Path, field_id: str, working, hollows: Sequence[Hollow], keep_outs: Sequence[KeepOut], runs: Sequence[dict]) -> None:
    places = [(h.name, "low spot", *lon_lat(working, h.e, h.n)) for h in hollows]
    for k in keep_outs:
        at = k.geometry.representative_point()
        places.append((k.name, f"keep off: {k.kind.replace('_', ' ')}, {k.buffer_m:.2f} m kept free{'' if k.found else '; not located this season: find it by hand first'}", *lon_lat(working, at.x, at.y)))
    lines = [(f"run {r['run']}", f"{r['purpose'].replace('_', ' ')}, bearing {r['bearing_deg']:.0f}", [lon_lat(working, e, n) for e, n in r["line"]]) for r in runs]
    lines += [(f"{k.kind.replace('_', ' ')} {k.name}", f"keep {k.buffer_m:.2f} m off both sides", [lon_lat(working, e, n) for e, n, *_ in part.coords]) for k in keep_outs for part in _lines(k.geometry)]
    phone.write(folder / "passes.gpx", field_id, "Good to a few metres on a phone: to find the way by, never to set out by.", places, lines)
