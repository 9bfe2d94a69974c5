"""What is carried where on one design, and the work along the grass edge, as plain values."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict
from typing import Mapping, Sequence

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.surface.filling import SURE
from pipeline.surface.stretches import LIP
from pipeline.works.design import TOUCH_UP, Design
from pipeline.works.grading.touch_up import Hollow
from pipeline.works.hauls import Figures, hauls_of
from pipeline.works.lip_work import Spot, lip_work

MM_PER_M = 1000.0
MOVES = ("level", "mix_add", "laser_grade", "rebuild", "lip_cut", "sod", "edge_recut")  # work after which a survey's heights are old


def moves_of(job: Job, layout: Layout, design: Design | None, machine: str) -> dict:
    """The transport plan of a design: lines in their order, what they rest on, and what the owner has not stated.

    machine : name of the settings' machine that cuts and carries
    """
    if design is None:
        return {"machine": machine, "lines": [], "reason": "no design"}
    material, found = job.settings.material, job.settings.machines.get(machine)
    load, deepest = (None if found is None or getattr(found, n) is None else getattr(found, n).value for n in ("blade_load_m3", "max_cut_mm"))
    loose, placed = material.of("loose_t_per_m3"), material.of("placed_t_per_m3")
    figures = Figures(material.of("cut_fill_ratio") or 1.0, placed / loose if placed and loose else None, load or None, deepest / MM_PER_M if deepest else None)
    asked = {
        "material.cut_fill_ratio": material.of("cut_fill_ratio"), "material.loose_t_per_m3": loose, "material.placed_t_per_m3": placed,
        "machines.blade_load_m3": load, "machines.max_cut_mm": deepest,
    }  # fmt: skip
    lacking = ", ".join(name for name, value in asked.items() if not value)
    return {"machine": machine, "lines": [asdict(h) for h in hauls_of(design, layout.skin, figures)], "reason": f"not stated: {lacking}" if lacking else ""}


def edge_work_of(job: Job, layout: Layout, lip: Sequence[dict], spots: Sequence[dict], hollows: Sequence[Hollow]) -> list[dict]:
    """Rows of lip_work.csv; none where the owner set no tolerance for lips.

    lip, spots : one survey's rows of lip.csv and low_spots.csv; hollows: the low spots that are to be filled
    """
    tolerances = job.settings.tolerances
    need = {s["low_spot_id"]: s["volume_m3"] for s in spots}
    wanted = [Spot(h.name, h.e, h.n, float("nan") if need.get(h.name) is None else need[h.name]) for h in hollows]
    lengths = {e.edge_id: e.length_m for e in layout.edges}
    rows = [{k: _none(v) for k, v in r.items()} for r in lip]
    return [asdict(w) for w in lip_work(rows, tolerances.of("lip_mm", job.field), tolerances.of("lip_trip_mm", job.field), wanted, lengths)]


def _none(value):
    return None if isinstance(value, float) and value != value else value


def edge_hours(job: Job, rows: Sequence[Mapping]) -> float | None:
    """Crew hours to take the lips off, by the owner's figures; None where there are none or a contractor does it."""
    cost = job.settings.costs.get("lip_cut")
    metres = sum(r["length_m"] for r in rows if r["kind"] == LIP)
    each = None if cost is None or cost.by == "contractor" else cost.of("hours_per_m")
    return None if not metres or each is None else (cost.of("hours_fixed") or 0.0) + each * metres


def filled_of(design: Design | None, hollows: Sequence[Hollow], row: Mapping | None) -> list[dict]:
    """What each low spot of a design that only fills takes: volume in place, tonnes and their s.d., each cell to its nearest spot.

    row : the design's row of quantities.csv; its s.d. is shared out by volume, all spots erring alike
    """
    if design is None or design.variant != TOUCH_UP or row is None or not hollows:
        return []
    e, n = design.grid.mesh()
    put_on = np.nan_to_num(np.maximum(design.cut_fill, 0.0))
    nearest = np.argmin([np.hypot(e - h.e, n - h.n) for h in hollows], axis=0)
    volumes = [float(put_on[nearest == k].sum() * design.grid.cell_area_m2) for k in range(len(hollows))]
    all_of, tonnes = sum(volumes), row["mix_tonnes"]
    known = all_of > 0 and tonnes is not None and np.isfinite(tonnes)
    sigma = (row["mix_high95_t"] - row["mix_low95_t"]) / 2 / SURE if known else None
    return [
        {"name": h.name, "e": h.e, "n": h.n, "reach_m": h.ring_in_m, "fill_m3": v, "tonnes": tonnes * v / all_of if known else None, "tonnes_sigma": sigma * v / all_of if known else None}
        for h, v in zip(hollows, volumes) if v > 0
    ]  # fmt: skip


def works_since(job: Job, flown_on: str) -> list[str]:
    """Work on the surface that is younger than the survey a design starts from: its figures no longer hold there."""
    day = dt.date.fromisoformat(flown_on[:10])
    return [w["work_id"] for w in job.rows["works"] if w["work"] in MOVES and w["done_on"] >= day]
