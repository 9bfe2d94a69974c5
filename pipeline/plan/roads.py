"""Hours on the road between sites, loading included."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Iterable, Mapping

MINUTES = 60.0


@dataclass(frozen=True)
class Roads:
    """Driving between sites.

    minutes : (from, to) -> driving, minutes; a way that is stated one way only counts for the way back
    load    : site -> minutes to load up there before leaving
    """

    minutes: Mapping[tuple[str, str], float] = field(default_factory=dict)
    load: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def of(cls, rows: Iterable[Mapping]) -> Roads:
        """From rows of sites.csv."""
        rows = list(rows)
        load = {r["from_site"]: float(r["load_minutes"]) for r in rows if r.get("load_minutes") is not None}
        return cls({(r["from_site"], r["to_site"]): float(r["minutes"]) for r in rows}, load)

    def hours(self, here: str, there: str) -> float | None:
        """From one site to another, loading up included; 0 within a site, None where nobody stated it."""
        if here == there:
            return 0.0
        found = self.minutes.get((here, there), self.minutes.get((there, here)))
        return None if found is None else (found + self.load.get(here, 0.0)) / MINUTES


class NoRoads(Roads):
    """Where the owner keeps no table of sites: the road is not counted."""

    def hours(self, here: str, there: str) -> float:
        return 0.0
