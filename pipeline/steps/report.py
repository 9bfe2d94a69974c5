"""report: the page of one field, from everything the steps before left of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Iterator

import numpy as np
from shapely import Polygon

from pipeline.diamond.carry import from_plain
from pipeline.jobs import SEEN, Job
from pipeline.report.field_input import FieldInput
from pipeline.report import palette
from pipeline.report.field_page import field_page, sayer_of
from pipeline.report.findings import LIP
from pipeline.report.layer_styles import STYLES
from pipeline.report.overview import FieldSeen, portfolio_row
from pipeline.report.papers.crew import papers
from pipeline.report.since import Today, since_block
from pipeline.report.standing import Standing, leading
from pipeline.report.two_dates import Surface, kept_dates
from pipeline.report.words import Words
from pipeline.report.papers.work_record import work_record
from pipeline.report.works_block import told_works
from pipeline.steps import surveyed
from pipeline.steps.by_hand import in_metres
from pipeline.steps.history_layers import patches_of_weeds
from pipeline.steps.since import all_issues, handed_on, made_today
from pipeline.steps.spoken import to_crew, to_readers
from pipeline.steps.surveyed import Surveyed
from pipeline.store import arrays, files, issued, pages, pdf, rasters, records, styles, tables
from pipeline.store.atomic import replacing_folder
from pipeline.store.where import Where
from pipeline.surface.lip_profile import Profile, profile
from pipeline.surface.lip_shape import freeze
from pipeline.surface.puddles import Puddle, drawn_at
from pipeline.surface.verdict import UNSAFE, WORK
from pipeline.tables import Read
from pipeline.variables import FIELD_TABLES

ROUND_M = 0.10
REFERENCE = "reference"  # the tie of a baseline


def run(job: Job, where: Where) -> None:
    """Read the field's tables, records and the rasters of its newest surveys; write its page, its work package and its keep-out sheet."""
    given, readers, words, style = read(job, where), to_readers(job.settings), to_crew(job.settings), pages.style()
    given = replace(given, since=since_of(job, where, given, readers))
    pages.write(where.report(job.field), "field.html", field_page(given, readers))
    with replacing_folder(where.styles(job.field)) as folder:
        write_styles(folder)
    package, sheet = papers(given, words)
    for name, paper in (("work_package.pdf", package), ("keep_out.pdf", sheet)):
        pdf.write(where.paper(job.field, name), "papers/paper.typ", paper.plain(style), paper.day)
    _write_records(given, where, words, style)
    pages.write(where.paper(job.field, "work_package.html"), "papers/paper.html", {
        "paper": package, "colours": palette.css(), "back": words("paper_back"), "pdf": "work_package.pdf", "as_pdf": words("paper_as_pdf"),
    })  # fmt: skip


def since_of(job: Job, where: Where, given: FieldInput, words: Words) -> dict:
    """What is new and revised since the field's page was last handed on; empty where it never was."""
    last = issued.newest(all_issues(job), job.field)
    if last is None:
        return {}
    then, settings = handed_on(last, job.field, where.report(job.field)), job.settings
    sayer, plain = (sayer_of(given.layout, given.tables, s, words) for s in (settings, settings.model_copy(update={"units": "metric"})))
    seen = FieldSeen(job.field, given.name, given.row.get("site", ""), given.standing, given.tables, sayer, plain, settings.material)
    return since_block(then, Today(given.tables, portfolio_row(seen), given.standing, given.works, made_today(job, where, job.field, given.tables)), sayer)


def _write_records(given: FieldInput, where: Where, words: Words, style: str) -> None:
    """A sheet for each work with a survey on both sides; an empty folder where there is none."""
    with replacing_folder(where.work_records(given.field_id)) as folder:
        for record in told_works(given):
            pair = [where.change(given.field_id, record["before"]["survey_id"], record["after"]["survey_id"], name) for name in ("change", "detected")]
            seen = tuple(rasters.read(p, given.layout.grid) for p in pair) if all(files.named(".", p) for p in pair) else None
            paper = work_record(given, record, seen, words)
            pdf.write(folder / f"{record['work_id']}.pdf", "papers/paper.typ", paper.plain(style), paper.day)


def write_styles(folder: Path) -> None:
    """One style a layer of the field's GeoPackage."""
    for layer, rules in STYLES.items():
        styles.write(folder / f"{layer}.sld", layer, rules)


def read(job: Job, where: Where) -> FieldInput:
    layout = from_plain(records.read(where.layout(job.field)))
    rows = {name: tables.read(where.table(job.field, name), name) for name in FIELD_TABLES}
    known = {r["survey_id"] for r in rows["survey_quality"]}
    ids = [r["survey_id"] for r in job.rows["surveys"] if r["survey_id"] in known]
    kept = usable(rows["survey_quality"], ids)
    elevation = rasters.read(where.raster(job.field, kept[-1], "elevation"), layout.grid) if kept else None
    change = detected = None
    if len(kept) > 1:
        change, detected = (rasters.read(where.change(job.field, *kept[-2:], name), layout.grid) for name in ("change", "detected"))
    measured = arrays.read_record(where.measured(job.field, kept[-1])) if kept else {}
    given = FieldInput(
        job.field_row, job.rows["surveys"], job.rows["works"], job.rows["walks"], in_metres((r for r in job.rows["readings"] if r["kind"] in SEEN), job.field_row["crs"]), job.settings, layout,
        surveyed.edges_used(where, layout, kept), rows, {s: records.read(where.record(job.field, s)) for s in ids}, records.read(where.provenance(job.field)),
        measured.get("readings_wanted", {}), elevation, change, detected,
        standing_water=arrays.read(where.measured(job.field, kept[-1]), "standing")["standing"] if kept else None,
        designs=arrays.read_record(where.graded(job.field)), worked=records.read(where.worked(job.field)), water_paths=measured.get("paths", ()), string_places=measured.get("string_places", ()),
    )  # fmt: skip
    return replace(_with_newest(given, where, measured, kept[-1]), puddles=tuple(_puddles(given, where))) if kept else given


def _with_newest(given: FieldInput, where: Where, measured: dict, survey: str) -> FieldInput:
    """What the newest survey alone gives: patches of weeds, the mix on its day, cross-sections of its edges."""
    layout, made = given.layout, surveyed.read(where, given.layout, survey)
    patches = tuple(_drawn(w["geometry"]) for w in patches_of_weeds(layout, made))
    depth, sigma = (rasters.read(f"{where.surface(layout.field_id, survey)}/{name}.tif", layout.grid) for name in ("mix_depth", "mix_depth_sigma"))
    return replace(
        given, weeds=tuple(p for p in patches if not p.is_empty), mix_depth=depth, mix_sigma=sigma, cores=tuple(measured["cores"]),
        cores_wanted=tuple((e, n) for e, n in measured["cores_wanted"]), profiles=tuple(profiles(made, given.standing)), surfaces=tuple(_surfaces(given, where)),
    )  # fmt: skip


def _puddles(given: FieldInput, where: Where) -> Iterator[Puddle]:
    """Every puddle that was seen after some survey, held against the newest one by then."""
    floods: dict[str, np.ndarray] = {}
    for r in given.readings:
        spot = spot_of(given, r) if r["kind"] == "seen" and r["value"] == "puddle" else None
        before = [s.survey_id for s in given.standing.surveys if str(s.flown_on) <= str(r["read_on"])]
        if spot is None or not before:
            continue
        survey = before[-1]
        if survey not in floods:
            floods[survey] = arrays.read(where.measured(given.field_id, survey), "standing")["standing"]
        yield Puddle(str(r["read_on"]), r.get("place") or r.get("edge_id") or "", *spot, survey, drawn_at(floods[survey], given.layout.grid, *spot))


def spot_of(given: FieldInput, reading: Read) -> tuple[float, float] | None:
    """Where a reading was taken, m; None where it does not say."""
    if reading.get("e") is not None and reading.get("n") is not None:
        return reading["e"], reading["n"]
    edge = next((e for e in given.edges if e.edge_id == reading.get("edge_id")), None)
    if edge is not None and reading.get("station_m") is not None:
        return tuple(float(v) for v in edge.at(np.array(reading["station_m"])))
    place = next((p for p in given.layout.places if p.place_id == reading.get("place")), None)
    return (place.e, place.n) if place is not None else None


def _surfaces(given: FieldInput, where: Where) -> Iterator[Surface]:
    """What the page lets one compare: the newest dates and the baseline."""
    quality, grid, shown = {r["survey_id"]: r for r in given.tables["survey_quality"]}, given.layout.grid, given.standing.surveys
    baseline = next((r["survey_id"] for r in given.tables["survey_quality"] if r["tie_model"] == REFERENCE), None)
    days = {s.survey_id: s.flown_on for s in shown}
    for survey in kept_dates(list(days), baseline):
        z, sigma = (rasters.read(where.raster(given.field_id, survey, name), grid) for name in ("elevation", "sigma"))
        yield Surface(survey, str(days[survey]), z, sigma, quality[survey]["tie_shift_sigma_mm"])


def _drawn(patch: Polygon) -> Polygon:
    """A patch as it is drawn: without the steps of its cells."""
    return patch.buffer(ROUND_M).buffer(-2 * ROUND_M).buffer(ROUND_M).simplify(ROUND_M / 3)


def profiles(made: Surveyed, now: Standing) -> Iterator[Profile]:
    """Cross-sections of the newest survey at the highest station of each stretch of lip over a limit."""
    wanted = [f for f in leading(now, (UNSAFE, WORK)) if f.kind == LIP and f.row["station_m"] is not None]
    known = {t.edge_id: (t, freeze(t)) for t in made.tables if t.edge_id in {f.place_id for f in wanted}}
    for f in wanted:
        seen = profile(*known[f.place_id], f.row["station_m"])
        if seen is not None:
            yield seen


def usable(quality: list[dict], order: list[str]) -> list[str]:
    """The surveys that were not refused, in order."""
    verdict = {r["survey_id"]: r["verdict"] for r in quality}
    return [s for s in order if verdict.get(s, "refused") != "refused"]
