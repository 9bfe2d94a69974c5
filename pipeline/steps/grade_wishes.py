"""What the owner wants of a field's surface, gathered from settings, tables and drawn levels."""

from __future__ import annotations

from typing import Sequence

import numpy as np

from pipeline.diamond.layout import Feature, Layout
from pipeline.jobs import Job
from pipeline.steps.grade_ground import GradeGround
from pipeline.steps.surveyed import Surveyed
from pipeline.works.grading.levels import edge_levels, joined, moved
from pipeline.works.grading.variants import FREE, PLANE, Wanted
from pipeline.works.grading.wishes import Levels, Line, Wishes, Worth

PLATE_M = 0.003  # home plate is not moved: the skin meets it to this
GIVEN_M = 0.005  # a level that somebody fixed without a tolerance
WITHIN_DEG = 20.0  # how far off the wanted bearing a design may fall; ours
LEAST_CELLS = 6
SIDES = ("home", "first", "second", "third")
BUY_TO_MOVE, TAKE_TO_MOVE = 3.0, 2.0  # what a m3 bought or taken counts against one moved where the owner gave no prices; ours


def wanted_of(job: Job, layout: Layout, origin: tuple[float, float]) -> tuple[Wanted, str]:
    """The form and its direction, and what could not be asked."""
    asked = job.settings.grading.on(job.field)
    form, bearing = asked.form or PLANE, asked.of("fall_bearing_deg")
    if bearing is None:
        bearing = job.settings.tolerances.of("fall_bearing_deg", job.field)
    ridge = None
    if layout.axes is not None and "second" in layout.anchors:
        ridge = ((layout.axes.home_e - origin[0], layout.axes.home_n - origin[1]), float(np.degrees(layout.axes.bearing_rad)))
    lacking = "no bearing of fall is set: the least fall was not asked" if bearing is None and form in (PLANE, FREE) else ""
    return Wanted(form, bearing, ridge), lacking


def wishes_of(job: Job, layout: Layout, seen: Surveyed, features: Sequence[Feature], ground: GradeGround, lip: Sequence[dict]) -> Wishes:
    asked = job.settings.grading.on(job.field)
    least, most = asked.of("slope_min_pct"), asked.of("slope_max_pct")
    e, n = layout.grid.mesh()
    held = ground.workable
    edges = edge_levels(seen.edges, e[held], n[held], ground.z[held], lip, job.settings.tolerances.of("lip_mm", job.field))
    fixed = joined(_plates(layout, ground.elevation), _given(features))
    return Wishes(
        None if least is None else least / 100, None if most is None else most / 100, WITHIN_DEG,
        fixed=moved(fixed, *ground.origin), edges=moved(edges, *ground.origin), lines=_base_lines(job, layout, ground.origin),
    )  # fmt: skip


def _base_lines(job: Job, layout: Layout, origin: tuple[float, float]) -> tuple[Line, ...]:
    """The four sides between the bases of the main set, where the owner says how level they are to lie."""
    most = job.settings.tolerances.of("base_line_pct", job.field)
    known = {k: layout.anchors[k] for k in SIDES if k in layout.anchors}
    if layout.axes is not None:
        known["home"] = (layout.axes.home_e, layout.axes.home_n)
    if most is None:
        return ()
    ends = [(a, b) for a, b in zip(SIDES, (*SIDES[1:], SIDES[0])) if a in known and b in known]
    return tuple(Line(*(v - o for v, o in zip((*known[a], *known[b]), origin * 2)), most / 100, f"{a}-{b}") for a, b in ends)


def _plates(layout: Layout, elevation: np.ndarray) -> Levels:
    """Home plate's own level, by the cells that lie on it; the skin beside it is worn and says nothing."""
    plate = next((p for p in layout.patches if p.kind == "home_plate"), None)
    on = np.zeros(layout.grid.shape, bool) if plate is None else layout.grid.mask(plate.polygon) & np.isfinite(elevation)
    if on.sum() < LEAST_CELLS:
        return Levels.none()
    e, n = layout.grid.mesh()
    return Levels(e[on].mean()[None], n[on].mean()[None], np.median(elevation[on])[None], np.array([PLATE_M]), ("home plate",))


def _given(features: Sequence[Feature]) -> Levels:
    """Levels that somebody fixed: drawn with a height."""
    found = [f for f in features if f.role in ("fixed_grade", "inlet") and f.props.get("height_m") is not None]
    if not found:
        return Levels.none()
    at = [f.geometry.centroid for f in found]
    spare = np.array([float(f.props["tolerance_mm"]) / 1000 if f.props.get("tolerance_mm") is not None else GIVEN_M for f in found])
    return Levels(np.array([p.x for p in at]), np.array([p.y for p in at]), np.array([float(f.props["height_m"]) for f in found]), spare, tuple(f.name for f in found))


def worth_of(job: Job) -> Worth:
    """Prices of a cubic metre moved, bought and taken away: the owner's; without them by what costs more than what."""
    prices, material = job.settings.prices, job.settings.material
    ratio = material.of("cut_fill_ratio") or 1.0
    move, buy, take, density = prices.of("move_per_m3"), prices.of("mix_per_t"), prices.of("export_per_m3"), material.of("placed_t_per_m3")
    if None in (move, buy, take, density):
        return Worth(1.0, BUY_TO_MOVE, TAKE_TO_MOVE, ratio)
    return Worth(move, buy * density, take, ratio)
