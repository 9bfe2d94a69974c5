"""grade: designs of a field's surface from its newest survey, side by side, with what each costs."""

from __future__ import annotations

import numpy as np
import shapely

from pipeline.diamond.carry import from_plain
from pipeline.jobs import Job
from pipeline.steps import surveyed
from pipeline.steps.drawn import features_of, newest_day
from pipeline.steps.grade_cost import row_of
from pipeline.steps.grade_drawings import write_drawings
from pipeline.steps.grade_exports import write_exports
from pipeline.steps.grade_ground import GradeGround, ground_of, hollows_of
from pipeline.steps.grade_handoffs import WAYS, handoffs_of
from pipeline.steps.grade_moves import edge_hours, edge_work_of, filled_of, moves_of, works_since
from pipeline.steps.grade_passes import hauler, passes_of
from pipeline.steps.grade_wishes import wanted_of, wishes_of, worth_of
from pipeline.steps.spot_given import survey_error
from pipeline.store import arrays, rasters, records, tables
from pipeline.store.atomic import replacing_folder
from pipeline.store.where import Where
from pipeline.surface.verdict import SURE, WORK
from pipeline.works.design import TOUCH_UP, WHOLE_SKIN, Design
from pipeline.works.grading.programme import Unsolved
from pipeline.works.grading.touch_up import touched_up
from pipeline.works.grading.variants import Made, made
from pipeline.works.keep_outs import keep_outs_of
from pipeline.works.tape import sheet


def run(job: Job, where: Where) -> None:
    """Write quantities.csv, handoffs.csv, the rasters of the chosen design, and every design for the steps after."""
    layout = from_plain(records.read(where.layout(job.field)))
    kept = [r["survey_id"] for r in job.rows["surveys"] if surveyed.read_record(where, job.field, r["survey_id"])["verdict"] != "refused"]
    if not kept:
        _nothing(job, where, "no usable survey")
        return
    newest = kept[-1]
    seen = surveyed.read(where, layout, newest)
    measured = arrays.read_record(where.measured(job.field, newest))
    features = features_of(job, layout)
    kept_free = keep_outs_of(layout, features, newest_day(job))
    ground = ground_of(job, where, layout, seen, features, shapely.union_all([k.kept_free for k in kept_free]))
    wanted, asked = wanted_of(job, layout, ground.origin)
    wishes = wishes_of(job, layout, seen, features, ground, measured["lip"])
    hollows = hollows_of(measured["low_spots"], layout, SURE)
    worth, error = worth_of(job), survey_error(layout, seen)
    designs, rows, conflicts = {}, [], []
    filled, left = touched_up(ground.z, *layout.grid.mesh(), ground.workable, hollows)
    designs[TOUCH_UP] = Design(TOUCH_UP, layout.grid, ground.z, np.where(ground.workable, filled, np.nan))
    rows.append(row_of(job, seen, error, ground, designs[TOUCH_UP], None, _left(left, hollows)))
    for variant in WHOLE_SKIN:
        found = _made(variant, ground, wanted, wishes, worth)
        conflicts += [{"variant": variant, **vars(c)} for c in found.conflicts]
        if found.solved is not None:
            designs[variant] = Design(variant, layout.grid, ground.z, ground.raster(found))
        rows.append(row_of(job, seen, error, ground, designs.get(variant), found, found.reason or asked))
    chosen, why = _chosen(designs, measured, hollows)
    runs = passes_of(job, layout, kept_free, hollows)
    edge_work = edge_work_of(job, layout, measured["lip"], measured["low_spots"], hollows)
    handed, looked = handoffs_of(job, layout, seen, features, ground, designs, error, chosen)
    record = {
        "survey": newest, "flown_on": str(seen.record["flown_on"]), "reason": "", "chosen": chosen, "chosen_why": why, "variants": rows,
        "wishes": {"form": wanted.form, "fall_bearing_deg": wanted.bearing_deg, "slope_min_pct": _pct(wishes.least), "slope_max_pct": _pct(wishes.most)},
        "conflicts": conflicts, "no_depth_m2": ground.no_depth_m2, "depth_from": ground.depth_from, "probe_places": [list(p) for p in measured["cores_wanted"]],
        "left_out": list(left), "filled": filled_of(designs.get(chosen), hollows, next((r for r in rows if r["variant"] == chosen), None)), "keep_outs": sheet(layout, kept_free), "passes": runs, "relative": not seen.absolute,
        "hauls": moves_of(job, layout, designs.get(chosen), hauler(job.settings.machines)), "lip_work": edge_work, "lip_hours": edge_hours(job, edge_work),
        "works_since": works_since(job, str(seen.record["flown_on"])), "handoffs": handed, "handoffs_looked": looked,
        "access": [{"kind": f.role, "name": f.name, "e": f.geometry.centroid.x, "n": f.geometry.centroid.y} for f in features if f.role in WAYS],
    }  # fmt: skip
    columns = {f"design_{name}": d.design.astype(np.float64) for name, d in designs.items()}
    tables.write(where.table(job.field, "quantities"), "quantities", rows)
    tables.write(where.table(job.field, "handoffs"), "handoffs", handed)
    with replacing_folder(where.grade(job.field)) as folder:
        if chosen:
            tags = {"survey": newest, "variant": chosen}
            rasters.write(folder / "design.tif", "design", designs[chosen].design, layout.grid, tags)
            made_stakes = write_exports(folder, job, layout, designs[chosen], hollows, kept_free, seen.record)
            record["stakes"] = [s.plain() for s in made_stakes]
            record["control_left_out"] = write_drawings(folder, job, layout, designs[chosen], hollows, kept_free, record["passes"]["runs"], made_stakes, seen.record)
            rasters.write(folder / "cut_fill.tif", "cut_fill", designs[chosen].cut_fill, layout.grid, tags)
        if edge_work:
            tables.write(folder / "lip_work.csv", "lip_work", edge_work)
        arrays.write(where.graded(job.field), record, existing=ground.z, **columns)


def _nothing(job: Job, where: Where, reason: str) -> None:
    for name in ("quantities", "handoffs"):
        tables.write(where.table(job.field, name), name, [])
    with replacing_folder(where.grade(job.field)):
        arrays.write(where.graded(job.field), {"survey": "", "reason": reason, "chosen": "", "variants": [], "conflicts": [], "probe_places": []})


def _made(variant: str, ground: GradeGround, wanted, wishes, worth) -> Made:
    try:
        return made(variant, ground.cells, wanted, wishes, worth)
    except (Unsolved, ValueError) as error:
        return Made(variant, None, None, (), str(error))


def _left(left: tuple[str, ...], hollows) -> str:
    if not hollows:
        return "no low spot is surely over the tolerance: nothing to fill"
    return "" if not left else "not enough sound ground around: " + ", ".join(left)


def _chosen(designs: dict[str, Design], measured: dict, hollows) -> tuple[str, str]:
    """What the crew works to: the whole skin where its evenness or fall asks for work, else its low spots alone."""
    skin = next((z for z in measured["zones"] if z["zone"] == "skin"), None)
    uneven = skin is not None and WORK in (skin.get("verdict"), skin.get("straightedge_verdict"))
    if uneven:
        chosen = next((v for v in WHOLE_SKIN if v in designs), "")
        return chosen, "skin" if chosen else "no_design"
    return (TOUCH_UP, "low_spots") if hollows else ("", "nothing_over")


def _pct(slope: float | None) -> float | None:
    return None if slope is None else 100 * slope
