"""The workbook of one field: its tables in the reader's units, and what each column means."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.report.figures import SYSTEMS
from pipeline.report.words import Words
from pipeline.report.workbook.tables import columns_sheet, table_sheet
from pipeline.sheets import Book, Cell, Sheet
from pipeline.variables import TABLES

# In this order; of those marked, the newest survey's rows: all of them stand in the table's own file.
NEWEST = ("lip", "low_spots", "zones", "grass_edge", "rulebook", "mix_depth")
LISTED = ("survey_quality", *NEWEST, "low_spot_change", "lip_change", "change", "trend", "forecast", "balance", "works_record", "as_built", "progress", "quantities", "handoffs")


def field_book(name: str, rows: Mapping[str, Sequence[Mapping]], newest: str | None, day: str, units: str, words: Words) -> Book:
    """name: the field's; rows: table -> rows; newest: survey id, None without a usable one; day: of the newest survey, ISO."""
    held = SYSTEMS[units]
    sheets: list[Sheet] = []
    shown = {t: words(f"book_table_{t}") for t in LISTED if t in rows}
    for table, title in shown.items():
        mine = [r for r in rows[table] if r["survey_id"] == newest] if table in NEWEST else rows[table]
        lead = [title, *([words("book_newest_only", table=f"{table}.csv")] if table in NEWEST else []), *([] if mine else [words("book_empty")])]
        sheets.append(table_sheet(table.replace("_", " "), lead, mine, TABLES[table], held, words))
    sheets.append(columns_sheet(TABLES, {t: t.replace("_", " ") for t in shown}, words, held))
    title = words("book_field_title", field=name)
    first = Sheet(words("book_first"), [title, words("book_of", day=words.date(day)) if day else words("no_usable_survey"), words("book_field_about")], [words("book_sheet"), words("book_holds_what")], [[Cell(s.name), Cell(s.lead[0])] for s in sheets], (26, 100))
    return Book(title, words("book_field_about"), day, [first, *sheets])
