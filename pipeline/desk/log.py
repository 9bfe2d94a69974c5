"""`log`: what the crew wrote comes into works.csv, readings.csv and walks.csv."""

from __future__ import annotations

import datetime as dt
import os
import sys
from collections import Counter
from pathlib import Path
from typing import Iterable, Mapping, Sequence

from pipeline.coordinates import read_crs, unit_m
from pipeline.desk.log_asked import asked
from pipeline.desk.log_places import Ground
from pipeline.desk.log_rows import Judged, New, header_problems, judge
from pipeline.desk.look import SCENARIO, layout_of, require_filled
from pipeline.errors import BadInput, Problem
from pipeline.project import Project
from pipeline.store import files
from pipeline.store.added import Replaced, free_name, fresh, locked, replace_all, with_rows
from pipeline.store.config import find, load, read_config
from pipeline.store.config_line import with_keys
from pipeline.store.each_line import read_lines, to_mend
from pipeline.tables import LOGGED, TABLES

DONE, BAD, SOME = 0, 1, 3
NAMED = 8  # new rows that are named; more are counted


def log(given: Sequence[Path], keep_good: bool) -> int:
    """Add a file's rows, or those typed in where no file is given. Exit status: 0 all rows stand in the tables, 1 some row is bad
    and nothing was written, 3 the good ones were added and the bad ones laid aside."""
    *file, config = given
    for path in given[-1:]:
        if path.suffix.lower() == ".csv":
            raise BadInput([Problem(str(path), None, None, "a table where the project is expected", "config.yaml, or the folder that holds it", "skinplane log FILE CONFIG: the file first, then the project.", code="wrong-order")])
    with locked(find(config).parent):
        project, folder = load(config)
        require_filled(project)
        return _from_file(file[0], project, folder, config, keep_good) if file else _typed(project, folder, config)


def _from_file(path: Path, project: Project, folder: Path, config: Path, keep_good: bool) -> int:
    name = path.name
    brought = read_lines(path, name)
    problems = header_problems(name, brought.header)
    if problems:
        raise BadInput(problems)
    whole = [line for line in brought.lines if not line.problems]
    rows = [(line.row, line.cells) for line in whole if line.cells]
    found = judge(project, name, rows, grounds(project, folder, (cells.get("field_id", "") for _, cells in rows)), _today(folder))
    problems = sorted([*found.problems, *(p for line in brought.lines for p in line.problems)], key=lambda p: (p.row or 0, p.column or ""))
    _tell_already(f"{name}, row", found)
    if problems and not keep_good:
        for problem in problems:
            print(problem, file=sys.stderr)
        bad = len({p.row for p in problems})
        print(f"{bad} bad row{'s' * (bad != 1)}; nothing was written. --keep-good adds the others and lays these aside for mending.", file=sys.stderr)
        return BAD
    bad = {p.row for p in problems}
    aside = [line for line in brought.lines if line.row in bad]
    left = free_name(path.with_name(f"{path.stem}-to-mend.csv")) if aside else None
    status = write(project, folder, config, found.good, {left: to_mend(brought.head, aside)} if left else {})
    if not rows and not problems:
        print(f"{name} holds no row.")
    if problems:
        for problem in problems:
            print(problem, file=sys.stderr)
        print(f"{len(aside)} bad row{'s' * (len(aside) != 1)} laid aside in {os.path.relpath(left)}: mend and log that file.", file=sys.stderr)
        return SOME
    return status


def _tell_already(what: str, found: Judged) -> None:
    for line, where in found.already:
        print(f"{what} {line}: stands there already ({where}); not added again.")
    if found.already:
        print("Where a thing was done or seen twice on one day, tell the two apart in the notes.")


def _typed(project: Project, folder: Path, config: Path) -> int:
    """Rows asked for line by line; written once they are confirmed."""
    every = grounds(project, folder, project.fields)
    today = _today(folder)
    rows = asked(project, every, lambda cells: judge(project, "the answers", [(1, cells)], every, today).problems)
    if rows is None:
        print("Nothing was written.", file=sys.stderr)
        return BAD
    found: Judged = judge(project, "the answers", list(enumerate(rows, start=1)), every, today)
    _tell_already("Row", found)
    if found.problems:
        raise BadInput(found.problems)
    return write(project, folder, config, found.good, {})


def grounds(project: Project, folder: Path, field_ids: Iterable[str]) -> dict[str, Ground]:
    """The ground of these fields, as far as there are such. raises: BadInput where their shapes cannot be used"""
    out, problems = {}, []
    for field_id in sorted(set(field_ids) & project.fields.keys()):
        row = project.fields[field_id]
        layout, faults = layout_of(project, folder, field_id, row)
        problems += faults
        if layout is not None:
            out[field_id] = Ground(layout, unit_m(read_crs(row["crs"])))
    if problems:
        raise BadInput(problems)
    return out


def _today(folder: Path) -> dt.date | None:
    """No row may be of a later day; a story may play in any year."""
    return None if files.is_file(folder / SCENARIO) else dt.date.today()


def write(project: Project, folder: Path, config: Path, good: Sequence[New], beside: Mapping[Path, bytes]) -> int:
    """Put the rows at the ends of their tables, all or none, and read the project again; as before where that fails."""
    if not good and not beside:
        print("Nothing new; no table was changed.")
        return DONE
    new, named = _new_bytes(project, folder, config, good)
    try:
        done = replace_all({**beside, **new})
    except OSError as error:
        raise BadInput([Problem(os.path.relpath(error.filename or folder), None, None, f"a file that cannot be written ({error.strerror})", "one that can", "Nothing was changed. See that you may write there and that there is room.", code="cannot-write")]) from None
    try:
        _look_again(project, config, good)
    except BaseException:
        done.back()
        raise
    _tell(good, project.files | named, done, config)
    return DONE


def _new_bytes(project: Project, folder: Path, config: Path, good: Sequence[New]) -> tuple[dict[Path, bytes], dict[str, str]]:
    """Every file that changes with its new bytes, and tables that config.yaml does not name yet with the file they get."""
    out: dict[Path, bytes] = {}
    named: dict[str, str] = {}
    for table in LOGGED:
        rows = [r.cells for r in good if r.table == table]
        if not rows:
            continue
        columns = [f.name for f in TABLES[table]]
        if table in project.files:
            path = folder / project.files[table]
            old = path.read_bytes()
        else:
            named[table] = f"{table}.csv"
            path = folder / named[table]
            if os.path.lexists(path):
                raise BadInput([Problem(project.files["config"], None, table, f"nothing, while {path.name} stands beside it", f"the table of {table}", f"Write `{table}: {path.name}` into it, or give that file another name.", code="table-not-named")])
            old = fresh(columns)
        out[path] = with_rows(old, rows, columns, str(path))
    if named:
        path = find(config)
        out[path] = _with_keys(path, named)
    return out, named


def _with_keys(path: Path, named: Mapping[str, str]) -> bytes:
    out = with_keys(path.read_bytes(), named, read_config(path)[2])
    if out is None:
        lines = " and ".join(f"`{table}: {file}`" for table, file in named.items())
        raise BadInput([Problem(path.name, None, next(iter(named)), "nothing", "the table that the rows go to", f"Write {lines} into it, make the file with its header, then log again.", code="table-not-named")])
    return out


def _look_again(project: Project, config: Path, good: Sequence[New]) -> None:
    """The tables as they now stand hold what they held and the new rows, and the project can be run."""
    after, _ = load(config)
    for table in LOGGED:
        before = [r.cells for r in project.tables[table]]
        now = [r.cells for r in after.tables[table]]
        wanted = before + [{c: v for c, v in r.cells.items() if v} for r in good if r.table == table]
        if now != wanted:
            file = after.files.get(table, f"{table}.csv")
            raise BadInput([Problem(file, None, None, "other rows than were written", "the rows from before and the new ones", "Everything is as it was; save the table anew as CSV UTF-8 and try again.", code="written-otherwise")])


def _tell(good: Sequence[New], named: Mapping[str, str], done: Replaced, config: Path) -> None:
    count = Counter(r.table for r in good)
    for table in (t for t in LOGGED if count[t]):
        names = [r.name for r in good if r.table == table]
        more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
        print(f"{named[table]}: {count[table]} row{'s' * (count[table] != 1)} added: {', '.join(names[:NAMED])}{more}.")
    if done.copies:
        print("As they were before: " + ", ".join(os.path.relpath(c) for c in done.copies) + ".")
    if good:
        print(f"Bring the pages up to date: skinplane run {os.path.relpath(config)}")
