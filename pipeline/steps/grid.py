"""grid: one flight's files, decoded once, become ground points for each field they cover."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.coordinates import lon_lat, read_crs
from pipeline.diamond.carry import from_plain
from pipeline.diamond.layout import Layout
from pipeline.errors import Refused
from pipeline.jobs import Job
from pipeline.steps.reading import stated
from pipeline.store import arrays, files, records
from pipeline.store.atomic import replacing_folder
from pipeline.store.point_file import PointFile
from pipeline.store.points import open_points
from pipeline.store.scratch import FileScratch
from pipeline.store.where import Where
from pipeline.survey.cells.buckets import Buckets, feed
from pipeline.survey.cells.cover import check_cover, classed_remark, cover, screen_remark
from pipeline.survey.cells.gridding import Gridded, grid_cloud
from pipeline.survey.cells.scratch import Scratch
from pipeline.survey.cells.tiles import BLOCK_M
from pipeline.survey.points import Ground, Projection
from pipeline.survey.reading.project import fit
from pipeline.survey.reading.reference import Reference, check_heights, resolve
from pipeline.survey.reading.rounding import check_precision
from pipeline.survey.reading.whereabouts import require_on_field

IN_MEMORY = 30_000_000  # points: some 500 MB of them


@dataclass
class Target:
    """One field of the flight: its layout, and what is known of the files for it so far."""

    layout: Layout
    skin: np.ndarray
    references: list[tuple[PointFile, Reference]]
    buckets: Buckets | None = None
    refused: Refused | None = None


def run(job: Job, where: Where) -> None:
    """Read the files once; write ground points, or the refusal, for each field."""
    row = job.survey_row
    paths = files.named(job.tables_dir, row["path"])
    inputs = files.inputs(paths, job.tables_dir)
    with replacing_folder(where.flight(job.survey)) as folder:
        targets = [_target(where, field) for field in job.order]
        if row["source"] == "rover":
            from pipeline.steps.grid_walk import walked

            for target in targets:
                record, kept = _caught(lambda t=target: walked(paths, row, t.layout, t.skin, job.settings.grid.cover_min_pct / 100))
                _write(folder, target.layout, {**record, "inputs": inputs}, kept)
            return
        opened = _caught_all(targets, lambda: [open_points(path) for path in paths])
        with _scratch(folder, opened or []) as scratch:
            if opened:
                _read_once(job, targets, opened, scratch)
            for target in targets:
                record, kept = _caught(lambda t=target: _gridded(job, t))
                _write(folder, target.layout, {**record, "inputs": inputs}, kept)


def _scratch(folder: Path, opened: list[PointFile]):
    """Where points wait between two looks at them: in memory if they fit beside other jobs, else on disk."""
    points = sum(file.facts.n_points for file in opened)
    return FileScratch(folder) if points > IN_MEMORY else nullcontext()


def _target(where: Where, field_id: str) -> Target:
    layout = from_plain(records.read(where.layout(field_id)))
    return Target(layout, layout.grid.mask(layout.skin), [])


def _caught(work) -> tuple[dict, dict]:
    """What the work gives, or its refusal as a record with no arrays."""
    try:
        return work()
    except Refused as refused:
        return {"verdict": "refused", "reason_code": refused.code, "reason": refused.reason}, {}


def _caught_all(targets: list[Target], work):
    """What the work gives; a refusal is every field's."""
    try:
        return work()
    except Refused as refused:
        for target in targets:
            target.refused = refused
        return None


def _read_once(job: Job, targets: list[Target], opened: list[PointFile], scratch: Scratch | None) -> None:
    """Decide what the numbers are for each field, then give every chunk to every field it may fall on."""
    row = job.survey_row
    for target in targets:
        try:
            _decide(target, opened, row, scratch)
        except Refused as refused:
            away = refused.code == "misses_field" and row["fields"] == ("all",)
            target.refused = Refused("elsewhere", refused.reason) if away else refused
    colour = all(file.facts.has_rgb for file in opened)
    intensity = not colour and all(file.facts.has_intensity for file in opened)
    for file in opened:
        wanting = [t for t in targets if t.buckets and any(f is file for f, _ in t.references)]
        if not wanting:
            continue
        try:
            feed(file.chunks(want_rgb=colour, want_intensity=intensity), [t.buckets for t in wanting])
        except Refused as refused:
            for target in wanting:
                target.refused = refused


def _decide(target: Target, opened: list[PointFile], row, scratch: Scratch | None) -> None:
    """Reference and projection of every file that touches the field; all files of a survey share one reference."""
    grid = target.layout.grid
    place = lon_lat(read_crs(grid.crs), *target.layout.centre)
    missed: Refused | None = None
    for file in opened:
        reference = resolve(file.facts, stated(row), grid.crs, place)
        try:
            require_on_field(file.facts, reference, grid)
        except Refused as refused:
            missed = refused
            continue
        if target.references and _unlike(reference, target.references[0][1]):
            raise Refused("crs_disagrees", f"found files with different coordinates or height units behind {row['path']}; expected one kind. "
                          "Give each kind a row of its own.")  # fmt: skip
        target.references.append((file, reference))
    if not target.references:
        raise missed
    if row["source"] == "raster":
        _check_pixels(target)
    target.buckets = Buckets(grid, _projection(target), scratch)


def _unlike(one: Reference, other: Reference) -> bool:
    return one.crs != other.crs or one.z_factor != other.z_factor


def _projection(target: Target) -> Projection:
    return fit(target.references[0][1], target.layout.grid)


def _check_pixels(target: Target) -> None:
    from pipeline.coordinates import unit_m
    from pipeline.survey.cells.raster_cells import require_fine_enough

    for file, reference in target.references:
        require_fine_enough(max(file.facts.pixel) * unit_m(reference.crs), target.layout.grid.cell_m, file.facts.name)


def _gridded(job: Job, target: Target) -> tuple[dict, dict]:
    """The record and arrays of one field. Raises Refused."""
    if target.refused is not None:
        raise target.refused
    row, settings, grid = job.survey_row, job.settings.grid, target.layout.grid
    reference = target.references[0][1]
    classed = screened_by_maker(target, grid.cell_m)
    if row["source"] == "raster":
        ground, z, count, figures = _raster(target, row)
    else:
        made = grid_cloud(target.buckets, target.skin, screen=not classed)
        check_precision(made.steps, grid.cell_m, made.white_point_m)
        ground, z, count, figures = made.ground.whole(), made.z, made.points, _figures(made)
    seen = cover(count, z, target.skin, grid.cell_m, settings.points_per_cell_min)
    check_cover(seen, grid.cell_m, settings.cover_min_pct / 100, 0.0 if row["source"] == "raster" else settings.points_per_cell_min)
    on_skin = z[target.skin & np.isfinite(z)]
    check_heights(float(on_skin.min()), float(on_skin.max()), reference)
    notes = [n for _, r in target.references for n in r.notes] + [n for f, _ in target.references for n in f.tally.remarks(f.facts.name)]
    if remark := classed_remark(grid.cell_m) if classed else screen_remark(figures["steep_share"]):
        notes.append(remark)
    for file, _ in target.references:
        for reason, n in file.tally.removed().items():
            figures["removed"][reason] = figures["removed"].get(reason, 0) + n
    record = {
        "verdict": "ok", "source": row["source"], "z_factor": reference.z_factor, "height_reference": reference.height_reference,
        "sideways_m": reference.sideways_m, "notes": list(dict.fromkeys(notes)), "covered_share": seen.covered_share,
        "points_median": seen.points_median, "points_ground": len(ground), **figures,
    }  # fmt: skip
    return record, _columns(ground)


def screened_by_maker(target: Target, cell_m: float) -> bool:
    """Whether the points are taken as they are: all classed as ground, on cells wider than what the screen looks at.

    Its bands are made for blocks of BLOCK_M. On wider cells it would hold bumps and banks of real ground for objects.
    """
    return cell_m > BLOCK_M and all(file.tally.ground_only for file, _ in target.references)


def _figures(made: Gridded) -> dict:
    return {
        "points_read": made.points_read - made.removed.get("outside", 0), "removed": {k: v for k, v in made.removed.items() if v},
        "white_point_m": made.white_point_m, "steep_share": made.steep_share,
        "steps_m": [made.steps.x_m, made.steps.y_m, made.steps.z_m],
    }  # fmt: skip


def _raster(target: Target, row) -> tuple[Ground, np.ndarray, np.ndarray, dict]:
    """A raster's pixels are taken as they are: whoever made it has screened it or has not."""
    from pipeline.survey.cells.gridding import GroundPoints
    from pipeline.survey.cells.raster_cells import means

    buckets = target.buckets
    held = np.array([len(buckets.tile(t)[0]) for t in range(buckets.tiling.count)])
    ground = GroundPoints(buckets, held).whole()
    z, count = means(ground, target.layout.grid)
    read = buckets.points_read - buckets.removed.get("outside", 0)
    return ground, z, count, {"points_read": read, "removed": {}, "white_point_m": row["sigma_mm"] / 1000, "steep_share": float("nan"),
                              "steps_m": [float("nan")] * 3}  # fmt: skip


def _columns(ground: Ground) -> dict[str, np.ndarray]:
    out = {"x": ground.x, "y": ground.y, "z": ground.z, "z0": np.float64(ground.z0)}
    return out | {k: v for k, v in (("rgb", ground.rgb), ("intensity", ground.intensity)) if v is not None}


def _write(folder: Path, layout: Layout, record: dict, kept: dict[str, np.ndarray]) -> None:
    arrays.write(folder / f"{layout.field_id}.npz", record, **kept)
