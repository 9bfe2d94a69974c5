"""A workbook as data: sheets of cells, each a value, or a formula with the value it has now."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Sequence

TEXT, WHOLE, FIGURE, MONEY, SHARE, DAY, HEAD, TITLE, INPUT, NOTE = "text", "whole", "figure", "money", "share", "day", "head", "title", "input", "note"

Value = str | int | float | bool | dt.date | None


@dataclass(frozen=True)
class Cell:
    """value : as it stands now, of a formula its result; formula: without the sign before it, empty where there is none;
    look: one of the words above, of which INPUT is what a reader may change"""

    value: Value = None
    look: str = TEXT
    formula: str = ""


@dataclass(frozen=True)
class Sheet:
    """name  : as on its tab, at most 31 signs
    lead     : lines over the table
    heads    : names of the columns
    rows     : cells; shorter rows leave the rest empty
    widths   : of the columns, in signs
    """

    name: str
    lead: Sequence[str]
    heads: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    widths: Sequence[float] = ()

    @property
    def first(self) -> int:
        """Number of the first row of cells, as a formula names it."""
        return len(self.lead) + 3 if self.heads else len(self.lead) + 2


@dataclass(frozen=True)
class Book:
    """title, about: for its properties; day: ISO date it carries in place of a clock's, empty without a survey."""

    title: str
    about: str
    day: str
    sheets: Sequence[Sheet] = field(default_factory=tuple)


def letter(column: int) -> str:
    """Name of a column, 0 = A."""
    out = ""
    column += 1
    while column:
        column, k = divmod(column - 1, 26)
        out = chr(ord("A") + k) + out
    return out


def place(sheet: str, column: int, row: int) -> str:
    """A cell of a sheet as a formula elsewhere names it, fixed."""
    quoted = sheet.replace("'", "''")
    return f"'{quoted}'!${letter(column)}${row}"
