"""What the owner wants of a field's surface, gathered from settings, tables and drawn levels."""

from __future__ import annotations

from typing import Sequence

import numpy as np

from pipeline.diamond.layout import Feature, Layout
from pipeline.jobs import Job
from pipeline.owner import GradingOf
from pipeline.steps.grade_ground import GradeGround
from pipeline.steps.surveyed import Surveyed
from pipeline.works.grading.levels import edge_levels, joined, moved
from pipeline.works.grading.variants import FREE, PLANE, Wanted
from pipeline.works.grading.wishes import Levels, Wishes, Worth

PLATE_M = 0.003  # home plate is not moved: the skin meets it to this
GIVEN_M = 0.005  # a level that somebody fixed without a tolerance
WITHIN_DEG = 20.0  # how far off the wanted bearing a design may fall; ours
LEAST_CELLS = 6
BUY_TO_MOVE, TAKE_TO_MOVE = 3.0, 2.0  # what a m3 bought or taken counts against one moved where the owner gave no prices; ours


def grading_of(job: Job, name: str):
    """One wish of the owner's: the field's own, else of all fields, else None."""
    grading = job.settings.grading
    own: GradingOf | None = grading.fields.get(job.field)
    for section in (own, grading):
        found = None if section is None else getattr(section, name)
        if found is not None:
            return found if isinstance(found, str) else found.value
    return None


def wanted_of(job: Job, layout: Layout, origin: tuple[float, float]) -> tuple[Wanted, str]:
    """The form and its direction, and what could not be asked."""
    form = grading_of(job, "form") or PLANE
    bearing = grading_of(job, "fall_bearing_deg")
    if bearing is None:
        bearing = job.settings.tolerances.of("fall_bearing_deg", job.field)
    ridge = None
    if layout.axes is not None and "second" in layout.anchors:
        ridge = ((layout.axes.home_e - origin[0], layout.axes.home_n - origin[1]), float(np.degrees(layout.axes.bearing_rad)))
    lacking = "no bearing of fall is set: the least fall was not asked" if bearing is None and form in (PLANE, FREE) else ""
    return Wanted(form, bearing, ridge), lacking


def wishes_of(job: Job, layout: Layout, seen: Surveyed, features: Sequence[Feature], ground: GradeGround, lip: Sequence[dict]) -> Wishes:
    least, most = grading_of(job, "slope_min_pct"), grading_of(job, "slope_max_pct")
    e, n = layout.grid.mesh()
    held = ground.workable
    edges = edge_levels(seen.edges, e[held], n[held], ground.z[held], lip, job.settings.tolerances.of("lip_mm", job.field))
    fixed = joined(_plates(layout, ground.elevation), _given(features))
    return Wishes(
        None if least is None else least / 100, None if most is None else most / 100, WITHIN_DEG,
        fixed=moved(fixed, *ground.origin), edges=moved(edges, *ground.origin),
    )  # fmt: skip


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
    density = material.of("placed_t_per_m3")
    if None in (prices.move_per_m3, prices.mix_per_t, prices.export_per_m3, density):
        return Worth(1.0, BUY_TO_MOVE, TAKE_TO_MOVE, ratio)
    return Worth(prices.move_per_m3.value, prices.mix_per_t.value * density, prices.export_per_m3.value, ratio)
