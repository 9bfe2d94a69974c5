"""Workbooks out: sheets of values and live formulas, the same bytes each time."""

from __future__ import annotations

import datetime as dt
from math import ceil, isfinite
from pathlib import Path

from pipeline.sheets import DAY, FIGURE, HEAD, INPUT, MONEY, NOTE, SHARE, TEXT, TITLE, WHOLE, Book, Cell, Sheet
from pipeline.store.atomic import replacing

# What a cell may change stands in a double frame: told without colour.
LOOKS = {
    TEXT: {"text_wrap": True, "valign": "top", "align": "left"}, WHOLE: {"num_format": "#,##0", "valign": "top"}, FIGURE: {"num_format": "#,##0.00", "valign": "top"},
    MONEY: {"num_format": "#,##0.00", "valign": "top"}, SHARE: {"num_format": "0.0%", "valign": "top"}, DAY: {"num_format": "yyyy-mm-dd", "valign": "top", "align": "left"},
    HEAD: {"bold": True, "bottom": 2, "text_wrap": True, "valign": "bottom"}, TITLE: {"bold": True, "font_size": 14},
    INPUT: {"num_format": "#,##0.00##", "border": 6, "valign": "top"}, NOTE: {"valign": "top"},
}  # fmt: skip


NO_DAY = "1980-01-01"  # of a workbook without any survey: as a zip dates what has no date
LINE = 15.0  # height of a line of text, points


def write(path: str | Path, book: Book) -> None:
    """One workbook. Text is text, whatever sign it begins with; only a cell's own formula is one."""
    import xlsxwriter

    day = dt.datetime.combine(dt.date.fromisoformat(book.day or NO_DAY), dt.time())
    with replacing(path) as temporary:
        made = xlsxwriter.Workbook(str(temporary), {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "nan_inf_to_errors": False})
        made.set_properties({"title": book.title, "comments": book.about, "created": day})
        made.set_calc_mode("auto")
        looks = {name: made.add_format(given) for name, given in LOOKS.items()}
        for sheet in book.sheets:
            _sheet(made.add_worksheet(sheet.name), sheet, looks)
        made.close()


def _sheet(at, sheet: Sheet, looks: dict) -> None:
    for k, line in enumerate(sheet.lead):
        at.write_string(k, 0, line, looks[TITLE if k == 0 else NOTE])
    head = sheet.first - 2
    if (lines := max((ceil(len(name) / (width - 1)) for name, width in zip(sheet.heads, sheet.widths)), default=1)) > 1:
        at.set_row(head, LINE * lines)
    for k, name in enumerate(sheet.heads):
        at.write_string(head, k, name, looks[HEAD])
    for r, row in enumerate(sheet.rows, start=sheet.first - 1):
        for c, cell in enumerate(row):
            _cell(at, r, c, cell, looks[cell.look])
        if (lines := _lines(row, sheet.widths)) > 1:
            at.set_row(r, LINE * lines)
    for k, width in enumerate(sheet.widths):
        at.set_column(k, k, width)
    if sheet.heads:
        at.freeze_panes(head + 1, 1)
        at.repeat_rows(head)
    at.set_landscape()
    at.set_paper(9)
    at.fit_to_pages(1, 0)


def _lines(row, widths) -> int:
    """Lines that the longest wrapped text of a row takes: not every reader of workbooks works that out."""
    return max((ceil(1.1 * len(cell.value) / width) for cell, width in zip(row, widths) if isinstance(cell.value, str) and cell.look == TEXT and not cell.formula), default=1)


def _cell(at, r: int, c: int, cell: Cell, look) -> None:
    value = cell.value
    if cell.formula:
        at.write_formula(r, c, "=" + cell.formula, look, "" if value is None else value)
    elif value is None or isinstance(value, float) and not isfinite(value):
        at.write_blank(r, c, None, look)
    elif isinstance(value, bool):
        at.write_string(r, c, "yes" if value else "no", look)
    elif isinstance(value, (int, float)):
        at.write_number(r, c, value, look)
    elif isinstance(value, dt.date):
        at.write_datetime(r, c, dt.datetime.combine(value, dt.time()), look)
    else:
        at.write_string(r, c, str(value), look)
