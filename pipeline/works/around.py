"""Which surveys stand around a piece of work."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Mapping, Sequence

from pipeline.change.balance import shows

BEFORE_WORK, AFTER_WORK = "before_work", "after_work"
# Work that somebody orders a survey for; the rest is upkeep, of which many visits lie between two surveys.
ORDERED = ("level", "edge_recut", "lip_cut", "sod", "mix_add", "laser_grade", "rebuild")


@dataclass(frozen=True)
class Seen:
    """A survey that was not refused; handed over oldest first."""

    survey_id: str
    flown_on: dt.date
    purpose: str = "routine"

    def shows(self, day: dt.date) -> bool:
        return shows(self.flown_on, day, self.purpose == BEFORE_WORK)


@dataclass(frozen=True)
class Around:
    """The surveys before and after a work; either None where there is none. `shares`: other works between the two."""

    before: Seen | None
    after: Seen | None
    shares: tuple[str, ...] = ()

    @property
    def both(self) -> bool:
        return self.before is not None and self.after is not None


def last_day(work: Mapping) -> dt.date:
    return work.get("ended_on") or work["done_on"]


def around(work: Mapping, surveys: Sequence[Seen], works: Sequence[Mapping]) -> Around:
    """The newest survey that shows nothing of the work and the earliest that shows all of it; for ordered work a survey flown
    `before_work` with the next one `after_work` goes first, where the two have the work between them."""
    first, last = work["done_on"], last_day(work)
    before = [s for s in surveys if not s.shows(first)]
    after = [s for s in surveys if s.shows(last)]
    one, other = before[-1] if before else None, after[0] if after else None
    if work["work"] in ORDERED:
        for k, s in enumerate(surveys):
            partner = next((a for a in surveys[k + 1 :] if a.purpose == AFTER_WORK), None)
            if s.purpose == BEFORE_WORK and s in before and partner in after:
                one, other = s, partner
    if one is None or other is None:
        return Around(one, other)
    mine = work["work_id"]
    return Around(one, other, tuple(w["work_id"] for w in between(works, one, other) if w["work_id"] != mine))


def between(works: Sequence[Mapping], earlier: Seen, later: Seen) -> list[Mapping]:
    """Works of which something was done between two surveys."""
    return [w for w in works if not earlier.shows(last_day(w)) and later.shows(w["done_on"])]
