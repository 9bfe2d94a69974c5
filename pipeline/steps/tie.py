"""tie: one survey of one field, laid onto the baseline's edges, gridded once, tied to stable ground."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.diamond.carry import from_plain
from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.errors import Refused
from pipeline.jobs import Job
from pipeline.steps import gridded, surveyed
from pipeline.steps.checked import checkpoints
from pipeline.steps.gridded import Survey
from pipeline.steps.surveyed import Surveyed
from pipeline.steps.tie_plants import plants_on
from pipeline.steps.tie_record import refusal, tied
from pipeline.store import rasters, records
from pipeline.store.atomic import replacing_folder
from pipeline.store.where import Where
from pipeline.surface.lip import LINE_SIGMA_M
from pipeline.survey.cells.gridding import regrid
from pipeline.survey.edges.edge_fit import fit_edge
from pipeline.survey.edges.edge_table import EdgeTable, edge_table, foreign_cells
from pipeline.survey.edges.horizontal import Shift
from pipeline.survey.edges.registration import register
from pipeline.survey.noise import Noise, of_difference
from pipeline.survey.points import Ground
from pipeline.survey.reading.reference import same_height_reference
from pipeline.survey.stable.jump import refuse_jump
from pipeline.survey.stable.misfit import misfits
from pipeline.survey.stable.patches import PatchHeight, footprints, height_from_ground
from pipeline.survey.stable.uncertainty import TieOnGrid, Uncertainty
from pipeline.survey.walks.tin import between_rows, tin_raster


def run(job: Job, where: Where) -> None:
    """Write the survey's folder (elevation, sigma, count and record, or the refusal alone) and what later steps need."""
    layout = from_plain(records.read(where.layout(job.field)))
    found = gridded.record(where, job.survey, job.field)
    base_id = next((s for s in job.order if gridded.record(where, s, job.field)["verdict"] == "ok"), job.survey)
    try:
        if found["verdict"] == "refused":
            raise Refused(found["reason_code"], found["reason"])
        mine = gridded.survey(where, job.survey, layout)
        base = mine if base_id == job.survey else gridded.survey(where, base_id, layout)
        _write(job, where, layout, mine, base, base_id)
    except Refused as refused:
        record = refusal(job, found, refused)
        with replacing_folder(where.survey(job.field, job.survey)) as folder:
            records.write(folder / "survey.json", record)
        surveyed.write_refused(where.tied(job.field, job.survey), record)


def _write(job: Job, where: Where, layout: Layout, mine: Survey, base: Survey, base_id: str) -> None:
    _refuse_other_heights((base_id, base), (job.survey, mine))
    edges, line_sigmas = series_edges(layout, base.ground)
    shift, ground, tables = _laid_on(layout, edges, mine, base)
    z, white, count, cell_noise = _heights(layout, ground, mine)
    found = plants_on(layout, edges, ground, z, mine.record["source"])
    heights, base_heights = (_patch_heights(layout, g, s.white_m) for g, s in ((ground, mine), (base.ground, base)))
    made = Surveyed({"survey_id": job.survey}, base_id, z, white, count, mine.noise, cell_noise, edges, line_sigmas, tables, heights,
                    base_heights, base.noise, shift.sigma_m, ground if mine.record["source"] == "rover" else None, found)  # fmt: skip
    if base_id != job.survey:
        _refuse_jump(layout, made)
    tie = made.tie(layout)
    on_grid = TieOnGrid(tie, layout.grid)
    elevation = z - on_grid.value
    sigma = np.where(np.isfinite(z), Uncertainty(layout.grid, cell_noise, white, on_grid).sigma, np.nan)
    record = tied(job, layout, mine, made, tie, shift, sigma, checkpoints(job, layout, ground, on_grid, mine))
    tags = {"inputs": ", ".join(i["sha256"] for i in record["inputs"]), "baseline": base_id}
    with replacing_folder(where.survey(job.field, job.survey)) as folder:
        for name, values in (("elevation", elevation), ("sigma", sigma), ("count", count)):
            rasters.write(folder / f"{name}.tif", name, values, layout.grid, tags)
        records.write(folder / "survey.json", record)
    surveyed.write(where.tied(job.field, job.survey), replace(made, record=record, z=np.where(found.cells, np.nan, z)))


def _refuse_other_heights(*dated: tuple[str, Survey]) -> None:
    """Raise Refused where two surveys count their heights from different surfaces, as far as tables or files say."""
    problem = same_height_reference((name, survey.record["height_reference"]) for name, survey in dated)
    if problem:
        raise Refused("height_reference_disagrees", problem)


def series_edges(layout: Layout, ground: Ground) -> tuple[tuple[Edge, ...], tuple[float, ...]]:
    """The lines a field's whole series is measured along, and one s.d. of each, m.

    Heights are read along where the baseline shows the grass begin, whoever drew the edge; a drawn edge keeps its name
    and word. Where nothing tells grass from skin the given line stands.
    """
    fits = [fit_edge(ground, e) for e in layout.edges]
    edges = tuple(Edge(f.edge.edge_id, f.measured.line, f.measured.grass_left, f.edge.source) for f in fits)
    sigmas = tuple(float(np.nanmedian(f.sigma_m)) if np.isfinite(f.sigma_m).any() else LINE_SIGMA_M for f in fits)
    return edges, sigmas


def _laid_on(layout: Layout, edges: tuple[Edge, ...], mine: Survey, base: Survey) -> tuple[Shift, Ground, tuple[EdgeTable, ...]]:
    """The survey moved sideways onto the baseline's edges, and its tables along them."""
    foreign = [foreign_cells(e, list(edges), layout.skin, layout.ignore) for e in edges]
    own = tuple(edge_table(mine.ground, e, f) for e, f in zip(edges, foreign))
    if base is mine:
        return Shift(0.0, 0.0, 0.0, True, "the baseline is the reference", 0, 0.0), mine.ground, own
    declared = float(np.hypot(mine.noise.horizontal_m, base.noise.horizontal_m))
    if mine.record["source"] == "rover":
        return Shift(0.0, 0.0, declared, False, "a walk shows no edge sharply enough", 0, 0.0), mine.ground, own
    reference = [edge_table(base.ground, e, f) for e, f in zip(edges, foreign)]
    shift, ground, tables = register(mine.ground, list(edges), foreign, reference, declared)
    return shift, ground, tuple(tables)


def _heights(layout: Layout, ground: Ground, mine: Survey) -> tuple[np.ndarray, np.ndarray, np.ndarray, Noise]:
    """Height, own error and count of each cell, (ny, nx), and the error model they share."""
    if mine.record["source"] == "rover":
        raster = tin_raster(ground, layout.grid, mine.white_m)
        noise, own = between_rows(raster, layout.grid.mask(layout.skin), mine.noise)
        return raster.surface.z, own, raster.surface.count, noise
    if mine.record["source"] == "raster":
        from pipeline.survey.cells.raster_cells import means

        z, count = means(ground, layout.grid)
        return z, np.where(np.isfinite(z), mine.white_m, np.nan), count, mine.noise
    made = regrid(ground, layout.grid, layout.grid.mask(layout.skin), steps=mine.steps)
    return made.z, made.white, made.count, mine.noise


def _patch_heights(layout: Layout, ground: Ground, white_m: float) -> dict[str, PatchHeight]:
    return {f.patch_id: height_from_ground(ground, f, white_m) for f in footprints(layout)}


def _refuse_jump(layout: Layout, made: Surveyed) -> None:
    """Raise Refused where stable ground stands decimetres off the baseline's."""
    found = misfits(footprints(layout), made.base_heights, made.heights, of_difference(made.base_noise, made.noise))
    refuse_jump(np.array([m.earlier_m for m in found]), np.array([m.later_m for m in found]), [m.patch.patch_id for m in found])
