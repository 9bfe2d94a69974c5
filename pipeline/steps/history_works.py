"""works_record.csv, as_built.csv, progress.csv and the record of each work, from what the surveys around it showed."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict
from typing import Mapping, Sequence

import numpy as np

from pipeline.change.balance import Density, delivered
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps.history_trend import EPOCH_STARTS, RESETS, Series, dated, series_of
from pipeline.steps.works_built import Built, built_of
from pipeline.store.where import Where
from pipeline.works.around import Around, Seen, around, last_day
from pipeline.works.held import FRESH, HeldFor, held_for
from pipeline.works.record import HEIGHT, LIP, PLANARITY, RING, SHOULD_CHANGE, Changed, changes
from pipeline.works.spans import spans

FOLLOWED = {LIP: ("growth", 1), RING: ("ring_depth", 1), PLANARITY: ("planarity", 1), HEIGHT: ("mean_height", -1)}
FOREVER = dt.date.max


def works_of(job: Job, where: Where, layout: Layout, surveys: dict[str, dict], rows: dict[str, list[dict]], pairs: list[dict], edges_m: Mapping[str, float]) -> tuple[dict, dict]:
    """Rows of the three tables, and the record.

    surveys : survey.json of those not refused; rows: result tables as read from here on; pairs: records of the pairs
    edges_m : edge id -> length, m
    """
    order, days = dated(surveys)
    purpose = {r["survey_id"]: r.get("purpose", "routine") for r in job.rows["surveys"]}
    seen = [Seen(s, days[s], purpose[s]) for s in order]
    works = job.rows["works"]
    series = {(s.measure, s.name): s for family in (series_of(surveys, rows, pairs) if order else ()) for s in family}
    out: dict[str, list[dict]] = {"works_record": [], "as_built": []}
    records = []
    for work in works:
        if work["work"] not in SHOULD_CHANGE:
            continue
        stood = around(work, seen, works)
        found = changes(work, stood, rows, job.settings.tolerances.of("lip_mm", job.field)) if stood.both else []
        held = [_held(work, stood, c, series, order, days, works) for c in found]
        built = built_of(job, where, layout, work, stood)
        out["works_record"] += [_row(work, stood, c, h) for c, h in zip(found, held)]
        out["as_built"] += built.rows
        records.append(_record(job, work, stood, found, held, built))
    out["progress"] = spans(works, seen, rows, edges_m, lambda some: _brought(job, some)[0])
    return out, {"works": records}


def _brought(job: Job, works: Sequence[Mapping]) -> tuple[float, float]:
    """Tonnes of mix that works brought and its placed volume, m3."""
    material = job.settings.material
    placed, loose = Density.placed(material.of("placed_t_per_m3")), Density.loose(material.of("loose_t_per_m3"))
    found = delivered(works, dt.date.min, dt.date.max, placed, loose)
    return found.tonnes, found.volume_m3


def _held(work: Mapping, stood: Around, changed: Changed, series: dict[tuple[str, str], Series], order: list[str], days: dict, works) -> HeldFor | None:
    """How this measure went on since the work, up to the next work that begins it anew; None where it is not followed."""
    measure, toward = FOLLOWED.get(changed.measure, ("", 0))
    mine = series.get((measure, changed.place))
    if mine is None:
        return None
    kinds = (*EPOCH_STARTS, *RESETS.get(measure, ()))
    later = [w for w in works if w["work"] in kinds and w["done_on"] > last_day(work) and not stood.after.shows(w["done_on"])
             and (measure == "growth" or (w.get("zone") or "skin") in ("skin", changed.place))]  # fmt: skip
    until = min((w["done_on"] for w in later), default=FOREVER)
    kept = [k for k, s in enumerate(order) if k >= order.index(stood.after.survey_id) and days[s] <= until]
    at = [(days[order[k]] - stood.after.flown_on).days for k in kept]
    sigma = np.hypot(mine.sigmas, mine.shared)
    return held_for(at, mine.values[kept], sigma[kept], toward, work["work"] in FRESH and measure != "growth")


def _row(work: Mapping, stood: Around, c: Changed, h: HeldFor | None) -> dict:
    half = np.nan if h is None else 1.959964 * h.sigma
    held = {} if h is None else {
        "held_mm_per_month": h.rate, "held_low95": h.rate - half, "held_high95": h.rate + half, "settled_mm": h.settled, "settled_sigma_mm": h.settled_sigma,
        "surveys_since": h.since, "held_reason": h.reason,
    }  # fmt: skip
    return {
        "work_id": work["work_id"], "from_survey": stood.before.survey_id, "to_survey": stood.after.survey_id, "measure": c.measure, "place": c.place,
        "before": c.before, "before_sigma": c.before_sigma, "after": c.after, "after_sigma": c.after_sigma, "change": c.change, "change_sigma": c.change_sigma,
        "unit": c.unit, "detected": c.detected, "shares": ";".join(stood.shares), "reason": c.reason, **held,
    }  # fmt: skip


def _record(job: Job, work: Mapping, stood: Around, found: list[Changed], held: list[HeldFor | None], built: Built) -> dict:
    """One work as a page or a paper tells it. Plain values; what is not known is None."""
    tonnes, placed_m3 = _brought(job, [work])
    said = ("work_id", "work", "done_on", "ended_on", "zone", "by", "machine", "hours", "cost", "sod_m2", "documents", "notes")
    side = lambda s: None if s is None else {"survey_id": s.survey_id, "flown_on": s.flown_on}
    return {
        **{name: work.get(name) for name in said}, "tonnes": tonnes if work.get("mix_amount") is not None else None,
        "placed_m3": placed_m3 if work.get("mix_amount") is not None else None, "before": side(stood.before), "after": side(stood.after), "shares": list(stood.shares),
        "measures": [{**asdict(c), "unit": c.unit, "held": None if h is None else asdict(h)} for c, h in zip(found, held)],
        "as_built": built.record, "hand_levels": built.levels,
    }  # fmt: skip
