"""The workbook over all fields."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.report.figures import spoken
from pipeline.report.plan_block import infeasible_lines
from pipeline.report.words import Words
from pipeline.report.workbook.costs import COLUMNS as PRICES
from pipeline.report.workbook.costs import costs_sheet, plan_figures
from pipeline.report.workbook.plan_sheet import COMINGS, ORDERS, PLAN, YEARS, Sheets, unit_in
from pipeline.report.workbook.tables import columns_sheet, own_told, table_sheet, table_told
from pipeline.settings import Config
from pipeline.sheets import Book, Cell, Sheet
from pipeline.variables import TABLES

PLANNED, INFEASIBLE = "planned", "infeasible"
LISTED = ("portfolio", "season_queue", "order", "plan_outcome", "hazards")  # result tables that stand as they are
NAMED = {t for t in LISTED if any(c.name == "field_id" for c in TABLES[t])}


def district_book(record: Mapping, rows: Mapping[str, Sequence[Mapping]], settings: Config, names: Mapping[str, str], ranked: Mapping[str, str], day: str, words: Words) -> Book:
    """Costs, plan, comings, years, orders, then the tables over all fields, then what each column means.

    record : build/plan/plan.json
    rows   : table name -> rows, `capital_plan` and those of LISTED
    ranked : field id -> why it stands there, in the reader's units; worst first
    day    : of the newest survey, ISO
    """
    units, currency, made = spoken(settings.units, words), settings.currency, []
    lead = [words("book_costs_title"), words("book_costs_lead", currency=currency), words("book_input"), words("book_not_chosen_anew")]
    priced = costs_sheet(plan_figures(settings.costs, settings.prices, settings.plan, words, units, currency), lead, words)
    sheets, told = [priced.sheet], own_told(priced.sheet.name, PRICES, lambda c: "", words, "book_from_settings")
    if record["state"] == PLANNED:
        plan = Sheets(record, rows["capital_plan"], priced, words, units)
        made = [(plan.plan(), PLAN), (plan.years(settings.budget), YEARS), (plan.comings(), COMINGS), (plan.orders(), ORDERS)]
    for sheet, columns in made:
        sheets.append(sheet)
        told += own_told(sheet.name, columns, lambda c: unit_in(c, units, currency), words)
    place = {f: k for k, f in enumerate(ranked)}
    for table in LISTED:
        mine = [r | {"reason": ranked.get(r["field_id"], r["reason"])} for r in sorted(rows[table], key=lambda r: place.get(r["field_id"], len(place)))] if table == "portfolio" else rows[table]
        lead = [words(f"book_{table}_title")] + ([] if mine else [words("book_empty")])
        name = words(f"book_sheet_{table}")
        sheets.append(table_sheet(name, lead, mine, TABLES[table], units, words, names if table in NAMED else None, table == "portfolio", currency))
        told += own_told(name, ("rank",), lambda c: "", words, "book_from_page") if table == "portfolio" else []
        told += own_told(name, ("field_name",), lambda c: "", words, "book_from_page") if table in NAMED else []
        told += table_told(table, name, TABLES[table], units, words, currency)
    sheets.append(columns_sheet(told, words))
    title = words("book_title", title=settings.report.title) if settings.report.title else words("book_title_bare")
    said = [title, words("book_of", day=words.date(day)) if day else words("no_usable_survey"), words(f"book_state_{record['state']}"), *(infeasible_lines(record, words) if record["state"] == INFEASIBLE else []), words("book_about")]
    return Book(title, words("book_about"), day, [contents(said, sheets, words), *sheets], priced.names, (words("book_ask"), words("book_refuse")), units.system == "us")


def contents(said: Sequence[str], sheets: Sequence[Sheet], words: Words) -> Sheet:
    """What this is, how it is used, what it is not; each sheet with a link."""
    return Sheet(words("book_first"), said, [words("book_sheet"), words("book_holds_what")], [[Cell(s.name, to=s.name), Cell(s.lead[0])] for s in sheets], (26, 100))
