"""CSV tables in and out."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import Iterable

from pipeline.errors import BadInput, Problem
from pipeline.store.atomic import write_text
from pipeline.tables import Rows
from pipeline.variables import DECIMALS, TABLES, key_names


def read_rows(path: str | Path, name: str | None = None) -> Rows:
    """A table as text. `name` is what messages call it (default: the file's name).

    raises: BadInput when it is missing, not UTF-8, has no header, or a row has more cells than the header
    """
    path, name = Path(path), name or Path(path).name
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise BadInput([Problem(name, None, None, "no such file", "the table", "Correct its path in config.yaml or make it.")]) from None
    except IsADirectoryError:
        raise BadInput([Problem(name, None, None, "a folder", "a CSV file", "Correct its path in config.yaml.")]) from None
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        raise BadInput([Problem(name, line, None, "signs that are not UTF-8", "UTF-8 text", "Save the table as CSV UTF-8.")]) from None
    return parse_rows(text, name)


def parse_rows(text: str, name: str) -> Rows:
    """CSV text as rows with their line numbers; blank lines are passed over."""
    reader = csv.reader(io.StringIO(text, newline=""))
    header: tuple[str, ...] | None = None
    rows, problems = [], []
    line = 0
    try:
        for cells in reader:
            begins, line = line + 1, reader.line_num
            if not any(c.strip() for c in cells):
                continue
            if header is None:
                header = tuple(c.strip() for c in cells)
                if len(header) == 1 and ";" in header[0]:
                    problems.append(Problem(name, begins, None, "semicolons between the columns", "commas", "Save the table with commas."))
                continue
            extra = [c for c in cells[len(header) :] if c.strip()]
            if extra:
                problems.append(Problem(name, begins, None, f"{len(cells)} cells", f"at most {len(header)}, as in the header",
                                        "Put text that holds a comma in double quotes."))  # fmt: skip
            rows.append((begins, dict(zip(header, cells))))
    except csv.Error as error:
        problems.append(Problem(name, line + 1, None, f"text that is no CSV ({error})", "comma-separated cells", "Save the table again."))
    if header is None:
        problems.append(Problem(name, 1, None, "an empty file", "a header row", "Copy the header from config/templates."))
    if problems:
        raise BadInput(problems)
    return Rows(name, header or (), tuple(rows))


def cell(value, kind: str) -> str:
    """A value as a result table prints it; None and NaN are empty."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if kind == "flag":
        return "true" if value else "false"
    if kind == "count":
        return str(int(value))
    if kind in DECIMALS:
        value = float(value)
        if not math.isfinite(value):
            return ""
        printed = f"{value:.{DECIMALS[kind]}f}"
        return printed[1:] if float(printed) == 0 and printed.startswith("-") else printed
    return str(value)


def write(path: str | Path, table: str, rows: Iterable[dict]) -> None:
    """A result table: columns of `variables.TABLES`, rows sorted by its key columns.

    raises: ValueError when a row has a column the table does not declare
    """
    columns = TABLES[table]
    names = {c.name for c in columns}
    keys = key_names(table)
    kinds = {c.name: c.kind for c in columns}
    rows = list(rows)
    for row in rows:
        if unknown := set(row) - names:
            raise ValueError(f"{table} has no column {sorted(unknown)}")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([c.name for c in columns])
    for row in sorted(rows, key=lambda r: tuple(_sortable(r.get(k), kinds[k]) for k in keys)):
        writer.writerow([cell(row.get(c.name), c.kind) for c in columns])
    write_text(path, out.getvalue())


def _sortable(value, kind: str):
    """Numbers by size, words by letters, empty last."""
    empty = value is None or (isinstance(value, float) and math.isnan(value))
    if kind in DECIMALS or kind == "count":
        return (empty, 0.0 if empty else float(value), "")
    return (empty, 0.0, "" if empty else str(value))


def read(path: str | Path, table: str) -> list[dict]:
    """A result table back as values: numbers, flags, words; empty cells become None.

    raises: ValueError when its header is not the one `variables` declares
    """
    rows = read_rows(path)
    columns = TABLES[table]
    if rows.header != tuple(c.name for c in columns):
        raise ValueError(f"{path} does not have the columns of {table}")
    kinds = {c.name: c.kind for c in columns}
    return [{name: _value(text, kinds[name]) for name, text in row.items()} for _, row in rows.rows]


def _value(text: str, kind: str):
    if text == "":
        return None
    if kind == "flag":
        return text == "true"
    if kind == "count":
        return int(text)
    return float(text) if kind in DECIMALS else text
