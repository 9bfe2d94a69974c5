"""What each field asks of a crew over the season, with its reason in words: from what its newest survey shows, the calendar and the works."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Iterable, Mapping, Sequence

from pipeline.plan.mix_order import Wanted
from pipeline.plan.needs import OPENING_TASKS, Hours, expected_over, from_month, opening_left, windows
from pipeline.plan.season_days import BASES, OPENING, REPAIR, UNSAFE, UPKEEP, Need
from pipeline.report.figures import Z95, figure
from pipeline.report.findings import CREPT, GAP, LIP, LOW_SKIN, LOW_SPOT, MIX, PLANARITY, STEP, Finding, area_sigma_m2, come_in
from pipeline.report.overview import FieldSeen
from pipeline.report.saying import Sayer
from pipeline.report.standing import leading
from pipeline.report.todo import weed_task
from pipeline.report.words import Words, opened
from pipeline.settings import Season as Knobs
from pipeline.surface.stretches import stretches
from pipeline.surface.verdict import UNSAFE as UNSAFE_WORD
from pipeline.surface.verdict import WORK
from pipeline.survey.edges.encroachment import SEGMENT_M
from pipeline.works.lip_work import CUT, WIDE, remedy_of

HEAVY = ("lip_cut", "mix_add")  # autumn is the best window for these: common practice, no source
BLADE = ("level", "lip_cut", "mix_add")  # not before base anchors and plugs are found
FEW = 3  # places that are named
LEAST_M2 = 0.2  # less grass come in along a stretch is not listed (ours)
TASK_OF = {LOW_SPOT: "level", PLANARITY: "level", GAP: "level", LOW_SKIN: "mix_add", MIX: "mix_add", CREPT: "edge_recut", STEP: "other"}


@dataclass(frozen=True)
class Ground:
    """Sizes that hours hang on: area of the skin, m2; all its edges, m; ground that levelling it moves, m2, None where no design tells."""

    skin_m2: float
    edges_m: float
    levelled_m2: float | None = None


def asks(seen: FieldSeen, sayer: Sayer, ground: Ground, hours: Hours, works: Iterable[Mapping], knobs: Knobs, days: Sequence[dt.date], first_game: dt.date | None = None) -> list[Need]:
    """Every need of one field in the season; what the owner gives to a contractor is none of the crew's.

    sayer : who speaks of it, in the units the reasons are wanted in
    works : the field's rows of works.csv; days: the season's working days, not empty; first_game: its first from then on, if known
    """
    opening = _opening(seen, sayer, ground, hours, works, days, first_game)
    begun = {n.task for n in opening}
    found = [replace(n, stage=1) if n.task in BLADE else n for n in _found(seen, sayer, ground, hours, knobs, days) if not (n.task == "edge_recut" and n.task in begun)]
    if any(n.rank == UNSAFE and n.task in BLADE for n in found):  # before any blade goes down the anchors are found
        opening = [replace(n, rank=UNSAFE) if n.task == BASES else n for n in opening]
    replaced = {"drag": "drag", "edge_clean": "edge_recut"}  # in its first turn an upkeep is part of the opening
    upkeep = [
        Need(seen.field_id, seen.site, task, hours.of_task(seen.field_id, task, ground.edges_m, ground.skin_m2), UPKEEP, None, first, last, sayer.words.count(f"season_upkeep_{task}", every))
        for task, every in (("drag", knobs.drag_every_weeks), ("edge_clean", knobs.edge_every_weeks)) for first, last in windows(days, every)[replaced[task] in begun :]
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


def _opening(seen: FieldSeen, sayer: Sayer, ground: Ground, hours: Hours, works: Iterable[Mapping], days: Sequence[dt.date], first_game: dt.date | None) -> list[Need]:
    """What the opening still wants that the year's works do not record."""
    out, layout = [], sayer.placing.layout
    flown = seen.now.newest is not None and seen.now.newest.flown_on[:4] == str(days[0].year)
    sets = "_two" if any(a.startswith("second-") for a in layout.anchors) else ""
    for task in opening_left(days[0].year, works):
        why = sayer.words({"drag": "season_opening_drag_flown" if flown else "season_opening_drag", "bases": f"season_opening_bases{sets}"}.get(task, f"season_opening_{task}"))
        grass = come_in_by_stretch(seen, sayer) if task == "edge_recut" else ""
        needed = hours.of_task(seen.field_id, task, ground.edges_m, ground.skin_m2)
        out.append(Need(seen.field_id, seen.site, task, needed, OPENING, None, days[0], None, f"{why}{grass}", OPENING_TASKS.index(task), first_game))
    return out


def opening_done(seen: FieldSeen, works: Sequence[Mapping], year: int, words: Words) -> list[str]:
    """What of the opening is behind a field in that year: works recorded, and its first survey."""
    left, out = opening_left(year, works), []
    for task in OPENING_TASKS:
        days = [w["done_on"] for w in works if w["work"] == task and w["done_on"].year == year]
        if task not in left:
            out.append(words("season_opening_recorded", work=opened(words(f"opening_{task}")), day=words.date(min(days))))
    flown = seen.now.newest is not None and seen.now.newest.flown_on[:4] == str(year)
    return out + ([words("season_opening_surveyed", day=words.date(seen.now.newest.flown_on))] if flown else [])


def come_in_by_stretch(seen: FieldSeen, sayer: Sayer) -> str:
    """'; grass to cut back: the outer edge, 0-33 ft, 46 ± 9 sq ft, ...' of each stretch along which the newest survey shows it beyond its own
    noise; empty where none is."""
    if seen.now.newest is None:
        return ""
    rows, parts = seen.now.newest.rows.get("grass_edge", ()), []
    for edge_id in dict.fromkeys(r["edge_id"] for r in rows):
        mine = [r for r in rows if r["edge_id"] == edge_id and None not in come_in(r)]
        pieces = sorted((r for r in mine if r["station_m"] is not None), key=lambda r: r["station_m"])
        sure = [True if come_in(r)[0] > Z95 * come_in(r)[1] else None for r in pieces]
        for _, stretch in stretches([r["station_m"] for r in pieces], sure, SEGMENT_M / 2, SEGMENT_M):
            run = [pieces[k] for k in stretch.members]
            area, sigma = sum(come_in(r)[2] for r in run), sum(area_sigma_m2(r, r["seen_m"]) for r in run)
            if area >= LEAST_M2:
                parts.append(sayer.words("season_grass_stretch", edge=sayer.placing.edge(edge_id), span=sayer.span(stretch), area=figure(area, sigma, sayer.units.area)))
    return sayer.words("season_grass", stretches="; ".join(parts)) if parts else sayer.words("season_grass_none" if rows else "season_grass_unseen")


def mix_wanted(seen: FieldSeen) -> Wanted:
    """The mix a field needs, and why."""
    tonnes, sigma = seen.mix_t
    rows = seen.now.newest.rows.get("mix_depth", ()) if seen.now.newest is not None else ()
    thin = next((r["tonnes"] for r in rows if r["zone"] == "skin" and r["verdict"] == WORK and r["tonnes"] is not None), None)
    return Wanted(seen.field_id, seen.site, tonnes, sigma, "thin" if thin is not None and thin == tonnes else "fill")
