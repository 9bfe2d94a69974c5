"""How one field stands: its surveys judged, its hazards followed, one verdict, one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Iterable, Sequence

from pipeline.report.findings import LOW_SPOT, Finding, Limits, Shown, shown
from pipeline.report.hazards import CLOSED, OPEN, Hazard, hazards
from pipeline.surface.verdict import UNKNOWN, UNSAFE, WATCH, WORK

BY_SURVEY = ("lip", "low_spots", "zones", "mix_depth", "grass_edge")
JUDGED_BY = ("survey_quality", *BY_SURVEY)  # tables that a field is judged by


@dataclass(frozen=True)
class Standing:
    """One field over all its surveys.

    surveys : what each survey that was not refused shows, oldest first
    refused : rows of survey_quality of the refused ones
    hazards : all ever found, open and closed
    verdict : `unsafe` while a hazard is open; else the newest survey's, where what a walk has closed since then
              counts as `watch`: mended, and not yet shown by a survey
    """

    field_id: str
    limits: Limits
    surveys: tuple[Shown, ...]
    refused: tuple[dict, ...]
    hazards: tuple[Hazard, ...]
    verdict: str

    @property
    def newest(self) -> Shown | None:
        return self.surveys[-1] if self.surveys else None

    @property
    def before(self) -> Shown | None:
        """The usable survey before the newest."""
        return self.surveys[-2] if len(self.surveys) > 1 else None

    def fresh(self, hazard: Hazard) -> bool:
        """Whether the newest survey shows a hazard."""
        return self.newest is not None and hazard.last in self.newest.findings

    @property
    def open(self) -> tuple[Hazard, ...]:
        """Open hazards: what the newest survey shows first, worst first."""
        rank = list(self.newest.findings) if self.newest is not None else []
        held = [h for h in self.hazards if h.state == OPEN]
        return tuple(sorted(held, key=lambda h: (rank.index(h.last) if h.last in rank else len(rank), h.hazard_id)))

    @property
    def mended(self) -> tuple[Hazard, ...]:
        """What the newest survey shows over a trip limit and a walk has closed since."""
        return tuple(h for h in self.hazards if h.state == CLOSED and self.fresh(h))

    @property
    def lingering(self) -> tuple[Hazard, ...]:
        """Open hazards that the newest survey neither shows nor clears."""
        return tuple(h for h in self.open if not self.fresh(h))


def standing(
    field_id: str, rows: dict[str, list[dict]], order: Sequence[str], walks: Iterable, limits: Limits,
    lengths: dict[str, float], readings: Iterable = (),
) -> Standing:  # fmt: skip
    """Judge a field's tables.

    rows  : `survey_quality, lip, low_spots, zones, mix_depth` of the field
    order : survey ids, oldest first
    walks : rows of walks.csv of this field
    lengths : edge id -> length, m
    readings : rows of readings.csv of this field
    """
    quality = {r["survey_id"]: r for r in rows["survey_quality"]}
    known = [s for s in order if s in quality]
    usable = [s for s in known if quality[s]["verdict"] != "refused"]
    of = {name: _by_survey(rows.get(name, ())) for name in BY_SURVEY}
    surveys = tuple(shown(s, quality[s]["flown_on"], {n: of[n].get(s, []) for n in BY_SURVEY}, limits, lengths) for s in usable)
    found = hazards(field_id, surveys, walks, limits, readings)
    verdict = surveys[-1].verdict if surveys else UNKNOWN
    if any(h.state == OPEN for h in found):
        verdict = UNSAFE
    elif verdict == UNSAFE:
        verdict = WORK if surveys[-1].of(WORK) else WATCH
    return Standing(field_id, limits, surveys, tuple(quality[s] for s in known if s not in usable), found, verdict)


def _by_survey(rows: Sequence[dict]) -> dict[str, list[dict]]:
    out: dict[str, list[dict]] = {}
    for row in rows:
        out.setdefault(row["survey_id"], []).append(row)
    return out


def leading(now: Standing, words: tuple[str, ...] = (UNSAFE, WORK, WATCH, UNKNOWN)) -> tuple[Finding, ...]:
    """What the newest survey shows in these words, worst first; without what a walk has closed since."""
    mended = {h.last for h in now.mended}
    return tuple(f for f in now.newest.of(*words) if f not in mended) if now.newest is not None else ()


def over_tolerance(now: Shown) -> tuple[Finding, ...]:
    """Low spots that are over the tolerance at 80 %."""
    return tuple(f for f in now.of(UNSAFE, WORK) if f.kind == LOW_SPOT)
