"""The workbook over all fields."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.report.figures import SYSTEMS
from pipeline.report.words import Words
from pipeline.report.workbook.costs import costs_sheet
from pipeline.report.workbook.plan_sheet import plan_sheet, years_sheet
from pipeline.report.workbook.tables import columns_sheet, table_sheet
from pipeline.settings import Config
from pipeline.sheets import Book, Cell, Sheet
from pipeline.variables import TABLES

PLANNED = "planned"
LISTED = ("portfolio", "season_queue", "order", "plan_outcome", "hazards")  # result tables that stand as they are


def district_book(record: Mapping, rows: Mapping[str, Sequence[Mapping]], settings: Config, names: Mapping[str, str], day: str, words: Words) -> Book:
    """Costs, plan, years, then the tables over all fields, then what each column means.

    record : build/plan/plan.json
    rows   : table name -> rows, `capital_plan` and those of LISTED
    day    : of the newest survey, ISO
    """
    units, planned, sheets = SYSTEMS[settings.units], record["state"] == PLANNED, []
    if planned:
        share = lambda name: settings.plan.of(name) or 0.0
        priced = costs_sheet(settings.costs, settings.prices, {"escalation_pct": share("escalation_pct"), "contingency_pct": share("contingency_pct")}, record["first_year"], words, units, record["currency"])
        plan = plan_sheet(record, rows["capital_plan"], priced, words, units)
        sheets = [priced.sheet, plan, years_sheet(record, plan, priced, words)]
    tables = {t: words(f"book_sheet_{t}") for t in LISTED}
    for table, name in tables.items():
        named = names if any("field_id" in c.name for c in TABLES[table]) and TABLES[table][0].name == "field_id" else None
        lead = [words(f"book_{table}_title")] + ([] if rows[table] else [words("book_empty")])
        sheets.append(table_sheet(name, lead, rows[table], TABLES[table], units, words, named))
    meant = {"capital_plan": words("book_plan"), **tables} if planned else tables
    sheets.append(columns_sheet(TABLES, meant, words, units))
    title = words("book_title", title=settings.report.title) if settings.report.title else words("book_title_bare")
    return Book(title, words("book_about"), day, [_first(title, record, sheets, day, words), *sheets])


def _first(title: str, record: Mapping, sheets: Sequence[Sheet], day: str, words: Words) -> Sheet:
    """What this is, how it is used, what it is not."""
    lead = [title, words("book_of", day=words.date(day)) if day else words("no_usable_survey"), words(f"book_state_{record['state']}"), words("book_about")]
    if record["state"] == "infeasible":
        lead.insert(3, words("book_infeasible"))
    return Sheet(words("book_first"), lead, [words("book_sheet"), words("book_holds_what")], [[Cell(s.name), Cell(s.lead[0])] for s in sheets], (26, 100))
