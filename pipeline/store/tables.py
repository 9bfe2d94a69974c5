"""CSV tables in and out."""

from __future__ import annotations

import csv
import io
import itertools
import math
from pathlib import Path
from typing import Iterable

from pipeline.errors import BadInput, Problem
from pipeline.store.atomic import write_text
from pipeline.tables import Rows
from pipeline.variables import DECIMALS, TABLES, key_names


def read_rows(path: str | Path, name: str | None = None, one_line: bool = True) -> Rows:
    """A table as text. `name` is what messages call it (default: the file's name); `one_line`: see `parse_rows`.

    raises: BadInput when it is missing, not UTF-8, has no header, or a row has more cells than the header
    """
    path, name = Path(path), name or Path(path).name
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise BadInput([Problem(name, None, None, "no such file", "the table", "Correct its path in config.yaml or make it.", code="no-such-file")]) from None
    except IsADirectoryError:
        raise BadInput([Problem(name, None, None, "a folder", "a CSV file", "Correct its path in config.yaml.", code="not-a-file")]) from None
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        raise BadInput([Problem(name, line, None, "signs that are not UTF-8", "UTF-8 text", "Save the table as CSV UTF-8.", code="not-utf-8")]) from None
    except OSError as error:
        raise BadInput([Problem(name, None, None, f"a file that cannot be opened ({error.strerror})", "a CSV file", "See that you may read it.", code="cannot-open")]) from None
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise BadInput([Problem(name, line, None, "NUL bytes between the letters", "UTF-8 text", "Save the table as CSV UTF-8, not as Unicode or UTF-16.", code="not-utf-8")])
    return parse_rows(text, name, one_line)


def parse_rows(text: str, name: str, one_line: bool = True) -> Rows:
    """CSV text as rows with their line numbers; blank lines are passed over. `one_line`: a cell must end on its line."""
    reader = csv.reader(io.StringIO(text, newline=""))
    header: tuple[str, ...] | None = None
    rows, problems = [], []
    line = 0
    try:
        for cells in reader:
            begins, line = line + 1, reader.line_num
            if not any(c.strip() for c in cells):
                continue
            if one_line and any(set(c) & set("\r\n") for c in cells):
                problems.append(_broken(name, begins, header, cells))
                header = header or ("",)
                continue
            if header is None:
                header = tuple(c.strip() for c in cells)
                for sign, word in ((";", "semicolons"), ("\t", "tabs")):
                    if len(header) == 1 and sign in header[0]:
                        problems.append(Problem(name, begins, None, f"{word} between the columns", "commas", "Save the table with commas (CSV UTF-8).", code="wrong-separator"))
                continue
            extra = [c for c in cells[len(header) :] if c.strip()]
            if extra:
                problems.append(Problem(name, begins, None, f"{len(cells)} cells", f"at most {len(header)}, as in the header",
                                        "Put text that holds a comma in double quotes; several words in one cell are separated by `;`.", code="too-many-cells"))  # fmt: skip
            rows.append((begins, dict(zip(header, cells))))
    except csv.Error as error:
        large = "field larger" in str(error)  # what follows a quote that is never closed, in a long file
        fault = Problem(name, line + 1, None, "text that is no CSV", "comma-separated cells", "Save the table again.", code="not-csv")
        problems.append(_broken(name, line + 1, header, []) if large else fault)
    if one_line and header is not None and not problems and _open_at_the_end(text, begins):
        problems.append(_broken(name, begins, header, cells))
    if header is None:
        problems.append(Problem(name, 1, None, "an empty file", "a header row", "Copy the header from config/templates.", code="empty-table"))
    if problems:
        raise BadInput(problems)
    return Rows(name, header or (), tuple(rows))


def _broken(name: str, row: int, header: tuple[str, ...] | None, cells: list[str]) -> Problem:
    """A cell that goes on over the end of its line: in the last cell of a row, most likely a quote that was not closed."""
    at = next((i for i, c in enumerate(cells) if set(c) & set("\r\n")), len(cells) - 1)
    column = header[at] if header and 0 <= at < len(header) else None
    return Problem(name, row, column, "a double quote that is not closed on its line", "each cell on one line",
                   "Close the quote, or take the line break out of the cell; the rows after it were taken for its text.", code="open-quote")  # fmt: skip


def _open_at_the_end(text: str, begins: int) -> bool:
    """Whether the last row, which begins in that line, ends within a quoted cell."""
    try:
        for _ in csv.reader(itertools.islice(io.StringIO(text, newline=""), begins - 1, None), strict=True):
            pass
    except csv.Error as error:
        return "unexpected end" in str(error)
    return False


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
    rows = read_rows(path, one_line=False)
    columns = TABLES[table]
    if rows.header != tuple(c.name for c in columns):
        raise ValueError(f"{path} does not have the columns of {table}")
    kinds = {c.name: c.kind for c in columns}
    return [{name: value_of(text, kinds[name]) for name, text in row.items()} for _, row in rows.rows]


def value_of(text: str, kind: str):
    """A cell of a result table as a value; an empty one is None."""
    if text == "":
        return None
    if kind == "flag":
        return text == "true"
    if kind == "count":
        return int(text)
    return float(text) if kind in DECIMALS else text
