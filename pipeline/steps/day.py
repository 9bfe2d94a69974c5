"""day: one crew's work around the games of a day, from the tables of the last run."""

from __future__ import annotations

import datetime as dt
from math import ceil

from pipeline.jobs import Job
from pipeline.plan.day import Crew, Game, field_tasks, plan_day
from pipeline.plan.needs import Hours
from pipeline.plan.rain import standing_m3
from pipeline.plan.roads import MINUTES, NoRoads, Roads
from pipeline.plan.season import DAYS
from pipeline.report.day_page import FieldDay, day_page, day_rows, first_to_play
from pipeline.report.overview import FieldSeen
from pipeline.report.words import Words
from pipeline.steps.portfolio import field_seen
from pipeline.steps.report import LANGUAGE
from pipeline.store import pages, tables
from pipeline.store.where import Where

WET_M3 = 0.005  # less standing water than a bucket is none (ours)


def run(job: Job, on: dt.date, rain_mm: float, where: Where) -> str:
    """Write the day's table and page; returns the page's path."""
    words, knobs = Words(pages.sections(LANGUAGE)), job.settings.day
    hours = Hours.of(job.settings.costs, job.rows["works"])
    rows = {r["field_id"]: r for r in job.rows["fields"]}
    played = sorted({g["field_id"] for g in job.rows["games"] if g["on"] == on})
    days = [field_day(job, where, rows[f], on, rain_mm, words) for f in played]
    roads = Roads.of(job.rows["sites"]) if job.rows["sites"] else NoRoads()
    crew = Crew(job.settings.crew.yard or "", *(minute(dt.time.fromisoformat(t)) for t in (knobs.first_at, knobs.last_at)), roads)
    tasks = [
        t for turn, d in enumerate(first_to_play(days)) for t in field_tasks(d.games, d.seen.site, minutes(d.seen, hours, knobs.swap_minutes), crew, knobs.clear_minutes, d.before, (d.water_m3 or 0.0) >= WET_M3, turn)
    ]  # fmt: skip
    placed, missed = plan_day(tasks, crew)
    tables.write(where.day(on.isoformat(), "csv"), "day", day_rows(placed, missed, words))
    working = not job.settings.crew.working_days or DAYS[on.weekday()] in job.settings.crew.working_days
    page = day_page(on, rain_mm, working, days, placed, missed, knobs.clear_minutes, job.settings.report.title, words)
    pages.write(where.day(on.isoformat(), "html"), "day.html", page)
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
    low = seen.now.newest.rows["low_spots"] if seen.now.newest is not None else []
    return FieldDay(seen, tuple(games), standing_m3(low, rain_mm) if rain_mm else 0.0, before, two)


def minutes(seen: FieldSeen, hours: Hours, swap: int) -> dict[str, int | None]:
    """Minutes of each work: the owner's figures or records, of a swap of bases the knob."""
    found = {task: hours.of_task(seen.field_id, task) for task in ("open_up", "drag")}
    return {task: None if h is None else ceil(round(h * MINUTES, 6)) for task, h in found.items()} | {"bases": swap}


def minute(time: dt.time) -> int:
    """Minutes after midnight."""
    return time.hour * 60 + time.minute
