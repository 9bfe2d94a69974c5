"""workbook: all fields, costs and plan as one workbook with live formulas."""

from __future__ import annotations

from pipeline.jobs import Job
from pipeline.report.words import LANGUAGE, Words
from pipeline.report.workbook.district import LISTED, district_book
from pipeline.store import pages, records, tables, workbook
from pipeline.store.where import Where


def run(job: Job, where: Where) -> None:
    """Read the plan's record and the tables over all fields, write portfolio.xlsx."""
    rows = {name: tables.read(path, name) for name, path in zip(("capital_plan", *LISTED), (where.capital_plan, *over_all(where)))}
    names = {r["field_id"]: r.get("name") or r["field_id"] for r in job.rows["fields"]}
    day = max((str(s["flown_on"]) for s in job.rows["surveys"]), default="")
    workbook.write(where.workbook, district_book(records.read(where.plan_record), rows, job.settings, names, day, Words(pages.sections(LANGUAGE))))


def over_all(where: Where) -> tuple[str, ...]:
    """The files of the tables that stand in it as they are, in the order of LISTED."""
    return where.portfolio, where.season_queue, where.order, where.plan_outcome, where.hazards
