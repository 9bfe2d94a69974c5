"""as_built.csv of one work, and its hand levels: against a design that the work's papers name, else against the form asked."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass, field
from pathlib import PurePosixPath
from typing import Callable, Mapping

import numpy as np
import shapely

from pipeline.coordinates import code, read_crs, unit_m
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps import surveyed
from pipeline.steps.drawn import features_of
from pipeline.steps.spot_given import states, survey_error
from pipeline.store import files, rasters
from pipeline.store.where import Where
from pipeline.surface.loose import loose_sigma_m
from pipeline.surface.masks import masks_of
from pipeline.transform import step_between
from pipeline.units import LENGTH_UNITS, vertical_unit_of
from pipeline.works.around import Around, last_day
from pipeline.works.as_built import CANNOT_TELL, Deviations, off_form, share_within, verdicts, whole
from pipeline.works.grading.forms import plane, two_planes
from pipeline.works.grading.variants import PLANE, TWO_PLANES
from pipeline.works.hand_levels import FEWEST, HandPlace, accepted, hand_places, off_best_fit
from pipeline.works.keep_outs import keep_outs_of
from pipeline.works.place_means import PlaceMeans, place_means

TO_A_SURFACE = ("laser_grade", "rebuild")  # and `level` over the whole skin
SKIN = "skin"
MOVES = ("level", "mix_add", "laser_grade", "rebuild")  # works after which the ground is another
READ_WITHIN_M = 0.5  # a level so near a drawn place was read there
NO_LEVEL, KNOWN_LEVEL, NOTHING = "form", "design", ""


@dataclass(frozen=True)
class Built:
    """rows: of as_built.csv; record, levels: as the work's record tells them, empty where the work builds no surface"""

    rows: list[dict] = field(default_factory=list)
    record: dict = field(default_factory=dict)
    levels: dict = field(default_factory=dict)


@dataclass(frozen=True)
class _Wanted:
    """What was wanted: a design's heights (ny, nx), m, or surfaces of a form as a function of x, y; against: which; reason: why neither.

    note : what limits it, a word for the page
    """

    design: np.ndarray | None = None
    surfaces: Callable | None = None
    against: str = NOTHING
    form: str = ""
    note: str = ""
    reason: str = ""


def built_of(job: Job, where: Where, layout: Layout, work: Mapping, stood: Around) -> Built:
    """Empty for work that builds no surface of the whole skin."""
    if work["work"] not in TO_A_SURFACE and not (work["work"] == "level" and (work.get("zone") or SKIN) == SKIN):
        return Built()
    acceptance = job.settings.acceptance
    tolerance = acceptance.of("tolerance_mm")
    if tolerance is None:
        tolerance = job.settings.tolerances.of("finish_mm", job.field)
    wanted = _wanted(job, layout, work)
    cells = _worked(job, layout, work)
    if wanted.design is not None:
        cells &= np.isfinite(wanted.design)
    count = int(acceptance.of("hand_levels") or FEWEST)
    drawn = hand_places(cells, layout.grid, work["work_id"], job.settings.random_seed, count, wanted.design)
    levels = _levels(job, layout, work, drawn, wanted, tolerance)
    said = {"against": wanted.against, "form": wanted.form, "note": wanted.note, "tolerance_mm": tolerance, "word": CANNOT_TELL}
    if wanted.reason or stood.after is None:
        return Built([], {**said, "reason": wanted.reason or "no survey since the work"}, levels)
    return _built(where, layout, work, stood.after.survey_id, wanted, cells, tolerance, said, levels, loose_sigma_m(states(job, stood.after.survey_id)))


def _built(where, layout, work, survey: str, wanted: _Wanted, cells, tolerance, said: dict, levels: dict, loose_m: float) -> Built:
    made = surveyed.read(where, layout, survey)
    if wanted.design is not None and not made.absolute:
        return Built([], {**said, "reason": "the survey after the work has no heights of its own level to hold against a design"}, levels)
    z = made.z
    if wanted.design is not None:
        z = rasters.read(where.raster(layout.field_id, survey, "elevation"), layout.grid) - wanted.design
        z = np.where(np.isfinite(made.z), z, np.nan)
    means = place_means(z, made.white, layout.grid, cells & np.isfinite(z), survey_error(layout, made), loose_m)
    try:
        found = _deviations(means, wanted)
    except ValueError as error:
        return Built([], {**said, "reason": str(error)}, levels)
    if tolerance is None:
        rows = _rows(work, means, found, None, [CANNOT_TELL] * len(means.value))
        return Built(rows, {**said, "reason": "no tolerance: acceptance.tolerance_mm, or finish_mm"}, levels)
    words = verdicts(found, tolerance / 1000)
    share = share_within(found, tolerance / 1000)
    counts = {f"places_{w}": words.count(w) for w in ("within", "outside", CANNOT_TELL)}
    record = {**said, "survey": survey, "word": whole(found, tolerance / 1000), "reason": "", **counts, "share": asdict(share), "sigma_mm": 1000 * float(np.median(found.sigma))}
    return Built(_rows(work, means, found, tolerance, words), record, levels)


def _deviations(means: PlaceMeans, wanted: _Wanted) -> Deviations:
    if wanted.design is not None:
        return Deviations(means.value, means.covariance)
    e, n = means.grid.mesh()
    surfaces = wanted.surfaces(e.ravel(), n.ravel()).T.reshape(-1, *means.grid.shape)
    return off_form(means.value, means.covariance, np.column_stack([means.mean_of(s) for s in surfaces]))


def _rows(work: Mapping, means: PlaceMeans, found: Deviations, tolerance: float | None, words: list[str]) -> list[dict]:
    return [
        {"work_id": work["work_id"], "place": place, "e": e, "n": n, "deviation_mm": 1000 * d, "sigma_mm": 1000 * s, "tolerance_mm": tolerance, "verdict": word}
        for place, e, n, d, s, word in zip(means.names, means.e, means.n, found.value, found.sigma, words)
    ]  # fmt: skip


def _wanted(job: Job, layout: Layout, work: Mapping) -> _Wanted:
    """A design raster among the work's documents; else the form asked in `grading`, whose level nobody fixed."""
    named = next((d.strip() for d in (work.get("documents") or "").split(";") if d.strip().lower().endswith(files.RASTERS)), None)
    if named is not None:
        path = PurePosixPath(job.tables_dir) / named
        if not files.named(".", str(path)):
            return _Wanted(reason=f"documents names {named}: no such file")
        try:
            return _Wanted(design=rasters.read(str(path), layout.grid).astype(float), against=KNOWN_LEVEL)
        except (ValueError, OSError):
            return _Wanted(reason=f"documents names {named}: not a raster on the field's grid, as the design.tif made here is")
    asked = job.settings.grading.on(job.field)
    if asked.form is None:
        return _Wanted(reason="no design named in documents and no form asked: grading.form")
    late = asked.set_on is not None and asked.set_on > work["done_on"]
    note = "form_later" if late else ""
    e, n = layout.centre
    if asked.form == PLANE:
        form = plane(np.zeros(1), np.zeros(1), None)
        return _Wanted(surfaces=lambda x, y: form.points(x - e, y - n), against=NO_LEVEL, form=PLANE, note=note)
    if asked.form == TWO_PLANES and layout.axes is not None:
        ridge = two_planes(np.zeros(1), np.zeros(1), (layout.axes.home_e - e, layout.axes.home_n - n), float(np.degrees(layout.axes.bearing_rad)))
        return _Wanted(surfaces=lambda x, y: ridge.points(x - e, y - n), against=NO_LEVEL, form=TWO_PLANES, note=note)
    return _Wanted(form=asked.form, reason=f"a {asked.form.replace('_', ' ')} has many shapes: name the design worked to in documents")


def _worked(job: Job, layout: Layout, work: Mapping) -> np.ndarray:
    """Skin that the work finished, by the layout: clear of mound, grass edge and keep-outs, (ny, nx) bool."""
    kept = keep_outs_of(layout, features_of(job, layout), last_day(work))
    return masks_of(layout).even & ~layout.grid.mask(shapely.union_all([k.kept_free for k in kept]))


def _levels(job: Job, layout: Layout, work: Mapping, drawn: list[HandPlace], wanted: _Wanted, tolerance: float | None) -> dict:
    """The places, and what the levels read there say."""
    out = {**_set_out(job, layout, drawn), "tolerance_mm": tolerance, "result": None, "reason": ""}
    read = _read_at(job, layout, work, drawn)
    if not read:
        return out
    if tolerance is None or (wanted.design is None and wanted.surfaces is None):
        return {**out, "reason": wanted.reason or "no tolerance: acceptance.tolerance_mm, or finish_mm"}
    places, heights = list(read), np.array(list(read.values()))
    if wanted.design is not None:
        off = heights - np.array([np.nan if p.design_m is None else p.design_m for p in places])
        off = off[np.isfinite(off)]
    else:
        try:
            off = off_best_fit(heights, np.asarray(wanted.surfaces(np.array([p.e for p in places]), np.array([p.n for p in places]))))
        except ValueError as error:
            return {**out, "reason": str(error)}
    return {**out, "result": asdict(accepted(off, tolerance / 1000, len(drawn)))}


def _set_out(job: Job, layout: Layout, drawn: list[HandPlace]) -> dict:
    """The places in the field's own coordinates and unit, too: what a rover is fed with."""
    own = read_crs(job.field_row["crs"])
    metres = unit_m(own)
    e, n = step_between(read_crs(layout.grid.crs), own)(np.array([p.e for p in drawn]), np.array([p.n for p in drawn])) if drawn else ((), ())
    places = [{**asdict(p), "east": float(x), "north": float(y), "design": None if p.design_m is None else p.design_m / metres} for p, x, y in zip(drawn, e, n)]
    return {"places": places, "crs": code(own), "unit": vertical_unit_of(metres)}


def _read_at(job: Job, layout: Layout, work: Mapping, drawn: list[HandPlace]) -> dict[HandPlace, float]:
    """Height read at each drawn place since the work, m; a place is named, or stood on to READ_WITHIN_M; the newest reading counts."""
    step = step_between(read_crs(job.field_row["crs"]), read_crs(layout.grid.crs))
    until = min((w["done_on"] for w in job.rows["works"] if w["work"] in MOVES and w["done_on"] > last_day(work)), default=dt.date.max)
    names = {p.name: p for p in drawn}
    out = {}
    levels = [r for r in job.rows["readings"] if r["kind"] == "level" and last_day(work) <= r["read_on"] < until]  # a later work's levels are its own
    for r in sorted(levels, key=lambda r: r["read_on"]):
        place = names.get(r.get("place", ""))
        if place is None and r.get("e") is not None and r.get("n") is not None:
            e, n = (float(np.ravel(v)[0]) for v in step(np.array([r["e"]]), np.array([r["n"]])))
            away, near = min(((np.hypot(e - p.e, n - p.n), p.name) for p in drawn), default=(np.inf, ""))
            place = names[near] if away <= READ_WITHIN_M else None
        if place is not None and r.get("unit") is not None:
            out[place] = float(r["value"]) * LENGTH_UNITS[r["unit"]]
    return out
