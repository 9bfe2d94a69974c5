"""What a file of points says of its day and of how it was made, beyond what measuring needs: proposals for `add`, never more.

source: LAS 1.4 R15, global encoding bit 0 (1: adjusted standard GPS time, seconds since 1980-01-06 less 1e9; 0: seconds of a week).
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

GPS_ZERO = dt.date(1980, 1, 6)
ADJUSTED_S = 1e9
WEEK_S = 7 * 86400.0
DAY_S = 86400.0
FIRST_YEAR = 1990
SAMPLE = 60_000


@dataclass(frozen=True)
class Said:
    """flown : the day by the points' own clock, where header and numbers agree that it is one; None otherwise
    likely : a day that something else hints at, and what does, in words; or None
    sound  : whether that day may be proposed as an answer: not where it may well be another
    source : `lidar`, `rover`, `raster` where the file can be nothing else; `photogrammetry` never is sure; or None
    guess  : a source that the file looks like, and why, in words; or None
    """

    flown: dt.date | None = None
    likely: tuple[dt.date, str] | None = None
    sound: bool = True
    source: str | None = None
    guess: tuple[str, str] | None = None


def said(path: str | Path, kind: str, has_rgb: bool, longitude: float) -> Said:
    """Day and source of a file that was opened before. kind : as in `Facts`; longitude : of the fields, degrees"""
    path = Path(path)
    named = _day_in_name(path.name)
    if kind == "raster":
        return Said(likely=named, source="raster")
    if kind == "walk":
        return Said(likely=named, source="rover")
    if kind != "las":
        return Said(likely=named)
    import laspy

    with laspy.open(path, encoding_errors="replace") as reader:
        header = reader.header
        names = set(header.point_format.dimension_names)
        points = reader.read_points(min(SAMPLE, header.point_count))
        times = np.asarray(points.gps_time) if "gps_time" in names else np.empty(0)
        several = len(points) and int(np.max(points.number_of_returns)) > 1
        standard = header.global_encoding.gps_time_type.value == 1
        created = header.creation_date
    timed = times[np.isfinite(times) & (times != 0)]
    flown = day_of_clock(timed, standard, longitude)
    likely = named
    if likely is None and flown is None and timed.size and np.median(timed) > WEEK_S and (day := _day(float(np.median(timed)) + ADJUSTED_S, longitude)):
        likely = day, "its points' clock, though its header says that clock is another"
    sound = likely is not None
    if likely is None and created is not None and FIRST_YEAR <= created.year <= dt.date.today().year:
        likely = created, "the day its header was written, which may be later than the flight"
    if several:
        return Said(flown, likely, sound, "lidar")
    if has_rgb and not timed.size:
        return Said(flown, likely, sound, guess=("photogrammetry", "it has colour, and neither times nor several returns"))
    return Said(flown, likely, sound, guess=("lidar", "its points carry times") if timed.size else None)


def day_of_clock(times_s: np.ndarray, standard: bool, longitude: float) -> dt.date | None:
    """The day at a longitude (degrees, east positive) in the middle of points' GPS times, s; None where the clock counts within a week,
    or cannot be what it says."""
    if not standard or not times_s.size:
        return None
    return _day(float(np.median(times_s)) + ADJUSTED_S, longitude)


def _day(seconds: float, longitude: float) -> dt.date | None:
    """By the sun at the longitude: GPS time runs with Greenwich, where an American evening is the next day already. A survey is flown
    by daylight, so no zone or summer time moves the day; leap seconds do not either."""
    if not 0 < seconds < 4e9:
        return None
    day = GPS_ZERO + dt.timedelta(days=(seconds / DAY_S + longitude / 360) // 1)
    return day if FIRST_YEAR <= day.year and day <= dt.date.today() else None


def _day_in_name(name: str) -> tuple[dt.date, str] | None:
    """A day as 2026-04-15, 2026_04_15 or 20260415 in a file's name."""
    for found in re.finditer(r"(?<!\d)(\d{4})[-_]?(\d{2})[-_]?(\d{2})(?!\d)", name):
        try:
            day = dt.date(*map(int, found.groups()))
        except ValueError:
            continue
        if FIRST_YEAR <= day.year and day <= dt.date.today():
            return day, "its name"
    return None
