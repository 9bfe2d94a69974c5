"""balance.csv: where the mix went between the two surveys of each pair, and which way it moved."""

from __future__ import annotations

import numpy as np
import shapely

from pipeline.change.balance import TERMS, Balance, Density, EdgeGrown, balance, delivered
from pipeline.change.difference import Change
from pipeline.change.moved_material import (
    Agreement, Direction, along_passes, away_from, bearing_habit, direction_habit, entry_points, moved, out_of_corner,
)  # fmt: skip
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps.spot_given import turf_height_m
from pipeline.steps.surveyed import Surveyed
from pipeline.works.around import Seen, between

EDGE_STRIP_M = 1.4  # beyond the line: the lip and the turf it is held against; further out nothing is counted to the edge
BEYOND_M = 2.4  # and so far out mix is looked for that a drag threw over the lip
BEFORE_WORK = "before_work"
RULER_SD_M, SEEN_SHARE_SD = 0.004, 0.20  # of a ruler in turf, and of how much of the canopy a survey sees; guesses
CARRIED = {  # works that move mix in ways no ticket tells
    "lip_cut": "a lip was cut: where its mix went is not recorded",
    "sod": "sod was laid: what it lies on counts as gained in the edge",
    "laser_grade": "the skin was graded: mix carted off is not recorded",
    "rebuild": "the field was rebuilt: mix carted off or brought by others is not recorded",
}


def balance_row(job: Job, layout: Layout, earlier: Surveyed, later: Surveyed, change: Change, edges: list[EdgeGrown]) -> dict:
    """One row of balance.csv."""
    material, rows = job.settings.material, {r["survey_id"]: r for r in job.rows["surveys"]}
    a, b = rows[earlier.survey_id], rows[later.survey_id]
    placed, loose = Density.placed(material.of("placed_t_per_m3")), Density.loose(material.of("loose_t_per_m3"))
    brought = delivered(job.rows["works"], a["flown_on"], b["flown_on"], placed, loose, _before(a), _before(b))
    skin = layout.grid.mask(layout.skin)
    canopy, canopy_sigma = _canopy(job, earlier, later)
    beyond = None if canopy_sigma is None else layout.grid.mask(beyond_strip(layout, earlier))
    found = balance(change, skin, edges, brought, beyond, canopy or 0.0, canopy_sigma, placed.assumed)
    between = works_between(job, a, b)
    direction = moved(change, skin)
    passes, corner = _agreements(layout, direction, between)
    notes = [*found.notes, *(said for work, said in CARRIED.items() if any(w["work"] == work for w in between))]
    figures = {f"{t}_m3": found.value[t] for t in (*TERMS, "unexplained")} | {f"{t}_sigma_m3": found.sigma[t] for t in (*TERMS, "unexplained")}
    return {
        "from_survey": earlier.survey_id, "to_survey": later.survey_id, **figures, "balanced": found.balanced,
        "moved_bearing_deg": direction.bearing_deg, "moved_bearing_sigma_deg": direction.bearing_sigma_deg, "moved_p": direction.p,
        "along_passes": passes.word, "out_of_corner": corner.word, "notes": "; ".join(notes), "reason": _reason(found, passes, corner),
    }  # fmt: skip


def _reason(found: Balance, passes: Agreement, corner: Agreement) -> str:
    """Why there is no balance; else why nothing is said of passes and corners."""
    if found.reason:
        return found.reason
    return "; ".join(f"{name}: {a.reason}" for name, a in (("passes", passes), ("corner", corner)) if a.reason)


def beyond_strip(layout: Layout, seen: Surveyed) -> shapely.Geometry:
    """Turf just beyond the edge strips: without the skin, stable ground, the mound and what was drawn to be left out."""
    lines = shapely.union_all([e.line for e in seen.edges])
    mound = [] if layout.mound is None else [layout.mound.disc]
    other = shapely.union_all([layout.skin, layout.ignore, layout.keep_out, *mound, *(p.polygon.buffer(0.3) for p in layout.patches)])
    return lines.buffer(BEYOND_M).difference(lines.buffer(EDGE_STRIP_M)).difference(other)


def works_between(job: Job, earlier, later) -> list:
    """Works done between two surveys, up to the day of the later one unless that was flown before it."""
    return between(job.rows["works"], *(Seen(r["survey_id"], r["flown_on"], r.get("purpose", "routine")) for r in (earlier, later)))


def _before(row) -> bool:
    return row.get("purpose") == BEFORE_WORK


def _canopy(job: Job, earlier: Surveyed, later: Surveyed) -> tuple[float | None, float | None]:
    """How much taller the later survey sees the turf, by the ruler, and one s.d., m; None, None without a ruler at both dates.

    How much of the canopy a source sees is the same at both dates for one source, and each its own for two.
    """
    turf = [turf_height_m(job, s.survey_id) for s in (earlier, later)]
    if None in turf:
        return None, None
    seen = [t * s.noise.canopy_reach for t, s in zip(turf, (earlier, later))]
    alike = earlier.record["source"] == later.record["source"]
    share = SEEN_SHARE_SD * (abs(seen[1] - seen[0]) if alike else float(np.hypot(*seen)))
    return seen[1] - seen[0], float(np.hypot(share, RULER_SD_M * 2**0.5))


def _agreements(layout: Layout, direction: Direction, works: list) -> tuple[Agreement, Agreement]:
    """Whether material moved along the passes recorded between the two dates, and out of the corner most entered at."""
    bearings = bearing_habit([w["bearing_deg"] for w in works if w.get("bearing_deg") is not None])
    entries = away_from([w["entry"] for w in works if w.get("entry") is not None], entry_points(layout), layout.centre)
    return along_passes(direction, bearings), out_of_corner(direction, direction_habit(entries))
