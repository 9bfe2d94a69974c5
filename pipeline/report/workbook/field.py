"""The workbook of one field: its tables in the reader's units, its designs with live costs, and what each column means."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.report.figures import spoken
from pipeline.report.words import Words
from pipeline.report.workbook.costs import COLUMNS as PRICES
from pipeline.report.workbook.costs import costs_sheet
from pipeline.report.workbook.designs import DESIGNS, design_figures, design_unit, designs_sheet
from pipeline.report.workbook.district import contents
from pipeline.report.workbook.tables import columns_sheet, in_reader_units, own_told, table_sheet, table_told
from pipeline.settings import Config
from pipeline.sheets import Book
from pipeline.variables import TABLES

# In this order. Of these the newest survey's rows, of the pairs the newest pair of each kind: all of them stand in the table's own file.
NEWEST = ("lip", "low_spots", "zones", "grass_edge", "rulebook", "mix_depth")
PAIRS = ("low_spot_change", "lip_change", "change")
LISTED = ("survey_quality", *NEWEST, *PAIRS, "trend", "forecast", "balance", "works_record", "as_built", "progress", "handoffs")


def field_book(name: str, rows: Mapping[str, Sequence[Mapping]], designs: Sequence[Mapping], newest: str | None, day: str, settings: Config, words: Words) -> Book:
    """name: the field's; rows: table -> rows; designs: as the step of designs recorded them; newest: survey id, None without a usable one;
    day: of the newest survey, ISO."""
    units, currency = spoken(settings.units, words), settings.currency
    lead = [words("book_costs_title"), words("book_costs_lead", currency=currency), words("book_input")]
    priced = costs_sheet(design_figures(settings.costs, settings.prices, words, units, currency), lead, words)
    made = designs_sheet(designs, settings.costs, priced, words, units, currency)
    sheets, left_out = [priced.sheet, made], []
    told = own_told(priced.sheet.name, PRICES, lambda c: "", words, "book_from_settings") + own_told(made.name, DESIGNS, lambda c: design_unit(c, units, currency), words, "book_from_designs")
    for table in (t for t in LISTED if t in rows):
        mine, sheet = shown_of(table, rows[table], newest), table.replace("_", " ")
        if len(mine) < len(rows[table]):
            left_out.append(words("book_left_out", sheet=sheet, number=len(rows[table]) - len(mine), table=f"{table}.csv"))
        if table == "works_record":
            mine = [in_reader_units(r, units) for r in mine]
        note = words("book_newest_only", table=f"{table}.csv") if table in NEWEST else words("book_newest_pair", table=f"{table}.csv") if table in PAIRS else ""
        lead = [words(f"book_table_{table}"), *([note] if note else []), *([] if mine else [words("book_empty")])]
        sheets.append(table_sheet(sheet, lead, mine, TABLES[table], units, words, currency=currency))
        told += table_told(table, sheet, TABLES[table], units, words, currency)
    sheets.append(columns_sheet(told, words))
    title = words("book_field_title", field=name)
    first = contents([title, words("book_of", day=words.date(day)) if day else words("no_usable_survey"), words("book_field_about"), words("book_about_designs"), *left_out], sheets, words)
    return Book(title, words("book_field_about"), day, [first, *sheets], priced.names, (words("book_ask"), words("book_refuse")), units.system == "us")


def shown_of(table: str, rows: Sequence[Mapping], newest: str | None) -> list[Mapping]:
    """The rows that a workbook holds of a table: those of the newest survey that can be used, or of all pairs that end with it."""
    if table in NEWEST:
        return [r for r in rows if r["survey_id"] == newest]
    return [r for r in rows if r["to_survey"] == newest] if table in PAIRS else list(rows)
