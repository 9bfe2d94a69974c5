"""Hours of play up to a day, from a table of use by month."""

from __future__ import annotations

import calendar
import datetime as dt
from typing import Mapping, Sequence

import numpy as np

YEAR_MONTHS = 12


def monthly(rows: Sequence[Mapping]) -> dict[tuple[int, int], float]:
    """(year, month) -> hours, from rows with `month` as 2026-04 and `hours`; a month that cannot be read is left out."""
    out: dict[tuple[int, int], float] = {}
    for row in rows:
        year, _, month = str(row["month"]).partition("-")
        if year.isdigit() and month[:2].isdigit() and 1 <= int(month[:2]) <= YEAR_MONTHS:
            out[int(year), int(month[:2])] = float(row["hours"])
    return out


def hours_until(days: Sequence[dt.date], known: Mapping[tuple[int, int], float], start: dt.date) -> np.ndarray:
    """Hours of play from `start` to each day, (T,); NaN from the first month that is neither known nor has a namesake that is.

    A month not in the table, say one to come, is taken as played like the mean of the same month in the years known.
    """
    like: dict[int, list[float]] = {}
    for (_, month), hours in known.items():
        like.setdefault(month, []).append(hours)
    return np.array([_until(day, known, like, start) for day in days], float)


def _until(day: dt.date, known: Mapping, like: Mapping[int, list[float]], start: dt.date) -> float:
    total, at = 0.0, start
    while at < day:
        length = calendar.monthrange(at.year, at.month)[1]
        ends = at.replace(day=1) + dt.timedelta(days=length)
        hours = known.get((at.year, at.month), np.mean(like[at.month]) if at.month in like else np.nan)
        total += hours * (min(ends, day) - at).days / length
        at = ends
    return float(total)
