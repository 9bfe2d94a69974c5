"""history: one field over all its surveys: tables, cube, GeoPackage, and where each figure came from."""

from __future__ import annotations

from pipeline.diamond.carry import from_plain
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps import surveyed
from pipeline.steps.change_spots import found_ponds
from pipeline.steps.history_forecast import forecasts
from pipeline.steps.history_grass import grass_features, grass_of, grass_rows
from pipeline.steps.history_layers import COLUMNS, layers, patches_of_weeds
from pipeline.steps.history_trend import trends
from pipeline.steps.history_works import works_of
from pipeline.store import arrays, cube, rasters, records, tables, vectors
from pipeline.store.provenance import versions
from pipeline.store.where import Where
from pipeline.variables import FIELD_TABLES

OLDEST = "1970-01-01"


def run(job: Job, where: Where) -> None:
    """Gather what the surveys and pairs of the field gave, and write it in the forms readers take."""
    layout = from_plain(records.read(where.layout(job.field)))
    ids = [r["survey_id"] for r in job.rows["surveys"]]
    surveys = {s: surveyed.read_record(where, job.field, s) for s in ids}
    shown = {s: r for s, r in surveys.items() if r["reason_code"] != "elsewhere"}
    kept = [s for s, r in shown.items() if r["verdict"] != "refused"]
    measured = {s: arrays.read_record(where.measured(job.field, s)) for s in kept}
    changed = records.read(where.changed(job.field))
    rows = {
        "survey_quality": [_quality(r) for r in shown.values()],
        "lip": [{"survey_id": s, **row} for s in kept for row in measured[s]["lip"]],
        "lip_change": changed["lip_change"],
        "low_spots": _low_spots(where, layout, kept, measured),
        "low_spot_change": changed["low_spot_change"],
        "zones": [{"survey_id": s, **row} for s in kept for row in measured[s]["zones"]],
        "mix_depth": [{"survey_id": s, **row} for s in kept for row in measured[s]["mix_depth"]],
        "change": changed["change"],
        "rulebook": [{"survey_id": s, **row} for s in kept for row in measured[s]["rulebook"]],
        "balance": changed["balance"],
    }
    grass, weeds = {}, []
    for made in (surveyed.read(where, layout, s) for s in kept):  # one at a time: a survey's points are many
        grass[made.survey_id] = grass_of(made)
        weeds += patches_of_weeds(layout, made)
    rows["grass_edge"] = grass_rows(layout, grass, surveys[kept[0]]["baseline"] if kept else "")
    used = {s: surveys[s] for s in kept}
    rows["trend"] = trends(job, used, rows, changed["pairs"])
    rows["forecast"] = forecasts(job, used, rows, changed["pairs"])
    lengths = {e.edge_id: e.length_m for e in surveyed.edges_used(where, layout, kept)}
    worked, work_records = works_of(job, where, layout, used, rows, changed["pairs"], lengths)
    rows |= worked
    records.write(where.worked(job.field), work_records)
    for name in FIELD_TABLES:
        tables.write(where.table(job.field, name), name, rows[name])
    about = _about(job, shown)
    newest = max((shown[s]["flown_on"] for s in kept), default=OLDEST)
    _write_cube(job, where, layout, kept, shown, about)
    vectors.write(where.vectors(job.field), layers(where, layout, kept, rows, surveys, grass_features(grass, rows["grass_edge"]), weeds, arrays.read_record(where.graded(job.field))), COLUMNS, layout.grid.crs, newest, about)
    records.write(where.provenance(job.field), {**about, "pairs": changed["pairs"], "moved_patches": changed["moved_patches"], "files": sorted(f"{n}.csv" for n in FIELD_TABLES)})


def _quality(record: dict) -> dict:
    figures = record.get("figures", {})
    names = ("points_read", "points_ground", "covered_pct", "tie_shift_mm", "tie_shift_sigma_mm", "tie_residual_mm", "surface_sigma_mm",
             "checkpoints", "checkpoint_mean_mm", "checkpoint_rmse_mm")  # fmt: skip
    if record["verdict"] == "relative_only":  # a shape alone has no height to be raised by
        names = tuple(n for n in names if not n.startswith("tie_shift"))
    return {
        "survey_id": record["survey_id"], "flown_on": record["flown_on"], **{n: figures.get(n) for n in names},
        "tie_model": record.get("tie", {}).get("model"), "verdict": record["verdict"], "reason": record["reason"],
    }  # fmt: skip


def _low_spots(where: Where, layout: Layout, kept: list[str], measured: dict[str, dict]) -> list[dict]:
    """Declared places, and found ponds under the id they have over all dates."""
    ponds = found_ponds(where, layout, kept)
    out = []
    for survey in kept:
        found = set(measured[survey]["ponds"])
        rows = [r for r in measured[survey]["low_spots"] if r["low_spot_id"] not in found]
        rows += [{**row, "low_spot_id": name} for name, (row, _) in ponds[survey].items()]
        out += [{"survey_id": survey, **{k: v for k, v in r.items() if k != "evidence"}} for r in rows]
    return out


def _about(job: Job, surveys: dict[str, dict]) -> dict:
    """What the field's results were made from and with. No clock, no path of this machine."""
    return {
        "field_id": job.field, "versions": versions(), "settings": job.handed,
        "inputs": {s: r.get("inputs", []) for s, r in surveys.items()},
    }  # fmt: skip


def _write_cube(job: Job, where: Where, layout: Layout, kept: list[str], surveys: dict, about: dict) -> None:
    stacks = {
        name: [rasters.read(where.raster(job.field, s, name), layout.grid) for s in kept] for name in ("elevation", "sigma", "count")
    }  # fmt: skip
    sums = ", ".join(f"{s} {i['sha256']}" for s in kept for i in about["inputs"][s])
    cube.write(where.cube(job.field), layout.grid, [str(surveys[s]["flown_on"]) for s in kept], kept, stacks,
               {"source": sums, "history": f"skinplane {about['versions']['skinplane']}", "field_id": job.field})  # fmt: skip


