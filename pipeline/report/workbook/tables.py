"""Result tables as sheets, in the reader's units, and the sheet that says what each column means."""

from __future__ import annotations

import datetime as dt
import re
from typing import Iterable, Mapping, Sequence

from pipeline.columns import Column
from pipeline.report.figures import Unit, Units
from pipeline.report.words import Words
from pipeline.sheets import DAY, FIGURE, FINE, MONEY, TEXT, WHOLE, Cell, Sheet

KINDS = {"mm": "height", "t": "mass", "m3": "volume"}  # kinds of column that always have that unit
ENDS = {"_mm": "height", "_m3": "volume", "_m2": "area", "_m": "length", "_tonnes": "mass"}  # ends of names that say it
KEPT = {"_pct": Unit("%", 1, 2), "_deg": Unit("\u00b0", 1, 1), "_t": Unit("t", 1, 2)}
BARE = {"tonnes": "mix", "mm": "gain"}
AS_HELD = ("held_low95", "held_high95")  # ends of the range of held_mm_per_month, whose name says their unit
HELD_UNITS = {"mm": "height", "m": "length", "m3": "volume"}  # words of the column `unit`
IN_THAT_UNIT = ("before", "after", "change", "change_sigma", "before_sigma", "after_sigma")
WIDE = {"reason": 70.0, "note": 40.0, "why": 60.0, "held_reason": 40.0}
LEAST = {"word": 18.0, "text": 22.0}
MOST_ROWS = 4000  # of a sheet; what is beyond stands in the table's own file
SIGN = re.compile(r"\b(positive|negative|minus|less what|positiv[oa]|negativ[oa]|menos)\b")


def unit_of(column: Column, units: Units, currency: str = "") -> tuple[str, Unit | None]:
    """A column's name in plain words without its unit, and the reader's unit for it; None where it has none. Coordinates keep the file's metre."""
    name, unit = _unit_of(column, units, currency)
    return name.replace("_", " ").strip(), unit


def _unit_of(column: Column, units: Units, currency: str) -> tuple[str, Unit | None]:
    if column.name.startswith("cost") and currency and column.kind in ("m2", "value"):
        return column.name, Unit(currency, 1, 2) if column.name != "cost_in_condition" else None
    if column.name in AS_HELD:
        return f"{column.name}_per_month", units.height
    stem, tail = re.match(r"(.*?)((?:_low95|_high95|_low|_high|_sigma|_per_\w+)?)$", column.name).groups()
    for end, kind in ENDS.items():
        if stem.endswith(end):
            return stem.removesuffix(end) + tail, getattr(units, kind)
    if column.kind in KINDS or stem == "mm":
        return BARE.get(stem, stem) + tail, getattr(units, KINDS.get(column.kind, "height"))
    for end, unit in KEPT.items():
        if stem.endswith(end):
            return stem.removesuffix(end) + tail, unit
    return column.name, Unit("m", 1, 3) if column.kind == "m" else None


def head_of(column: Column, units: Units, words: Words, currency: str = "") -> str:
    plain, unit = unit_of(column, units, currency)
    return words("book_column_unit", name=plain, unit=unit.name) if unit is not None else plain


def table_sheet(name: str, lead: Sequence[str], rows: Sequence[Mapping], columns: Sequence[Column], units: Units, words: Words,
                named: Mapping[str, str] | None = None, ranked: bool = False, currency: str = "") -> Sheet:  # fmt: skip
    """One result table. named: field_id -> name, for a column beside the key; ranked: rows stand worst first and are numbered."""
    shown = [(c, unit_of(c, units, currency)[1]) for c in columns]
    heads, out = [head_of(c, units, words, currency) for c in columns], [[cell_of(row.get(c.name), c, unit) for c, unit in shown] for row in rows[:MOST_ROWS]]
    widths = [WIDE.get(c.name, max(LEAST.get(c.kind, 12.0), min(len(h) + 2.0, 26.0))) for c, h in zip(columns, heads)]
    if named:
        at = [c.name for c in columns].index("field_id") + 1
        heads.insert(at, words("book_field_name")), widths.insert(at, 22.0)
        out = [[*line[:at], Cell(named.get(row["field_id"], row["field_id"])), *line[at:]] for line, row in zip(out, rows)]
    if ranked:
        heads.insert(0, words("book_rank")), widths.insert(0, 8.0)
        out = [[Cell(k, TEXT), *line] for k, line in enumerate(out, start=1)]
    more = [words.count("book_more_rows", len(rows) - MOST_ROWS)] if len(rows) > MOST_ROWS else []
    return Sheet(name, [*lead, *more], heads, out, widths)


def cell_of(value, column: Column, unit: Unit | None) -> Cell:
    """A value of a result table in the reader's unit: days as days, words without their lines."""
    if value is None or isinstance(value, bool):
        return Cell(value, TEXT)
    if column.kind == "date":
        return Cell(value if isinstance(value, dt.date) else dt.date.fromisoformat(str(value)[:10]), DAY)
    if isinstance(value, str):
        return Cell(value.replace("_", " ") if column.kind == "word" else value, TEXT)
    if isinstance(value, int) and column.kind == "count":
        return Cell(value, WHOLE if abs(value) >= 10_000 else TEXT)
    look = MONEY if column.kind == "m2" else FINE if column.kind in ("p", "rate4", "value", "m3") else FIGURE
    return Cell(value / unit.size if unit is not None else value, look)


def in_reader_units(row: Mapping, units: Units) -> dict:
    """A row whose column `unit` says what its figures are in, told in the reader's."""
    kind = HELD_UNITS.get(row["unit"])
    if kind is None:
        return dict(row)
    unit = getattr(units, kind)
    return {**row, "unit": unit.name, **{n: row[n] / unit.size for n in IN_THAT_UNIT if row.get(n) is not None}}


def sign_of(meaning: str) -> str:
    """What a meaning says of the sign; empty where it says nothing."""
    return "; ".join(p.strip() for p in re.split(r"[;,]", meaning) if SIGN.search(p))


def columns_sheet(told: Iterable[Sequence[str]], words: Words) -> Sheet:
    """told: rows of sheet, column, unit, meaning, sign, source."""
    heads = [words(f"book_{k}") for k in ("sheet", "column", "unit", "meaning", "sign", "source")]
    return Sheet(words("book_columns"), [words("book_columns_title"), words("book_columns_lead")], heads, [[Cell(t) for t in row] for row in told], (18, 30, 10, 80, 44, 44))


def table_told(table: str, sheet: str, columns: Sequence[Column], units: Units, words: Words, currency: str = "") -> list[tuple[str, ...]]:
    """Rows of the sheet of columns for one result table."""
    out = []
    for c in columns:
        plain, unit = unit_of(c, units, currency)
        out.append((sheet, plain, unit.name if unit is not None else "", c.meaning, sign_of(c.meaning), words("book_from", table=f"{table}.csv", column=c.name)))
    return out


def own_told(sheet: str, columns: Sequence[str], unit, words: Words, source: str = "book_here") -> list[tuple[str, ...]]:
    """The same for a sheet that is worked out in the workbook. unit: column -> its unit; source: the phrase that says where it is from."""
    out = []
    for c in columns:
        meaning = words(f"book_means_{c}")
        out.append((sheet, words(f"book_{c}"), unit(c), meaning, sign_of(meaning), words(source)))
    return out
