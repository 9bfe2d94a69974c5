"""bid: a package to ask contractors with, for a field that the owner has pinned to a laser grade in a year."""

from __future__ import annotations

import math

import numpy as np

from pipeline.coordinates import read_crs, unit_m
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.report.papers.bid import bid, price_rows
from pipeline.report.field_page import sayer_of
from pipeline.steps import control_points
from pipeline.steps.drawn import features_of, newest_day
from pipeline.steps.grade_drawings import write_drawings
from pipeline.steps.grade_exports import write_exports
from pipeline.steps.report import read
from pipeline.steps.spoken import to_readers
from pipeline.store import arrays, pages, pdf, rasters, tracks
from pipeline.store.atomic import replacing_folder
from pipeline.store.where import Where
from pipeline.survey.plane import fit_plane
from pipeline.works.bid_items import items
from pipeline.works.control_ring import ring
from pipeline.works.design import LASER_PLANE, Design
from pipeline.works.grading.variants import FREE, PLANE
from pipeline.works.hand_levels import FEWEST
from pipeline.works.handoffs import LOWER, RAISE
from pipeline.works.keep_outs import ANCHOR, PLATE as PLATE_KIND, keep_outs_of

CHECKPOINT = "checkpoint"  # a place of one day on the skin holds no height for a machine


def run(job: Job, where: Where) -> None:
    """Write `bid.pdf`, `prices.csv`, and the laser design's exports in a folder; where there is no such design a line that says why."""
    year, words, given = int(job.order[0]), to_readers(job.settings), read(job, where)
    record, layout = given.designs, given.layout
    row = next((v for v in record.get("variants", ()) if v["variant"] == LASER_PLANE), None)
    with replacing_folder(where.bid(year, job.field)) as folder:
        if row is None or not row["feasible"]:
            pages.note(folder / "no_bid.txt", words("bid_none", why=(row or record)["reason"] or words("no_usable_survey")))
            return
        kept = arrays.read(where.graded(job.field), "existing", f"design_{LASER_PLANE}")
        design = Design(LASER_PLANE, layout.grid, kept["existing"], kept[f"design_{LASER_PLANE}"])
        keep_outs = keep_outs_of(layout, features_of(job, layout), newest_day(job))
        survey = given.records[record["survey"]]
        write_exports(folder, job, layout, design, (), keep_outs, survey)
        write_drawings(folder, job, layout, design, (), keep_outs, (), (), survey)
        tags = {"survey": record["survey"], "variant": LASER_PLANE}
        rasters.write(folder / "design.tif", "design", design.design, layout.grid, tags)
        rasters.write(folder / "cut_fill.tif", "cut_fill", design.cut_fill, layout.grid, tags)
        control = [c for c in control_points.carried(job, layout)[0] if c["kind"] != CHECKPOINT]
        control_points.write(folder, control)
        graded = np.isfinite(design.design)
        priced = items(row, record["lip_work"], max(layout.skin.area - row["graded_m2"], 0.0), len({(k["kind"], k["name"]) for k in record["keep_outs"]}), _levels(job), _set_anew(record), _plates(record))
        paper = bid(given, year, priced, ring(layout.skin, [c["at"] for c in control]), control, _fall(record, design, graded), _off_control(job, layout, given.elevation, record["survey"]), words)
        pdf.write(folder / "bid.pdf", "papers/paper.typ", paper.plain(pages.style()), paper.day)
        tracks.write_rows(folder / "prices.csv", *price_rows(priced, sayer_of(layout, given.tables, job.settings, words)))


def _fall(record: dict, design: Design, graded: np.ndarray) -> dict:
    """The wanted form, and of one plane how much it falls and where to."""
    form = record["wishes"]["form"]
    if form not in (PLANE, FREE):
        return {"form": form}
    e, n = design.grid.mesh()
    plane = fit_plane(e[graded], n[graded], design.design[graded])
    return {"form": PLANE, "slope_pct": 100 * plane.slope, "bearing_deg": math.degrees(math.atan2(-plane.b, -plane.c)) % 360}


def _set_anew(record: dict) -> int:
    """Heads and boxes that the laser design wants raised or lowered."""
    return sum(r["variant"] == LASER_PLANE and r["verdict"] in (RAISE, LOWER) for r in record.get("handoffs", ()))


def _plates(record: dict) -> int:
    """Anchors and plates, which are set to the new ground where it moves."""
    return len({k["name"] for k in record["keep_outs"] if k["kind"] in (ANCHOR, PLATE_KIND)})


def _levels(job: Job) -> int | None:
    """Hand levels, never fewer than are drawn."""
    asked = job.settings.acceptance.of("hand_levels")
    return None if asked is None else max(int(asked), FEWEST)


def _off_control(job: Job, layout: Layout, elevation: np.ndarray | None, survey: str) -> dict | None:
    """How far the design's heights stand off the levelled checkpoints of its survey, m, one s.d. of the mean, and how many; None
    without any in the survey's own reference of heights."""
    row = next(r for r in job.rows["surveys"] if r["survey_id"] == survey)
    named, reference = set(row.get("checkpoints", ())), row.get("height_reference")
    points = [c for c in control_points.carried(job, layout)[0] if c["point_id"] in named and c["height_reference"] == str(reference)]
    if elevation is None or not points:
        return None
    metres = unit_m(read_crs(job.field_row["crs"]))
    e, n = np.array([c["at"] for c in points]).T
    rows, cols = layout.grid.rows_cols(e, n)
    inside = (rows >= 0) & (rows < layout.grid.ny) & (cols >= 0) & (cols < layout.grid.nx)
    off = elevation[rows[inside].astype(int), cols[inside].astype(int)] - metres * np.array([float(c["height"]) for c in points])[inside]
    off = off[np.isfinite(off)]
    if len(off) < 2:
        return None
    return {"off_m": float(off.mean()), "sigma_m": float(off.std(ddof=1) / len(off) ** 0.5), "points": len(off)}
