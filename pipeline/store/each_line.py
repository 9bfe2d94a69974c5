"""A table that somebody brings, each of whose lines is read by itself: one bad line spoils no other."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.errors import BadInput, Problem
from pipeline.store.tables import parse_rows

MOST_BYTES = 20_000_000  # no crew writes so much; a cloud given by mistake does (ours)
LONGEST = 100_000  # bytes in a row: no note is so long (ours)
BOM = b"\xef\xbb\xbf"
LINE = re.compile(rb"([^\r\n]*)(\r\n|\n|\r|\Z)")


@dataclass(frozen=True)
class Line:
    """One row: its number in the file, its bytes without the line's end, its cells by column, or what is wrong with it as text."""

    row: int
    raw: bytes
    cells: dict[str, str]
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Lines:
    """A table as brought: the header's bytes, its columns, its rows; blank lines are passed over."""

    head: bytes
    header: tuple[str, ...]
    lines: tuple[Line, ...]


def split_lines(data: bytes) -> list[tuple[bytes, bytes]]:
    """Bytes as lines, each with its own end; the last may have none."""
    return [(m[1], m[2]) for m in LINE.finditer(data) if m[0]]


def read_lines(path: str | Path, name: str) -> Lines:
    """A table whose faulty lines are told one by one. `name` is what messages call it.

    raises: BadInput where nothing can be told apart: no such file, no text, no header
    """
    try:
        size = Path(path).stat().st_size if Path(path).is_file() else 0
        data = Path(path).read_bytes() if size <= MOST_BYTES else b""
    except FileNotFoundError:
        raise _no(name, None, "no such file", "the file that was saved", "Correct the path.") from None
    except IsADirectoryError:
        raise _no(name, None, "a folder", "a CSV file", "Give the path of the file itself.") from None
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or "its name"
        raise _no(name, None, f"a file that cannot be opened ({said})", "a CSV file", "See that you may read it.") from None
    if size > MOST_BYTES:
        raise _no(name, None, f"a file of {size / 1e6:,.0f} MB", f"at most {MOST_BYTES / 1e6:.0f} MB", "Give the file that the crew saved.")
    return lines_of(data, name)


def lines_of(data: bytes, name: str) -> Lines:
    """Bytes as lines; see `read_lines`."""
    rows = [(k, raw) for k, (raw, _) in enumerate(split_lines(data.removeprefix(BOM)), start=1)]
    rows = [(k, raw) for k, raw in rows if raw.strip(b" \t,\"")]
    if not rows:
        raise _no(name, 1, "an empty file", "a header row", "Save the table again.")
    at, head = rows[0]
    if b"\0" in head or data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _no(name, at, "NUL bytes between the letters", "UTF-8 text", "Save the table as CSV UTF-8, not as Unicode or UTF-16.")
    text = _text(head)
    if text is None:
        raise _no(name, at, "signs that are not UTF-8", "UTF-8 text", "Save the table as CSV UTF-8.")
    try:
        header = parse_rows(text + "\n", name).header
    except BadInput as bad:
        raise BadInput([replace(p, row=at) for p in bad.problems]) from None
    return Lines(head, header, tuple(_line(row, raw, text, name) for row, raw in rows[1:]))


def _line(row: int, raw: bytes, head: str, name: str) -> Line:
    """One line under the header, as if the file held no other."""
    if b"\0" in raw:
        return Line(row, raw, {}, (Problem(name, row, None, "NUL bytes between the letters", "UTF-8 text", "Write the row again.", code="not-utf-8"),))
    if len(raw) > LONGEST:
        return Line(row, raw, {}, (Problem(name, row, None, f"a row of {len(raw):,} letters", f"at most {LONGEST:,}", "Shorten it.", code="too-long"),))
    text = _text(raw)
    if text is None:
        return Line(row, raw, {}, (Problem(name, row, None, "signs that are not UTF-8", "UTF-8 text", "Save the table as CSV UTF-8.", code="not-utf-8"),))
    try:
        rows = parse_rows(f"{head}\n{text}\n", name).rows
    except BadInput as bad:
        return Line(row, raw, {}, tuple(replace(p, row=row, found=_short(p.found)) for p in bad.problems))
    cells = rows[0][1] if rows else {}
    return Line(row, raw, {column: cell.strip() for column, cell in cells.items() if cell.strip()})


def to_mend(head: bytes, lines: list[Line]) -> bytes:
    """The header and these lines as they were brought."""
    return BOM + b"".join(raw + b"\r\n" for raw in (head, *(line.raw for line in lines)))


def printed(cells: list[str], every: bool) -> bytes:
    """One row as CSV without the line's end; every: each cell in quotes."""
    out = io.StringIO()
    csv.writer(out, lineterminator="", quoting=csv.QUOTE_ALL if every else csv.QUOTE_MINIMAL).writerow(cells)
    return out.getvalue().encode()


def _text(raw: bytes) -> str | None:
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return None


def _short(text: str, most: int = 80) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."


def _no(name: str, row: int | None, found: str, expected: str, todo: str) -> BadInput:
    return BadInput([Problem(name, row, None, found, expected, todo, code="not-csv")])
