"""Plans as they were made, in one folder: a new one beside the old ones, none overwritten."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from dataclasses import dataclass
from pathlib import Path

from pipeline.store.atomic import read_text, write_text

_NAME = re.compile(r"(\d{4})-(\d{4}-\d\d-\d\d)-(\d\d)\.csv")


@dataclass(frozen=True, order=True)
class Kept:
    """One kept plan: its first year, the newest survey's day when it was made, and which of that day's it is."""

    made_on: dt.date
    number: int
    first_year: int
    path: str

    @property
    def name(self) -> str:
        return Path(self.path).stem


def kept(folder: str | Path) -> list[Kept]:
    """All plans of a folder, in the order in which they were made; none where there is no such folder."""
    found = [(p, m) for p in Path(folder).glob("*.csv") if (m := _NAME.fullmatch(p.name))]
    return sorted(Kept(dt.date.fromisoformat(m[2]), int(m[3]), int(m[1]), str(p)) for p, m in found)


def keep(folder: str | Path, first_year: int, made_on: dt.date, written: str | Path) -> str:
    """Keep a plan beside those before it, as `<first year>-<newest survey's day>-<number>.csv`; one that is the same as the last of that
    day but for the words of its reasons is kept already. Returns its name."""
    text = read_text(written)
    before = [k for k in kept(folder) if k.first_year == first_year and k.made_on == made_on]
    if before and _choices(read_text(before[-1].path)) == _choices(text):
        return before[-1].name
    path = Path(folder) / f"{first_year}-{made_on}-{(before[-1].number if before else 0) + 1:02}.csv"
    write_text(path, text)
    return path.stem


def _choices(text: str) -> list[dict]:
    """A plan's rows without their reasons: other words for the same choices are no other plan."""
    return [{k: v for k, v in row.items() if k != "reason"} for row in csv.DictReader(io.StringIO(text))]
