"""What a column of a result table is, in one place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Column:
    """One column of a result table.

    kind : `word`, `date`, `m` (3 decimals), `mm` (1 decimal), `m2` and `t` (2), `m3` (3), `pct` (2), `deg` (1),
           `count`, `p` (4 decimals), `value` (3; unit as the column says), `flag` (true or false), `text`
    """

    name: str
    kind: str
    meaning: str
    key: bool = False


DECIMALS = {"m": 3, "mm": 1, "m2": 2, "m3": 3, "t": 2, "pct": 2, "deg": 1, "p": 4, "rate4": 4, "value": 3}


def columns_of(*rows: tuple) -> tuple[Column, ...]:
    return tuple(Column(*row) for row in rows)


PAIR = (("from_survey", "word", "the earlier survey", True), ("to_survey", "word", "the later survey", True))
