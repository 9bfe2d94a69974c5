"""A workbook as data: sheets of cells, each a value, or a formula with the value it has now."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Mapping, Sequence

TEXT, WHOLE, FIGURE, FINE, MONEY, DAY, HEAD, TITLE, INPUT, NOTE, TOTAL = "text", "whole", "figure", "fine", "money", "day", "head", "title", "input", "note", "total"

Value = str | int | float | bool | dt.date | None


@dataclass(frozen=True)
class Cell:
    """value : as it stands now, of a formula its result; formula: without the sign before it, empty where there is none;
    look: one of the words above, of which INPUT is what a reader may change; to: a sheet that it leads to"""

    value: Value = None
    look: str = TEXT
    formula: str = ""
    to: str = ""


@dataclass(frozen=True)
class Sheet:
    """One table, its header marked as such.

    name   : as on its tab, at most 31 signs
    lead   : lines over the table, the first its title
    heads  : names of the columns, no two alike
    rows   : cells; shorter rows leave the rest empty
    widths : of the columns, in signs
    total  : a row under the table
    fixed  : formulas elsewhere name its cells, so that its rows must stay in their order
    """

    name: str
    lead: Sequence[str]
    heads: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    widths: Sequence[float] = ()
    total: Sequence[Cell] = ()
    fixed: bool = False

    @property
    def first(self) -> int:
        """Number of the first row of cells, as a formula names it."""
        return first_row(self.lead)

    def span(self, column: int) -> str:
        """A column's cells as a formula elsewhere names them."""
        last = self.first + max(len(self.rows), 1) - 1
        return f"{quoted(self.name)}!${letter(column)}${self.first}:${letter(column)}${last}"


@dataclass(frozen=True)
class Book:
    """title, about: for its properties; day: ISO date it carries in place of a clock's; names: name of a cell -> its place;
    asks: what is said at a cell that may be changed, and to who writes into it what is no number of 0 or more; letter_paper: for print, else A4"""

    title: str
    about: str
    day: str
    sheets: Sequence[Sheet] = ()
    names: Mapping[str, str] = field(default_factory=dict)
    asks: tuple[str, str] = ("", "")
    letter_paper: bool = False


def first_row(lead: Sequence[str]) -> int:
    """Number of the first row of cells under so many lines: an empty row and the header lie between."""
    return len(lead) + 3


def letter(column: int) -> str:
    """Name of a column, 0 = A."""
    out = ""
    column += 1
    while column:
        column, k = divmod(column - 1, 26)
        out = chr(ord("A") + k) + out
    return out


def quoted(sheet: str) -> str:
    """A sheet as a formula names it."""
    return "'" + sheet.replace("'", "''") + "'"


def place(sheet: str, column: int, row: int) -> str:
    """A cell of a sheet as a formula elsewhere names it, fixed."""
    return f"{quoted(sheet)}!${letter(column)}${row}"
