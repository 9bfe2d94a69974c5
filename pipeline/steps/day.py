"""day: one crew's work around the games of a day, from the tables of the last run."""

from __future__ import annotations

import datetime as dt
from math import ceil

from pipeline.diamond.carry import from_plain
from pipeline.jobs import Job
from pipeline.plan.day import had_if_struck, plan_day
from pipeline.plan.day_asks import Asked, Crew, Game
from pipeline.plan.needs import Hours
from pipeline.plan.rain import standing_m3
from pipeline.plan.roads import MINUTES, NoRoads, Roads
from pipeline.plan.season_days import DAYS
from pipeline.report.day_page import Day, FieldDay, day_page, day_rows, first_to_play
from pipeline.report.overview import FieldSeen
from pipeline.report.words import Words
from pipeline.settings import Day as Knobs
from pipeline.steps.portfolio import field_seen
from pipeline.steps.spoken import in_tables, to_crew
from pipeline.store import pages, records, tables
from pipeline.store.where import Where
from pipeline.surface.verdict import UNSAFE

WET_M3 = 0.005  # less standing water than a bucket is none (ours)


def run(job: Job, on: dt.date, rain_mm: float, where: Where) -> str:
    """Write the day's table and page; returns the page's path."""
    words, knobs = to_crew(job.settings), job.settings.day
    hours = Hours.of(job.settings.costs, job.rows["works"])
    rows = {r["field_id"]: r for r in job.rows["fields"]}
    played = sorted({g["field_id"] for g in job.rows["games"] if g["on"] == on})
    days = first_to_play([field_day(job, where, rows[f], on, rain_mm, words) for f in played])
    roads = Roads.of(job.rows["sites"]) if job.rows["sites"] else NoRoads()
    crew = Crew(job.settings.crew.yard or "", *(minute(dt.time.fromisoformat(t)) for t in (knobs.first_at, knobs.last_at)), roads, knobs.dry_minutes, knobs.clear_minutes)
    asked = [Asked(d.seen.field_id, d.seen.site, d.games, minutes(where, d.seen, hours, knobs), d.before, d.wet, d.seen.now.verdict == UNSAFE, k) for k, d in enumerate(days)]
    laid = plan_day(asked, crew)
    working = not job.settings.crew.working_days or DAYS[on.weekday()] in job.settings.crew.working_days
    others = sorted({g["on"] for g in job.rows["games"] if g["on"] > on})
    day = Day(on, rain_mm, working, rain_mm >= knobs.wet_mm, tuple(days), laid, crew, others[0] if others else None, had_if_struck(asked, laid, crew))
    tables.write(where.day(on.isoformat(), "csv"), "day", day_rows(day, in_tables()))
    pages.write(where.day(on.isoformat(), "html"), "day.html", day_page(day, job.settings.report.title, words))
    return where.day(on.isoformat(), "html")


def field_day(job: Job, where: Where, row, on: dt.date, rain_mm: float, words: Words) -> FieldDay:
    """A field's games of the day and what is known of it before them."""
    mine = [g for g in job.rows["games"] if g["field_id"] == row["field_id"]]
    main, two = row.get("layout") or "", bool(row.get("other_layout"))
    base = lambda g: g.get("layout") or ("" if two else main)
    games = sorted((Game(row["field_id"], minute(g["starts"]), minute(g["ends"]), base(g)) for g in mine if g["on"] == on), key=lambda g: g.starts)
    earlier = [g for g in mine if g["on"] < on]
    before = base(max(earlier, key=lambda g: (g["on"], g["starts"]))) if earlier and two else "" if two else main
    seen = field_seen(job, where, row, words)
    water = standing_m3(seen.now.newest.rows["low_spots"] if seen.now.newest is not None else [], rain_mm) if rain_mm else 0.0
    return FieldDay(seen, tuple(games), water, before, two, rain_mm > 0 and (rain_mm >= job.settings.day.wet_mm or (water or 0.0) >= WET_M3))


def minutes(where: Where, seen: FieldSeen, hours: Hours, knobs: Knobs) -> dict[str, int | None]:
    """Minutes of each work: the owner's figures or records, of a swap of bases the knob."""
    area_m2 = from_plain(records.read(where.layout(seen.field_id))).skin.area
    found = {task: hours.of_task(seen.field_id, task, area_m2=area_m2) for task in ("open_up", "drag")}
    return {task: None if h is None else ceil(round(h * MINUTES, 6)) for task, h in found.items()} | {"bases": knobs.swap_minutes}


def minute(time: dt.time) -> int:
    """Minutes after midnight."""
    return time.hour * 60 + time.minute
