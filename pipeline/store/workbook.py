"""Workbooks out: sheets of values and live formulas, the same bytes each time."""

from __future__ import annotations

import datetime as dt
import re
from math import ceil, isfinite
from pathlib import Path

from pipeline.sheets import DAY, FIGURE, FINE, HEAD, INPUT, MONEY, NOTE, TEXT, TITLE, TOTAL, WHOLE, Book, Cell, Sheet, letter
from pipeline.store.atomic import replacing

LINK, BARE = "link", "bare"
# What a reader may change stands in a double frame: told without colour.
LOOKS = {
    TEXT: {"text_wrap": True, "valign": "top", "align": "left", "indent": 1}, WHOLE: {"num_format": "#,##0", "valign": "top"}, FIGURE: {"num_format": "#,##0.00", "valign": "top"},
    FINE: {"num_format": "#,##0.0000", "valign": "top"}, MONEY: {"num_format": "#,##0.00", "valign": "top"}, DAY: {"num_format": "yyyy-mm-dd", "valign": "top", "align": "left", "indent": 1},
    HEAD: {"bold": True, "bottom": 2, "text_wrap": True, "valign": "bottom", "align": "left", "indent": 1}, TITLE: {"bold": True, "font_size": 14}, INPUT: {"num_format": "#,##0.00##", "border": 6, "valign": "top"},
    NOTE: {"valign": "top"}, TOTAL: {"bold": True, "top": 1, "num_format": "#,##0.00", "valign": "top", "align": "right"}, LINK: {"underline": 1, "font_color": "#0000EE", "valign": "top"},
    BARE: {"text_wrap": True, "valign": "top", "align": "left", "indent": 1, "quote_prefix": True},
}  # fmt: skip
SIGNS = ("=", "+", "-", "@")  # at which a program would begin a formula as soon as somebody goes over the cell
NO_DAY = "1980-01-01"  # of a workbook without any survey: as a zip dates what has no date
LINE = 15.0  # height of a line of text, points
MOST_LINES = 20
PAPER_A4, PAPER_LETTER = 9, 1


def write(path: str | Path, book: Book) -> None:
    """One workbook. Text is text, whatever sign it begins with; only a cell's own formula is one. No macro, no picture, no merged cell."""
    import xlsxwriter

    day = dt.datetime.combine(dt.date.fromisoformat(book.day or NO_DAY), dt.time())
    with replacing(path) as temporary:
        made = xlsxwriter.Workbook(str(temporary), {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "nan_inf_to_errors": False})
        made.set_properties({"title": book.title, "comments": book.about, "created": day})
        made.set_calc_mode("auto")
        looks = {name: made.add_format(given) for name, given in LOOKS.items()}
        for k, sheet in enumerate(book.sheets):
            _sheet(made.add_worksheet(sheet.name), sheet, looks, book, k)
        for name, at in book.names.items():
            made.define_name(name, "=" + at)
        made.close()


def _sheet(at, sheet: Sheet, looks: dict, book: Book, number: int) -> None:
    for k, line in enumerate(sheet.lead):
        at.write_string(k, 0, line, looks[TITLE if k == 0 else NOTE])
    head, last = sheet.first - 2, sheet.first - 2 + max(len(sheet.rows), 1)
    name = f"t{number}_" + re.sub(r"\W", "_", sheet.name)
    # a table, so that who listens to the sheet is told the header of each cell; sorting would part the cells of a fixed one from their names
    at.add_table(head, 0, last, len(sheet.heads) - 1, {"name": name, "style": None, "autofilter": not sheet.fixed, "columns": [{"header": h} for h in sheet.heads]})
    if (lines := max((ceil(len(h) / (width - 2)) for h, width in zip(sheet.heads, sheet.widths)), default=1)) > 1:
        at.set_row(head, LINE * lines)
    for k, h in enumerate(sheet.heads):
        at.write_string(head, k, h, looks[HEAD])
    for r, row in enumerate([*sheet.rows, sheet.total], start=head + 1):
        for c, cell in enumerate(row):
            _cell(at, r if r <= head + len(sheet.rows) else last + 1, c, cell, looks, book)
        if (lines := _lines(row, sheet.widths)) > 1:
            at.set_row(r, LINE * min(lines, MOST_LINES))
    for k, width in enumerate(sheet.widths):
        at.set_column(k, k, width)
    at.freeze_panes(head + 1, 1)
    at.repeat_rows(head)
    at.set_landscape()
    at.set_paper(PAPER_LETTER if book.letter_paper else PAPER_A4)
    at.fit_to_pages(1, 0)


def _lines(row, widths) -> int:
    """Lines that the longest wrapped text of a row takes: not every reader of workbooks works that out."""
    return max((ceil(1.1 * len(cell.value) / width) for cell, width in zip(row, widths) if isinstance(cell.value, str) and cell.look == TEXT and not cell.formula), default=1)


def _cell(at, r: int, c: int, cell: Cell, looks: dict, book: Book) -> None:
    value, look = cell.value, looks[cell.look]
    if cell.look == INPUT:
        at.data_validation(r, c, r, c, {"validate": "decimal", "criteria": ">=", "value": 0, "input_message": book.asks[0], "error_message": book.asks[1]})
    if cell.formula:
        at.write_formula(r, c, "=" + cell.formula, look, "" if value is None else value)
    elif cell.to:
        quoted = cell.to.replace("'", "''")
        at.write_url(r, c, f"internal:'{quoted}'!{letter(0)}1", looks[LINK], str(value))
    elif value is None or isinstance(value, float) and not isfinite(value):
        at.write_blank(r, c, None, look)
    elif isinstance(value, bool):
        at.write_string(r, c, "yes" if value else "no", look)
    elif isinstance(value, (int, float)):
        at.write_number(r, c, value, look)
    elif isinstance(value, dt.date):
        at.write_datetime(r, c, dt.datetime.combine(value, dt.time()), look)
    else:
        at.write_string(r, c, str(value), looks[BARE] if cell.look == TEXT and str(value).startswith(SIGNS) else look)
