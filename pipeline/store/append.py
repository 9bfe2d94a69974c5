"""Rows added to an operator's table: every byte that stood there stays, but for columns added to the header."""

from __future__ import annotations

import csv
import io
from typing import Mapping, Sequence

MARK = b"\xef\xbb\xbf"  # some spreadsheets begin UTF-8 with it


def appended(before: bytes, rows: Sequence[Mapping[str, str]], order: Sequence[str]) -> bytes:
    """The table's bytes with rows at its end.

    before : of a table that can be read, or empty for a new one
    rows   : cells by column
    order  : the table's columns as we list them: of a new table its header, of an old one the order of columns it lacks
    """
    mark, text = (MARK, before[len(MARK) :].decode("utf-8")) if before.startswith(MARK) else (b"", before.decode("utf-8"))
    end = "\r\n" if "\r\n" in text else "\n"
    if not text.strip():
        header = [c for c in order if any(r.get(c) for r in rows)]
        return mark + (_line(header, end) + "".join(_line([r.get(c, "") for c in header], end) for r in rows)).encode()
    start, stop, header = _header(text)
    lacks = [c for c in order if c not in header and any(r.get(c) for r in rows)]
    if lacks:
        text = text[:stop] + "," + _line(lacks, "") + text[stop:]
    whole = [*header, *lacks]
    body = text if text.endswith(("\n", "\r")) else text + end
    return mark + (body + "".join(_line([r.get(c, "") for c in whole], end) for r in rows)).encode()


def _header(text: str) -> tuple[int, int, list[str]]:
    """Where the header's line begins and ends, and its names."""
    at = 0
    for line in text.splitlines(keepends=True):
        bare = line.rstrip("\r\n")
        cells = next(csv.reader([bare]), [])
        if any(c.strip() for c in cells):
            return at, at + len(bare), [c.strip() for c in cells]
        at += len(line)
    raise ValueError("a table without a header")


def _line(cells: Sequence[str], end: str) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator=end).writerow(cells)
    return out.getvalue()
