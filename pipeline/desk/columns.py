"""Rows as columns of text, for a terminal or a pipe: no colour, no frame."""

from __future__ import annotations

from typing import Sequence


def lined_up(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Head and rows, each column as wide as its widest cell, two blanks between; the last column is not padded."""
    table = [tuple(head), *map(tuple, rows)]
    wide = [max(len(row[k]) for row in table) for k in range(len(head))]
    return ["  ".join([*(f"{cell:{wide[k]}}" for k, cell in enumerate(row[:-1])), row[-1]]).rstrip() for row in table]
