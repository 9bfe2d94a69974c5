"""What each field asks of a crew over the season, with its reason in words: from what its newest survey shows, the calendar and the works."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Iterable, Mapping, Sequence

from pipeline.plan.needs import OPENING_TASKS, Hours, expected_over, from_month, opening_left, windows
from pipeline.plan.season import OPENING, REPAIR, UNSAFE, UPKEEP, Need
from pipeline.report.figures import figure
from pipeline.report.findings import CREPT, GAP, LIP, LOW_SKIN, LOW_SPOT, MIX, PLANARITY, STEP, Finding, come_in
from pipeline.report.overview import FieldSeen
from pipeline.report.saying import Sayer
from pipeline.report.standing import leading
from pipeline.report.todo import weed_task
from pipeline.settings import Season as Knobs
from pipeline.surface.verdict import UNSAFE as UNSAFE_WORD
from pipeline.surface.verdict import WORK
from pipeline.works.lip_work import CUT, WIDE, remedy_of

HEAVY = ("lip_cut", "mix_add")  # autumn is the best window for these: common practice, no source
FEW = 3  # places that are named
LEAST_M2 = 0.5  # less grass come in along an edge is not listed (ours)
TASK_OF = {LOW_SPOT: "level", PLANARITY: "level", GAP: "level", LOW_SKIN: "mix_add", MIX: "mix_add", CREPT: "edge_recut", STEP: "other"}


@dataclass(frozen=True)
class Ground:
    """Sizes that hours hang on: area of the skin, m2; all its edges, m; ground that levelling it moves, m2, None where no design tells."""

    skin_m2: float
    edges_m: float
    levelled_m2: float | None = None


def asks(seen: FieldSeen, sayer: Sayer, ground: Ground, hours: Hours, works: Iterable[Mapping], knobs: Knobs, days: Sequence[dt.date]) -> list[Need]:
    """Every need of one field in the season; what the owner gives to a contractor is none of the crew's.

    sayer : who speaks of it, in the units the reasons are wanted in
    works : the field's rows of works.csv; days: the season's working days, not empty
    """
    opening = _opening(seen, sayer, ground, hours, works, days)
    opened = {n.task for n in opening}
    found = [n for n in _found(seen, sayer, ground, hours, knobs, days) if not (n.task == "edge_recut" and n.task in opened)]
    replaced = {"drag": "drag", "edge_clean": "edge_recut"}  # in its first turn an upkeep is part of the opening
    upkeep = [
        Need(seen.field_id, seen.site, task, hours.of_task(seen.field_id, task, ground.edges_m, ground.skin_m2), UPKEEP, None, first, last, sayer.words.count(f"season_upkeep_{task}", every))
        for task, every in (("drag", knobs.drag_every_weeks), ("edge_clean", knobs.edge_every_weeks)) for first, last in windows(days, every)[replaced[task] in opened :]
    ]  # fmt: skip
    return [n for n in (*found, *opening, *upkeep) if not hours.contracted(n.task)]


def task_of(finding: Finding) -> str | None:
    """The work that mends a finding; None for what a crew does not mend by hand, as a fall of the whole skin."""
    if finding.kind == LIP:
        return "lip_cut" if remedy_of(finding.value_mm, finding.row["width_mm"]) in (CUT, WIDE) else "edge_clean"
    return TASK_OF.get(finding.kind)


def excess(found: Sequence[Finding], sayer: Sayer) -> float | None:
    """Expected excess over the owner's tolerances: the worst of each kind of fault, added up; None where none has a figure."""
    worst: dict[str, float] = {}
    for f in found:
        owned = sayer.owned(f.kind, False)
        if owned is not None and f.value_mm is not None and f.sigma_mm is not None:
            over = expected_over(f.value_mm, f.sigma_mm, owned.of(sayer.placing.layout.field_id), under=f.kind == MIX)
            worst[f.kind] = max(worst.get(f.kind, 0.0), over)
    return sum(worst.values()) if worst else None


def _found(seen: FieldSeen, sayer: Sayer, ground: Ground, hours: Hours, knobs: Knobs, days: Sequence[dt.date]) -> list[Need]:
    """One need for each work that the newest survey asks for."""
    jobs: dict[str, list[Finding]] = {}
    for f in leading(seen.now, (UNSAFE_WORD, WORK)):
        if (task := task_of(f)) is not None:
            jobs.setdefault(task, []).append(f)
    out = []
    for task, found in jobs.items():
        unsafe = any(f.word == UNSAFE_WORD for f in found)
        start = from_month(days[0], knobs.heavy_from_month, days[-1]) if task in HEAVY and not unsafe else days[0]
        metres = sum(f.stretch.length_m for f in found if f.stretch is not None)
        needed = hours.of_task(seen.field_id, task, metres, _area(task, found, ground))
        why = sayer.words(f"season_why_{task}", places=_places(found, sayer))
        out.append(Need(seen.field_id, seen.site, task, needed, UNSAFE if unsafe else REPAIR, excess(found, sayer), start, None, why))
    weeds = weed_task(seen.now, sayer)
    if weeds is not None:
        area = next(r["covered_m2"] for r in seen.now.newest.rows["zones"] if r["zone"] == "skin")
        out.append(Need(seen.field_id, seen.site, "weed", hours.of_task(seen.field_id, "weed", 0.0, area), REPAIR, None, days[0], None, sayer.words("season_why_weed", area=figure(area, None, sayer.units.area))))
    return out


def _places(found: Sequence[Finding], sayer: Sayer) -> str:
    """The first few places, worst first, the others counted."""
    places = list(dict.fromkeys(sayer.where(f) for f in found))
    more = [sayer.words.count("and_more", len(places) - FEW)] if len(places) > FEW else []
    return "; ".join([*places[:FEW], *more])


def _area(task: str, found: Sequence[Finding], ground: Ground) -> float:
    """Ground that a work covers, m2: the whole skin where it is uneven or short of mix, else its low spots."""
    if task == "mix_add":
        return ground.skin_m2
    if task == "level" and any(f.kind in (PLANARITY, GAP) for f in found):
        return ground.levelled_m2 or ground.skin_m2
    return sum(f.row["area_m2"] or 0.0 for f in found if f.kind == LOW_SPOT)


def _opening(seen: FieldSeen, sayer: Sayer, ground: Ground, hours: Hours, works: Iterable[Mapping], days: Sequence[dt.date]) -> list[Need]:
    """What the opening still wants that the year's works do not record."""
    out = []
    flown = seen.now.newest is not None and seen.now.newest.flown_on[:4] == str(days[0].year)
    for task in opening_left(days[0].year, works):
        grass = come_in_by_edge(seen, sayer) if task == "edge_recut" else ""
        why = sayer.words("season_opening_drag_flown" if task == "drag" and flown else f"season_opening_{task}") + (" " + grass if grass else "")
        out.append(Need(seen.field_id, seen.site, task, hours.of_task(seen.field_id, task, ground.edges_m, ground.skin_m2), OPENING, None, days[0], None, why, OPENING_TASKS.index(task)))
    return out


def come_in_by_edge(seen: FieldSeen, sayer: Sayer) -> str:
    """'grass to cut back: the outer edge 4.1 m2, ...' by the newest survey; empty where none was seen."""
    if seen.now.newest is None:
        return ""
    whole = [(r, come_in(r)[2]) for r in seen.now.newest.rows.get("grass_edge", ()) if r["station_m"] is None]
    parts = [f"{sayer.placing.edge(r['edge_id'])} {figure(area, None, sayer.units.area)}" for r, area in whole if area is not None and area >= LEAST_M2]
    return sayer.words("season_grass", edges=", ".join(parts)) if parts else ""
