"""One key added to config.yaml, every other byte of it kept: comments are the owner's, too."""

from __future__ import annotations

import re
from typing import Mapping

from pipeline.store.each_line import split_lines
from pipeline.tables import TABLES

SCALAR = re.compile(rb"[a-z_]+\s*:\s+[^\s{\[|>&*#].*")


def with_key(old: bytes, key: str, value: str, lines: Mapping[tuple[str, ...], int]) -> bytes | None:
    """The settings with `key: value` below the last table that they name, else at their end; None where no place for it can be told.

    lines : line number of every key by its path
    """
    rows = split_lines(old)
    end = next((e for _, e in rows if e), b"\n")
    line = f"{key}: {value}".encode()
    named = [lines[name,] for name in TABLES if (name,) in lines]
    if named:
        at = max(named)
        if SCALAR.fullmatch(rows[at - 1][0]) is None or (at < len(rows) and rows[at][0][:1] in (b" ", b"\t")):
            return None
        rows[at - 1 : at] = [(rows[at - 1][0], end), (line, rows[at - 1][1] and end)]
    elif all(re.match(rb"[a-z_#\s]", raw[:1]) for raw, _ in rows if raw):
        if rows and not rows[-1][1]:
            rows[-1] = (rows[-1][0], end)
        rows.append((line, end))
    else:
        return None
    return b"".join(raw + e for raw, e in rows)
