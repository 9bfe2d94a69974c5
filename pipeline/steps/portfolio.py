"""portfolio: the page over all fields, portfolio.csv, hazards.csv and progress.csv; the capital plan in words."""

from __future__ import annotations

from typing import Sequence

from pipeline.diamond.carry import from_plain
from pipeline.jobs import Job
from pipeline.report.field_page import sayer_of
from pipeline.report.figures import spoken
from pipeline.report.findings import Limits
from pipeline.report.overview import FieldSeen, hazard_rows, index_page, portfolio_row, progress_rows, ranked, reason_of
from pipeline.report.plan_asked import Given
from pipeline.report.plan_block import plan_block
from pipeline.report.since_district import issued_list, since_district
from pipeline.report.standing import standing
from pipeline.report.words import Words
from pipeline.steps.by_hand import in_metres
from pipeline.steps.plan_told import told
from pipeline.steps.report import usable
from pipeline.steps.since import address, all_issues, handed_on, made_today
from pipeline.steps.spoken import in_tables, to_readers
from pipeline.steps.surveyed import edges_used
from pipeline.store import files, issued, pages, records, tables
from pipeline.store.where import Where
from pipeline.tables import Read
from pipeline.variables import FIELD_TABLES


def run(job: Job, where: Where) -> None:
    """Read every field's tables, judge them as its own page does, tell the plan, write the page and its tables."""
    words = to_readers(job.settings)
    seen = [field_seen(job, where, row, words) for row in sorted(job.rows["fields"], key=lambda r: r["field_id"])]
    tolerances = job.settings.tolerances
    rows = {s.field_id: portfolio_row(s) for s in seen}
    tables.write(where.portfolio, "portfolio", rows.values())
    tables.write(where.hazards, "hazards", [row for s in seen for row in hazard_rows(s, tolerances)])
    tables.write(where.progress, "progress_pooled", progress_rows(seen))
    record = records.read(where.plan_record)
    told = records.read(where.season_said), plan_said(job, where, record, words), *handed_said(job, where, seen, rows, words)
    page = index_page(seen, tolerances, job.settings.report.title, words, *told, record, sizes(where, [s.field_id for s in seen]))
    records.write(where.portfolio_said, {name: page[name] for name in ("unsafe", "unsafe_none")} | {"ranked": [[s.field_id, reason_of(s, s.reader)] for s in ranked(seen)]})
    pages.write(where.index, "index.html", page)


def sizes(where: Where, fields: Sequence[str]) -> dict[str, int]:
    """Address from the page -> bytes, of the files that are there when it is made whatever else runs: what it is made from, and its own tables."""
    made = [where.season_queue, where.order, where.plan_outcome, where.budget_steps, where.portfolio, where.hazards, where.progress, where.capital_plan]
    made += [path for f in fields for path in (where.report(f), where.paper(f, "work_package.pdf"), where.paper(f, "keep_out.pdf"), where.vectors(f), where.cube(f))]
    return {address(where.index, path): files.size(path) for path in made if files.is_file(path)}


def handed_said(job: Job, where: Where, seen: Sequence[FieldSeen], rows: dict[str, dict], words: Words) -> tuple[dict, dict]:
    """What is new and revised since the page was last handed on, and the list of all that was; both empty where nothing was."""
    found, names = all_issues(job), {s.field_id: s.name for s in seen}
    last = issued.newest(found)
    since = {}
    if last is not None:
        then = {f: handed_on(last, f, where.index) for f in last.manifest.get("fields", ())}
        about = handed_on(last, "", where.index)
        since = since_district(then, about, ranked(seen), rows, {s.field_id: made_today(job, where, s.field_id, s.tables) for s in seen}, words)
    told = [
        {"number": i.number, "on": i.on, "to": i.manifest.get("to", ""), "note": i.manifest.get("note", ""), "altered": i.altered if i is last else i.unlike, "links": _links(i, names, where, words)}
        for i in found
    ]  # fmt: skip
    return since, issued_list(told, words)


def _links(one: issued.Issue, names: dict[str, str], where: Where, words: Words) -> list[tuple[str, str]]:
    """What was handed on with an issue: text and address of each page that is still there."""
    out = [(words("issued_district"), f"{one.path}/index.html")] if one.holds("") else []
    out += [] if out else [(names.get(f, f), f"{one.path}/fields/{f}/report.html") for f in one.manifest.get("fields", ())]
    return [(text, address(where.index, path)) for text, path in out]


def plan_said(job: Job, where: Where, record: dict, words: Words) -> dict:
    """What the page says of the plan, from its record; writes capital_plan.csv and keeps it."""
    name = told(record, where, in_tables())
    plan, least = job.settings.plan, job.settings.tolerances.mix_depth_min_mm
    fields = {r["field_id"]: r.get("name") or r["field_id"] for r in job.rows["fields"]}
    signed = words("set_by", who=plan.set_by, on=words.date(plan.set_on)) if plan.set_by and plan.set_on else ""
    given = Given(job.settings.budget, job.rows["works"], plan.fiscal_year_start, signed, tables.read(where.plan_outcome, "plan_outcome"),
                  {f: least.of(f) for f in fields} if least is not None else {}, fields, name)  # fmt: skip
    return plan_block(record, words, spoken(job.settings.units, words), given)


def field_seen(job: Job, where: Where, row: Read, words: Words, names: Sequence[str] = FIELD_TABLES) -> FieldSeen:
    """One field as its tables show it; names: the tables to read, those a field is judged by at least."""
    field_id, settings = row["field_id"], job.settings
    layout = from_plain(records.read(where.layout(field_id)))
    rows = {name: tables.read(where.table(field_id, name), name) for name in names}
    order = [s["survey_id"] for s in sorted(job.rows["surveys"], key=lambda s: (s["flown_on"], s.row))]
    walks = [w for w in job.rows["walks"] if w["field_id"] == field_id]
    lengths = {e.edge_id: e.length_m for e in edges_used(where, layout, usable(rows["survey_quality"], order))}
    now = standing(field_id, rows, order, walks, Limits.of(settings.tolerances, field_id), lengths, in_metres((r for r in job.rows["readings"] if r["field_id"] == field_id), row["crs"]))
    reader = sayer_of(layout, rows, settings, words)
    plain = sayer_of(layout, rows, settings.model_copy(update={"units": "metric"}), in_tables())
    return FieldSeen(field_id, row.get("name") or field_id, row.get("site", ""), now, rows, reader, plain, settings.material)
