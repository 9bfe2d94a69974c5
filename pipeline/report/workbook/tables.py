"""Result tables as sheets, in the reader's units, and the sheet that says what each column means."""

from __future__ import annotations

import datetime as dt
import re
from typing import Mapping, Sequence

from pipeline.columns import DECIMALS, Column
from pipeline.report.figures import Unit, Units
from pipeline.report.words import Words
from pipeline.sheets import DAY, FIGURE, TEXT, WHOLE, Cell, Sheet

KINDS = {"mm": "height", "t": "mass", "m3": "volume"}  # kinds of column that always have that unit
ENDS = {"_mm": "height", "_m3": "volume", "_m2": "area", "_m": "length", "_tonnes": "mass"}  # ends of names that say it
BARE = {"tonnes": "mix"}
WIDE = {"reason": 70.0, "note": 40.0, "why": 60.0}
MOST_ROWS = 4000  # of a sheet; what is beyond stands in the table's own file


def unit_of(column: Column, units: Units) -> tuple[str, Unit | None]:
    """A column's name without its unit, and the reader's unit for it; None where it has none of its own or keeps the file's,
    as coordinates do."""
    stem, tail = re.match(r"(.*?)((?:_low95|_high95|_sigma|_per_\w+)?)$", column.name).groups()
    for end, kind in ENDS.items():
        if stem.endswith(end):
            return stem.removesuffix(end) + tail, getattr(units, kind)
    if column.kind in KINDS:
        return BARE.get(stem, stem) + tail, getattr(units, KINDS[column.kind])
    return column.name, None


def table_sheet(name: str, lead: Sequence[str], rows: Sequence[Mapping], columns: Sequence[Column], units: Units, words: Words, named: Mapping[str, str] | None = None) -> Sheet:
    """One result table. named: field_id -> name, for a column beside it."""
    shown = [(c, *unit_of(c, units)) for c in columns]
    heads = [words("book_column_unit", name=plain, unit=unit.name) if unit is not None else plain for _, plain, unit in shown]
    out = [[_cell(row.get(c.name), c, unit) for c, _, unit in shown] for row in rows[:MOST_ROWS]]
    if named:
        heads.insert(1, words("book_field"))
        out = [[line[0], Cell(named.get(row["field_id"], row["field_id"])), *line[1:]] for line, row in zip(out, rows)]
    more = [words.count("book_more_rows", len(rows) - MOST_ROWS)] if len(rows) > MOST_ROWS else []
    widths = [WIDE.get(c.name, max(12.0, min(len(h) + 2.0, 26.0))) for (c, _, _), h in zip(shown, heads if not named else [heads[0], *heads[2:]])]
    return Sheet(name, [*lead, *more], heads, out, [widths[0], 22.0, *widths[1:]] if named else widths)


def _cell(value, column: Column, unit: Unit | None) -> Cell:
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return Cell(value, TEXT)
    if isinstance(value, dt.date):
        return Cell(value, DAY)
    if unit is not None:
        return Cell(value / unit.size, FIGURE)
    return Cell(value, WHOLE if isinstance(value, int) and column.kind == "count" and abs(value) >= 10_000 else FIGURE if isinstance(value, float) and column.kind in DECIMALS else TEXT)


def columns_sheet(tables: Mapping[str, Sequence[Column]], sheets: Mapping[str, str], words: Words, units: Units) -> Sheet:
    """What each column of the sheets means. tables: result table -> its columns; sheets: table -> its sheet's name."""
    rows = []
    for table, name in sheets.items():
        for c in tables[table]:
            plain, unit = unit_of(c, units)
            rows.append([Cell(name), Cell(plain), Cell(unit.name if unit is not None else ""), Cell(c.meaning), Cell(f"{table}.csv: {c.name}")])
    return Sheet(words("book_columns"), [words("book_columns_title"), words("book_columns_lead")], [words(f"book_{k}") for k in ("sheet", "column", "unit", "meaning", "file")], rows, (18, 26, 10, 90, 40))
