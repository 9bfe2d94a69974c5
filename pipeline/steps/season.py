"""season: one crew's queue over all fields, and the mix to order for each site."""

from __future__ import annotations

import datetime as dt

from pipeline.diamond.carry import from_plain
from pipeline.jobs import Job
from pipeline.plan.mix_order import orders, stock_of
from pipeline.plan.needs import Hours
from pipeline.plan.roads import NoRoads, Roads
from pipeline.plan.season import plan_season
from pipeline.plan.season_days import Season, working_days
from pipeline.report.overview import FieldSeen, plain_text
from pipeline.report.season_asks import Ground, asks, mix_wanted, opening_done
from pipeline.report.season_block import RANKS, asked_block, order_rows, queue_rows, season_block
from pipeline.steps.portfolio import field_seen
from pipeline.steps.report import usable
from pipeline.steps.spoken import in_tables, to_crew, to_readers
from pipeline.steps.surveyed import edges_used
from pipeline.store import records, tables
from pipeline.store.where import Where

LEVELLING = "no_mix_bought"  # the design that levels with what lies there


def run(job: Job, where: Where) -> None:
    """Ask every field what it needs, give out the crew's hours, write the queue, the order and what the page says of both."""
    words, crew, plain, units = to_readers(job.settings), to_crew(job.settings), in_tables(), job.settings.units
    seen = [field_seen(job, where, row, words) for row in sorted(job.rows["fields"], key=lambda r: r["field_id"])]
    ordered = orders([mix_wanted(s) for s in seen], stock_of(job.rows["stock"]), mix_added(job))
    missing = asked(job)
    rows, said = [], asked_block(missing, ordered, units, words, {s.field_id: s.name for s in seen})
    if not missing:
        season = season_of(job)
        hours, works = Hours.of(job.settings.costs, job.rows["works"]), job.rows["works"]
        ground = {s.field_id: ground_of(where, s, job) for s in seen}
        told = lambda sayer_of: [] if not season.days else [
            n for s in seen for n in asks(s, sayer_of(s), ground[s.field_id], hours, [w for w in works if w["field_id"] == s.field_id], job.settings.season, season.days, first_game(job, s.field_id, season.days[0]))
        ]  # fmt: skip
        done, left = plan_season(told(lambda s: s.plain), season)
        rows = [r | {"reason": plain_text(r["reason"])} for r in queue_rows(done, left, season, plain)]
        to_readers_told = told(lambda s: s.reader)
        to_crew_told = to_readers_told if crew is words else told(lambda s: s.reader.speaking(crew))
        why = {(n.field_id, n.task, n.rank): n.why for n in to_readers_told}
        behind = {s.field_id: opening_done(s, [w for w in works if w["field_id"] == s.field_id], season.days[0].year, words) for s in seen} if season.days else {}
        said = season_block(done, left, season, ordered, {s.field_id: s.name for s in seen}, why, units, words, behind)
        said["crew_whys"] = [[n.field_id, n.task, RANKS[n.rank], n.why] for n in dict.fromkeys(to_crew_told)]
    tables.write(where.season_queue, "season_queue", rows)
    tables.write(where.order, "order", order_rows(ordered, plain))
    records.write(where.season_said, said)


def asked(job: Job) -> list[str]:
    """Settings of the crew without which no week can be planned."""
    crew = job.settings.crew
    names = [n for n in ("hours_per_week", "first_week", "last_week") if getattr(crew, n) is None]
    names += [] if crew.working_days else ["working_days"]
    return [f"crew.{n}" for n in names + (["yard"] if job.rows["sites"] and crew.yard is None else [])]


def season_of(job: Job) -> Season:
    """The working days that begin after the newest day in the tables: what has been done cannot be planned."""
    crew = job.settings.crew
    days = working_days(crew.first_week, crew.last_week, crew.working_days, newest(job))
    roads = Roads.of(job.rows["sites"]) if job.rows["sites"] else NoRoads()
    return Season(days, crew.of("hours_per_week") / len(set(crew.working_days)), crew.yard or "", roads)


def newest(job: Job) -> dt.date | None:
    """The newest day of a survey or a work."""
    days = [s["flown_on"] for s in job.rows["surveys"]] + [w.get("ended_on") or w["done_on"] for w in job.rows["works"]]
    return max(days, default=None)


def first_game(job: Job, field_id: str, after: dt.date) -> dt.date | None:
    """A field's first game from a day on."""
    return min((g["on"] for g in job.rows["games"] if g["field_id"] == field_id and g["on"] >= after), default=None)


def mix_added(job: Job) -> dict[str, dt.date]:
    """Site -> the newest day mix was added to one of its fields."""
    site, out = {r["field_id"]: r.get("site", "") for r in job.rows["fields"]}, {}
    for w in job.rows["works"]:
        if w["work"] == "mix_add" and w["field_id"] in site:
            out[site[w["field_id"]]] = max(out.get(site[w["field_id"]], dt.date.min), w["done_on"])
    return out


def ground_of(where: Where, seen: FieldSeen, job: Job) -> Ground:
    """Sizes of a field that hours hang on."""
    layout = from_plain(records.read(where.layout(seen.field_id)))
    order = [s["survey_id"] for s in sorted(job.rows["surveys"], key=lambda s: (s["flown_on"], s.row))]
    edges = edges_used(where, layout, usable(seen.tables["survey_quality"], order))
    levelled = next((r["worked_m2"] for r in tables.read(where.table(seen.field_id, "quantities"), "quantities") if r["variant"] == LEVELLING and r["feasible"]), None)
    return Ground(layout.skin.area, sum(e.length_m for e in edges), levelled)
