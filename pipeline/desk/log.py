"""`log`: what the crew wrote down comes into works.csv, readings.csv and walks.csv."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

from pipeline.desk.ask import asked
from pipeline.desk.look import SCENARIO, look
from pipeline.errors import BadInput, Problem
from pipeline.notebook import COLUMNS, INTO, Noted, Sorted, header_problems, sort
from pipeline.project import Project
from pipeline.store import files
from pipeline.store.append import appended
from pipeline.store.atomic import replacing
from pipeline.store.config import find, load
from pipeline.store.tables import read_rows
from pipeline.store.together import one_at_a_time, put_back, replace_all
from pipeline.tables import TABLES, Rows

FINE, BAD, REFUSED = 0, 1, 3
TYPED = "-"


def log(given: str, config: Path, keep_good: bool = False) -> int:
    """Add the rows of a file, or typed in line by line, to the project's tables. Exit status: 0 all added, 1 nothing added,
    3 added, but for rows that stand there already or were put aside."""
    with one_at_a_time(find(config).parent):
        pass  # what a writer that died left half done is put back before anything is read
    project, folder = load(config)
    today = None if files.is_file(folder / SCENARIO) else dt.date.today()
    rows = asked(project, today) if given == TYPED else read_rows(given, Path(given).name)
    if rows is None:
        print("Nothing was written.")
        return FINE
    with one_at_a_time(folder) as lock:
        project, folder = load(config)  # as it stands now that nobody else writes
        if problems := header_problems(rows):
            raise BadInput(problems)
        found = sort(rows, project, today)
        _say_faults(found, keep_good)
        if found.problems and not keep_good:
            return BAD
        if not found.good:
            print("Nothing to add: no row is new.")
            return REFUSED if found.twice or found.problems else FINE
        _write(project, config, folder, found, lock)
        aside = _put_aside(given, rows, found) if found.problems else None
    _say_done(project, found, aside)
    return REFUSED if found.twice or found.problems else FINE


def _say_faults(found: Sorted, keep_good: bool) -> None:
    for problem in found.problems:
        print(problem, file=sys.stderr)
    for noted, where in found.twice:
        print(f"row {noted.read.row}: {where} says the same; left out.")
    if found.problems and not keep_good:
        bad = len(found.bad_rows)
        print(f"{bad} row{'s' * (bad != 1)} cannot be added; nothing was written. Mend {'them' if bad != 1 else 'it'}, or add the others with --keep-good.", file=sys.stderr)


def _write(project: Project, config: Path, folder: Path, found: Sorted, lock: Path) -> None:
    """All tables at once; put back where the project would not stand with them."""
    out: dict[Path, bytes] = {}
    lines: list[str] = []
    for table in INTO:
        rows = [noted.read.cells for noted in found.good if noted.table == table]
        if not rows:
            continue
        name = project.files.get(table)
        path = folder / (name or f"{table}.csv")
        if name is None:
            if path.exists():
                raise BadInput([Problem(path.name, None, None, "a file that config.yaml does not name", f"`{table}: {path.name}` in config.yaml", "Name it there if it is the table, or move it away.")])
            lines.append(f"{table}: {path.name}")
        out[path] = appended(path.read_bytes() if path.exists() else b"", rows, [f.name for f in TABLES[table]])
    if lines:
        settings = find(config)
        out[settings] = _with_keys(settings.read_bytes(), lines)
    kept = replace_all(lock, out)
    try:
        look(*load(config))
    except BaseException:
        put_back(kept)
        raise


def _with_keys(before: bytes, lines: list[str]) -> bytes:
    """config.yaml with keys for new tables, after the one that names the works or, failing that, at its end."""
    end = b"\r\n" if b"\r\n" in before else b"\n"
    new = b"".join(line.encode() + end for line in lines)
    rows = before.splitlines(keepends=True)
    at = next((k for k, row in enumerate(rows) if row.startswith(b"works:")), None)
    if at is None or not rows[at].endswith((b"\n", b"\r")):
        return before + (b"" if before.endswith((b"\n", b"\r")) else end) + new
    return b"".join([*rows[: at + 1], new, *rows[at + 1 :]])


def _put_aside(given: str, rows: Rows, found: Sorted) -> Path:
    """The rows that could not be added, in a file of their own beside the one they came in."""
    source = Path(given if given != TYPED else "typed.csv")
    k = 1
    while (path := source.with_name(f"{source.stem}.to-mend-{k}.csv")).exists():
        k += 1
    header = [c for c in COLUMNS if c in rows.header]
    bad = [{c: (cells.get(c) or "").strip() for c in header} for line, cells in rows.rows if line in found.bad_rows]
    with replacing(path) as temporary:
        temporary.write_bytes(appended(b"", bad, header))
    return path


def _say_done(project: Project, found: Sorted, aside: Path | None) -> None:
    for table in INTO:
        mine = [n for n in found.good if n.table == table]
        if mine:
            print(f"{project.files.get(table, f'{table}.csv')}: {len(mine)} row{'s' * (len(mine) != 1)} added; as it was before: beside it, .before-<number>.")
    if aside is not None:
        print(f"{aside}: {len(found.bad_rows)} row{'s' * (len(found.bad_rows) != 1)} to mend and add again.")
    print(f"Fields that changed: {', '.join(_fields(found.good))}. Bring their pages up to date with: skinplane run")


def _fields(good: tuple[Noted, ...]) -> list[str]:
    return sorted({n.read["field_id"] for n in good})
