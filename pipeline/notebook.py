"""What a crew wrote down, as rows of the operator's tables: one file holds rows of several tables, each named for its own."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Mapping, Sequence

from pipeline.errors import Problem, did_you_mean
from pipeline.project import Project, check, in_the_future
from pipeline.tables import NAMED_BY, TABLES, Read, Rows, read

TABLE = "table"
INTO = ("works", "readings", "walks")
COLUMNS = (TABLE, *dict.fromkeys(f.name for table in INTO for f in TABLES[table]))
DAY_OF = {"works": "done_on", "readings": "read_on", "walks": "walked_on"}
WORD_OF = {"works": "work", "readings": "kind", "walks": "item"}


@dataclass(frozen=True)
class Noted:
    """One row of the file. table: works, readings or walks; read: its cells, line number and values, its id among them."""

    table: str
    read: Read


@dataclass(frozen=True)
class Sorted:
    """good: rows to be added, in file order; twice: (row, where the same stands already); problems: faults of the others."""

    good: tuple[Noted, ...]
    twice: tuple[tuple[Noted, str], ...]
    problems: tuple[Problem, ...]

    @property
    def bad_rows(self) -> set[int]:
        return {p.row for p in self.problems if p.row is not None}


def header_problems(rows: Rows) -> list[Problem]:
    """Faults of the file as a whole: with one of them no row can be read."""
    out = []
    for name in dict.fromkeys(rows.header):
        if name not in COLUMNS:
            todo = f"Remove or rename it.{did_you_mean(name, COLUMNS)}" if name else "Name the column or take it out."
            out.append(Problem(rows.file, 1, name, "an unknown column" if name else "a column without a name", "table, or a column of works, readings or walks", todo))
    for name in sorted({n for n in rows.header if n and rows.header.count(n) > 1}):
        out.append(Problem(rows.file, 1, name, "the column twice", "each column once", "Remove one of them."))
    if TABLE not in rows.header:
        out.append(Problem(rows.file, 1, TABLE, "no such column", "the table each row is for", f"Add the column {TABLE} with one of {', '.join(INTO)}."))
    return out


def sort(rows: Rows, project: Project, today: dt.date | None) -> Sorted:
    """Every row judged by the tables' own rules, beside what they hold already.

    rows   : of a file whose header has no fault
    today  : no row may be later; None where a story may play in any year
    """
    made, problems = _apart(rows)
    new: dict[str, tuple[Read, ...]] = {}
    for table, own in made.items():
        found, faults = read(table, Rows(rows.file, tuple(f.name for f in TABLES[table]), tuple(_named(table, own, project))))
        new[table] = found
        problems += faults
    problems += _together(project, new, rows.file, today)
    twice = _known(project, new, rows.file)
    problems += [p for p in _ids_taken(project, new, rows.file) if p.row not in twice]
    bad = {p.row for p in problems}
    noted = sorted((Noted(t, r) for t, found in new.items() for r in found), key=lambda n: n.read.row)
    return Sorted(tuple(n for n in noted if n.read.row not in bad and n.read.row not in twice), tuple((n, twice[n.read.row]) for n in noted if n.read.row in twice and n.read.row not in bad),
                  tuple(sorted(problems, key=lambda p: (p.row or 0, p.column or ""))))  # fmt: skip


def _apart(rows: Rows) -> tuple[dict[str, list[tuple[int, dict[str, str]]]], list[Problem]]:
    """Rows by table, with what is filled in for another table named."""
    out: dict[str, list[tuple[int, dict[str, str]]]] = {}
    problems = []
    for line, cells in rows.rows:
        table = (cells.get(TABLE) or "").strip()
        if table not in INTO:
            problems.append(Problem(rows.file, line, TABLE, repr(table) if table else "nothing", "one of " + ", ".join(INTO), f"Name the table.{did_you_mean(table, INTO)}"))
            continue
        own = {f.name for f in TABLES[table]}
        for name in (n for n, text in cells.items() if n != TABLE and n not in own and (text or "").strip()):
            problems.append(Problem(rows.file, line, name, repr(cells[name].strip()), f"nothing: {table} has no such column", "Empty the cell, or correct the table."))
        out.setdefault(table, []).append((line, {n: t for n, t in cells.items() if n in own}))
    return out, problems


def _named(table: str, own: Sequence[tuple[int, dict[str, str]]], project: Project):
    """Rows with an id each: one that has none is named after its field, day and word."""
    name = NAMED_BY[table]
    taken = {r.get(name) for r in project.tables.get(table, ())} | {(c.get(name) or "").strip() for _, c in own}
    for line, cells in own:
        if not (cells.get(name) or "").strip():
            parts = [(cells.get(c) or "").strip().lower() for c in ("field_id", DAY_OF[table], WORD_OF[table])]
            stem = re.sub(r"[^a-z0-9]+", "-", "-".join(p for p in parts if p)).strip("-") or table
            made, k = stem, 2
            while made in taken:
                made, k = f"{stem}-{k}", k + 1
            taken.add(made)
            cells = {**cells, name: made}
        yield line, cells


def _together(project: Project, new: Mapping[str, tuple[Read, ...]], file: str, today: dt.date | None) -> list[Problem]:
    """What no single cell shows: fields that are not there, amounts without a unit, days to come."""
    tables = {n: new.get(n, ()) if n in INTO else rows for n, rows in project.tables.items()} | dict(new)
    alone = Project(project.config, tables, {**project.files, **{t: file for t in INTO}}, project.lines, project.unread)
    found = check(alone) + (in_the_future(alone, today) if today is not None else [])
    return [p for p in found if p.file == file]


def content(table: str, row: Read) -> tuple:
    """What a row says, its id aside: two rows that say the same are one."""
    return table, *sorted((n, str(v)) for n, v in row.values.items() if n != NAMED_BY[table])


def _known(project: Project, new: Mapping[str, tuple[Read, ...]], file: str) -> dict[int, str]:
    """Rows that say what a row of the tables, or an earlier one of the file, says: line -> where that stands."""
    seen = {content(t, r): f"{project.files.get(t, t)}, row {r.row}" for t in INTO for r in project.tables.get(t, ())}
    out = {}
    for row, table in sorted(((r, t) for t, found in new.items() for r in found), key=lambda x: x[0].row):
        said = content(table, row)
        if said in seen:
            out[row.row] = seen[said]
        else:
            seen[said] = f"{file}, row {row.row}"
    return out


def _ids_taken(project: Project, new: Mapping[str, tuple[Read, ...]], file: str) -> list[Problem]:
    """Ids under which the tables hold something else."""
    out = []
    for table, found in new.items():
        name = NAMED_BY[table]
        held = {r.get(name): r.row for r in project.tables.get(table, ())}
        for row in found:
            if row.get(name) in held:
                out.append(Problem(file, row.row, name, f"{row.get(name)!r}, which {project.files[table]} holds in row {held[row.get(name)]} with other cells", "an id of its own, or none",
                                   "Empty the cell and it gets one, or correct the row in the table by hand."))  # fmt: skip
    return out
