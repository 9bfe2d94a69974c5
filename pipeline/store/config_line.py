"""Keys added to config.yaml, every other byte of it kept: comments are the owner's, too."""

from __future__ import annotations

import re
from typing import Mapping

from pipeline.store.each_line import split_lines
from pipeline.tables import TABLES

SCALAR = re.compile(rb"[a-z_]+\s*:\s+[^\s{\[|>&*#].*")


def with_keys(old: bytes, named: Mapping[str, str], lines: Mapping[tuple[str, ...], int]) -> bytes | None:
    """The settings with `key: value` of each below the last table that they name, else at their end; None where no place for them
    can be told.

    lines : line number of every key by its path
    """
    rows = split_lines(old)
    end = next((e for _, e in rows if e), b"\n")
    more = [(f"{key}: {value}".encode(), end) for key, value in named.items()]
    tables = [lines[name,] for name in TABLES if (name,) in lines]
    at = max(tables, default=len(rows))
    if tables:
        fits = SCALAR.fullmatch(rows[at - 1][0]) is not None and not (at < len(rows) and rows[at][0][:1] in (b" ", b"\t"))
    else:
        fits = all(re.match(rb"[a-z_#\s]", raw[:1]) for raw, _ in rows if raw)
    if not fits:
        return None
    if at and not rows[at - 1][1]:  # the last line has no end: a new one follows it
        rows[at - 1] = (rows[at - 1][0], end)
    return b"".join(raw + e for raw, e in [*rows[:at], *more, *rows[at:]])
