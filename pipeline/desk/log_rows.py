"""Rows that a crew wrote down, judged one by one: which are good, which stand in the tables already, what is wrong with the others."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass, replace
from typing import Iterable, Mapping, Sequence

from pipeline.desk.log_places import Ground, place_problems
from pipeline.errors import Problem, did_you_mean
from pipeline.project import Project, check, in_the_future
from pipeline.tables import CREW_COLUMNS, CREW_TABLE, FIRST_YEAR, LOGGED, NAMED_BY, TABLES, WHEN, Bad, Read, Rows, ident, read, text

TABLE, COLUMNS = CREW_TABLE, CREW_COLUMNS
LONGEST = 2000  # letters in a cell; a note longer than that is something else (ours)
FORMULA = re.compile(r"[=@]|[+-].*(\w\(|\|)")  # what a spreadsheet would work out, or call a program for
BROUGHT = "\0brought"  # stands for the file that was brought, so that no table's name is taken for it


@dataclass(frozen=True)
class Entry:
    """One row as brought: its line, the table it is for, its filled cells."""

    row: int
    table: str
    cells: dict[str, str]


@dataclass(frozen=True)
class New:
    """One good row, with the name it gets."""

    row: int
    table: str
    name: str
    cells: dict[str, str]


@dataclass(frozen=True)
class Judged:
    """good: rows to add, in the order brought; already: (line, where the same stands); problems: of the bad ones."""

    good: tuple[New, ...]
    already: tuple[tuple[int, str], ...]
    problems: tuple[Problem, ...]


def header_problems(name: str, header: Sequence[str]) -> list[Problem]:
    """A header that is not of this file."""
    out = []
    if TABLE not in header:
        out.append(Problem(name, 1, TABLE, "no such column", "the column that says which table a row is for", "Save the file from the week's page, or add the column: " + ", ".join(LOGGED) + ".", code="missing-column"))
    for column in dict.fromkeys(header):
        if column not in COLUMNS:
            found = "an unknown column" if column else "a column without a name"
            out.append(Problem(name, 1, column[:40], found, "columns of " + ", ".join(LOGGED), f"Remove or rename it.{did_you_mean(column, COLUMNS)}", code="unknown-column"))
        elif header.count(column) > 1:
            out.append(Problem(name, 1, column, "the column twice", "each column once", "Remove one of them.", code="column-twice"))
    return out


def judge(project: Project, name: str, brought: Sequence[tuple[int, Mapping[str, str]]], grounds: Mapping[str, Ground], today: dt.date | None) -> Judged:
    """Hold every row against the columns' own rules, the project, and the rows that are there.

    brought : line number and filled cells by column, `table` among them
    grounds : of the fields that the rows name, as far as they exist
    today   : no row may be of a later day; None where a story is told
    """
    entries, problems = _of_tables(brought)
    for entry in entries:
        problems += _cell_problems(entry)
    rows = {table: _read(table, [e for e in entries if e.table == table], problems) for table in LOGGED}
    trial = replace(project, tables={**project.tables, **rows}, files={**project.files, **dict.fromkeys(LOGGED, BROUGHT)})
    problems += [p for p in check(trial) if p.file == BROUGHT]
    problems += [] if today is None else [p for p in in_the_future(trial, today) if p.file == BROUGHT]
    for table in LOGGED:
        for row in rows[table]:
            if row.get("field_id") in grounds:
                problems += place_problems(BROUGHT, table, row, grounds[row["field_id"]])
    bad = {p.row for p in problems}
    values = {row.row: row for table in LOGGED for row in rows[table]}
    read_rows = [(e, values[e.row]) for e in entries if e.row not in bad]
    good, already, twins = _told_apart(project, read_rows)
    said = sorted({replace(p, file=name) for p in problems + twins}, key=lambda p: (p.row or 0, p.column or "", p.found))
    return Judged(tuple(good), tuple(already), tuple(said))


def _of_tables(brought) -> tuple[list[Entry], list[Problem]]:
    out, problems = [], []
    for row, cells in brought:
        table = cells.get(TABLE, "")
        if table in LOGGED:
            out.append(Entry(row, table, {c: v for c, v in cells.items() if c != TABLE}))
        else:
            found = repr(table[:40]) if table else "nothing"
            problems.append(Problem(BROUGHT, row, TABLE, found, "one of " + ", ".join(LOGGED), f"Say which table the row is for.{did_you_mean(table[:40], LOGGED)}", code="unknown-table"))
    return out, problems


def _cell_problems(entry: Entry) -> list[Problem]:
    """Cells of another table, and text that no note is."""
    out, fields = [], {f.name: f for f in TABLES[entry.table]}
    for column, cell in entry.cells.items():
        if column not in fields:
            out.append(Problem(BROUGHT, entry.row, column, _short(cell), f"an empty cell: {entry.table} has no such column", "Empty it, or correct `table`.", code="cell-of-another-table"))
        elif len(cell) > LONGEST:
            out.append(Problem(BROUGHT, entry.row, column, f"{len(cell):,} letters", f"at most {LONGEST:,}", "Shorten it.", code="too-long"))
        elif any(unicodedata.category(c) in ("Cc", "Cs") and c != "\t" for c in cell):
            out.append(Problem(BROUGHT, entry.row, column, _short(cell), "text without control signs", "Write it again.", code="control-signs"))
        elif fields[column].read is text and column != "value" and FORMULA.match(cell):
            out.append(Problem(BROUGHT, entry.row, column, _short(cell), "text that a spreadsheet does not take for a formula", "Begin it with a letter.", code="formula"))
    day = entry.cells.get(WHEN[entry.table], "")
    if re.fullmatch(r"\d{4}-\d\d-\d\d", day) and int(day[:4]) < FIRST_YEAR:
        out.append(Problem(BROUGHT, entry.row, WHEN[entry.table], day, f"a day of {FIRST_YEAR} or later", "Correct the year.", code="not-a-day"))
    return out


def _read(table: str, entries: Sequence[Entry], problems: list[Problem]) -> tuple[Read, ...]:
    """The rows of one table as values. Their names are looked at apart: an empty one is no fault, and a row that stands
    there already is told by what it says."""
    called = NAMED_BY[table]
    for e in entries:
        try:
            ident(e.cells.get(called, "x"))
        except Bad as bad:
            problems.append(Problem(BROUGHT, e.row, called, _short(e.cells[called]), *bad.args, code="cell-not-allowed"))
    shown = tuple((e.row, {**{c: v[:LONGEST] for c, v in e.cells.items()}, called: f"row-{e.row}"}) for e in entries)
    rows, found = read(table, Rows(BROUGHT, tuple(f.name for f in TABLES[table]), shown))
    problems += [replace(p, found=p.found if len(p.found) <= 80 else p.found[:77] + "...") for p in found]
    return rows


def _told_apart(project: Project, rows: Iterable[tuple[Entry, Read]]) -> tuple[list[New], list[tuple[int, str]], list[Problem]]:
    """New rows with their names, rows that stand there already, and names that another row has."""
    stands = {(t, says(t, r)): f"{project.files[t]}, row {r.row}" for t in LOGGED for r in reversed(project.tables[t])}
    names = {t: {r.get(NAMED_BY[t]): f"row {r.row} of {project.files[t]}" for r in project.tables[t]} for t in LOGGED}
    given = {t: {e.cells.get(NAMED_BY[t]) for e, _ in rows if e.table == t} for t in LOGGED}
    good, already, problems = [], [], []
    for entry, row in rows:
        table, called = entry.table, NAMED_BY[entry.table]
        key, name = (table, says(table, row)), entry.cells.get(called)
        if key in stands:
            already.append((entry.row, stands[key]))
            continue
        if name in names[table]:
            problems.append(Problem(BROUGHT, entry.row, called, f"{name!r} again ({names[table][name]} says something else)", "each one once",
                                    "Empty it: the row gets a name of its own. To correct the other row, edit its table.", code="id-twice"))  # fmt: skip
            continue
        name = name or _name(table, row, names[table].keys() | given[table])
        names[table][name] = stands[key] = f"row {entry.row} of this file"
        good.append(New(entry.row, table, name, {**entry.cells, **_days(row), called: name}))
    return good, already, problems


def says(table: str, row: Read) -> frozenset:
    """What a row says: every filled column but its name."""
    return frozenset((c, v) for c, v in row.values.items() if c != NAMED_BY[table])


def _days(row: Read) -> dict[str, str]:
    return {c: v.isoformat() for c, v in row.values.items() if isinstance(v, dt.date)}


def _name(table: str, row: Read, taken) -> str:
    """`<field>-<date>-<word>`, with -2, -3, ... where that is taken."""
    word = row["work"] if table == "works" else "walk" if table == "walks" else row["value"] if row["kind"] == "seen" else row["kind"]
    stem = f"{row['field_id']}-{row[WHEN[table]]}-{word.replace('_', '-')}"
    return next(n for n in (stem, *(f"{stem}-{k}" for k in range(2, len(taken) + 3))) if n not in taken)


def _short(cell: str) -> str:
    return repr(cell) if len(cell) <= 60 else repr(cell[:57] + "...")
