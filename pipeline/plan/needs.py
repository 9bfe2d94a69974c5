"""What a field asks of a crew: hours from the owner's figures or records, excess over tolerance, upkeep, the opening list."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from statistics import median
from typing import Iterable, Mapping, Sequence

from pipeline.owner import Cost
from pipeline.plan.condition import excess
from pipeline.plan.season_days import WEEK, week_of

CREW = "crew"
# What is found at the opening, in this order: common practice, no source.
OPENING_TASKS = ("bases", "edge_recut", "drag")


def expected_over(value_mm: float, sigma_mm: float, tolerance_mm: float, under: bool = False) -> float:
    """Expected excess over a tolerance, in tolerances; see `excess`.

    under : the tolerance is the least that is wanted, as of a depth of mix
    """
    return float(excess(tolerance_mm - value_mm if under else value_mm - tolerance_mm, sigma_mm, 0.0, tolerance_mm))


@dataclass(frozen=True)
class Hours:
    """What the owner says or has recorded of crew hours.

    costs   : treatment or word of works.csv -> the owner's figures
    records : (field, work) -> hours of each visit that has them, by the crew
    """

    costs: Mapping[str, Cost]
    records: Mapping[tuple[str, str], Sequence[float]] = field(default_factory=dict)

    @classmethod
    def of(cls, costs: Mapping[str, Cost], works: Iterable[Mapping]) -> Hours:
        records: dict[tuple[str, str], list[float]] = {}
        for w in works:
            if w.get("hours") and w.get("by", CREW) == CREW:
                records.setdefault((w["field_id"], w["work"]), []).append(float(w["hours"]))
        return cls(costs, records)

    def contracted(self, task: str) -> bool:
        """Whether the owner gives it to a contractor."""
        return task in self.costs and self.costs[task].by == "contractor"

    def of_task(self, field_id: str, task: str, metres: float = 0.0, area_m2: float = 0.0) -> float | None:
        """Crew hours of one visit: by the owner's figures, else the median of this field's recorded visits, else of all fields'."""
        cost = self.costs.get(task)
        if cost is not None:
            fixed, per_m, per_m2 = (cost.of(n) for n in ("hours_fixed", "hours_per_m", "hours_per_m2"))
            if any(v is not None for v in (fixed, per_m, per_m2)):
                return (fixed or 0.0) + (per_m or 0.0) * metres + (per_m2 or 0.0) * area_m2
        own = self.records.get((field_id, task), ())
        every = own or [h for (_, work), hours in sorted(self.records.items()) if work == task for h in hours]
        return float(median(every)) if every else None


def windows(days: Sequence[dt.date], every_weeks: int) -> list[tuple[dt.date, dt.date]]:
    """First and last day of each turn of an upkeep that comes round every so many weeks."""
    weeks = sorted({week_of(d) for d in days})
    return [(w, w + every_weeks * WEEK - dt.timedelta(days=1)) for w in weeks[::every_weeks]]


def opening_left(year: int, works: Iterable[Mapping]) -> tuple[str, ...]:
    """The opening's tasks that a field's works of that year do not record yet."""
    done = {w["work"] for w in works if w["done_on"].year == year}
    return tuple(t for t in OPENING_TASKS if t not in done)


def from_month(day: dt.date, month: int, last: dt.date) -> dt.date:
    """The day from which heavy work is best done: the first of that month of the day's year; the day itself where the season
    ends before it."""
    wanted = dt.date(day.year, month, 1)
    return day if wanted > last else max(day, wanted)
