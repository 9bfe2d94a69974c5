"""workbook: a field's tables and designs, or, of no field, all fields, costs and plan, with live formulas."""

from __future__ import annotations

from pipeline.jobs import Job
from pipeline.report.words import Words
from pipeline.steps.spoken import to_readers
from pipeline.report.workbook.district import LISTED, district_book
from pipeline.report.workbook.field import LISTED as OF_FIELD
from pipeline.report.workbook.field import field_book
from pipeline.store import arrays, records, tables, workbook
from pipeline.store.where import Where


def run(job: Job, where: Where) -> None:
    """Read what other steps wrote; measure and choose nothing."""
    words = to_readers(job.settings)
    _field(job, where, words) if job.field else _district(job, where, words)


def _field(job: Job, where: Where, words: Words) -> None:
    """fields/<field_id>/workbook.xlsx."""
    rows = {name: tables.read(where.table(job.field, name), name) for name in OF_FIELD}
    used = {r["survey_id"] for r in rows["survey_quality"] if r["verdict"] != "refused"}
    kept = [s["survey_id"] for s in job.rows["surveys"] if s["survey_id"] in used]
    designs = arrays.read_record(where.graded(job.field))["variants"]
    name = job.field_row.get("name") or job.field
    workbook.write(where.paper(job.field, "workbook.xlsx"), field_book(name, rows, designs, kept[-1] if kept else None, newest_day(job), job.settings, words))


def _district(job: Job, where: Where, words: Words) -> None:
    """portfolio.xlsx."""
    rows = {name: tables.read(path, name) for name, path in zip(("capital_plan", *LISTED), (where.capital_plan, *over_all(where)))}
    names = {r["field_id"]: r.get("name") or r["field_id"] for r in job.rows["fields"]}
    ranked = dict(records.read(where.portfolio_said)["ranked"])
    workbook.write(where.workbook, district_book(records.read(where.plan_record), rows, job.settings, names, ranked, newest_day(job), words))


def newest_day(job: Job) -> str:
    return max((str(s["flown_on"]) for s in job.rows["surveys"]), default="")


def over_all(where: Where) -> tuple[str, ...]:
    """The files of the tables that stand in it as they are, in the order of LISTED."""
    return where.portfolio, where.season_queue, where.order, where.plan_outcome, where.hazards
