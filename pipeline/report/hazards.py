"""Hazards over time: opened by the first survey that shows one, closed only by evidence or by hand.

A survey that cannot tell (a tarp on the spot, too much noise) closes nothing: a hole does not go away unseen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Iterable, Sequence

from pipeline.report.findings import LOW_SPOT, SEEN_SHARE, Finding, Limits, Shown, judge_station
from pipeline.surface.stretches import Stretch
from pipeline.surface.verdict import UNLIKELY, UNSAFE, exceeds

OPEN, CLOSED = "open", "closed"
MENDED = ("repaired", "accepted")  # a walk's words that close; `closed` and `marked_off` keep people away, no more
SPOT_WORDS, EDGE_WORDS = {"spot", "hole", "hollow", "dip", "puddle"}, {"lip", "skin", "step", "edge", "ridge", "trip"}
TRIP, HOLE = "trip", "hole"
BY_EYE = {TRIP: lambda h: h.measure != LOW_SPOT, HOLE: lambda h: h.measure == LOW_SPOT}  # what is seen -> whether a survey's hazard is the same
SLACK_M = 2.0  # a stretch over the limit wanders from survey to survey: within this it is the same one


@dataclass(frozen=True)
class Hazard:
    """One hazard of one field.

    hazard_id : field, place and measure; a second time round ends in -2
    measure   : `low_spot`, `lip`, `low_skin`, `step`; of a walk's own finding its item
    first, last : what the first and the newest survey that show it found; None where a walk found it
    stretch   : of an edge, the part over the trip limit at the newest survey that shows it
    found_on, source : the first survey (or the walk) that showed it without a break until now
    action    : what closed it, or what was done to keep people away, empty where nothing
    """

    hazard_id: str
    field_id: str
    place_id: str
    measure: str
    found_on: str
    source: str
    first: Finding | None
    last: Finding | None
    last_on: str
    stretch: Stretch | None
    state: str = OPEN
    action: str = ""
    action_on: str = ""
    finding: str = ""
    e: float | None = None
    n: float | None = None

    @property
    def by_eye(self) -> bool:
        """Whether somebody saw it, and no survey has measured it."""
        return self.last is None and self.measure in BY_EYE


def hazards(field_id: str, surveys: Sequence[Shown], walks: Iterable, limits: Limits, readings: Iterable = ()) -> tuple[Hazard, ...]:
    """Every hazard that a field's surveys, walks and readings ever showed, in order of finding.

    surveys  : what each survey that was not refused shows, oldest first
    walks    : rows of walks.csv of this field
    readings : rows of readings.csv of this field; a `seen` trip or hole opens a hazard at once
    """
    found: list[Hazard] = []
    own: list[Hazard] = []
    seen = [r for r in readings if r.get("kind") == "seen" and r.get("value") in BY_EYE]
    steps = [(str(r["read_on"]), 0, r) for r in seen] + [(s.flown_on, 1, s) for s in surveys] + [(str(w["walked_on"]), 2, w) for w in walks]
    for _, kind, step in sorted(steps, key=lambda s: s[:2]):
        if kind == 0:
            own = _after_eye(field_id, found, own, step)
        elif kind == 1:
            found, own = _after_survey(field_id, found, own, step, limits)
        else:
            found, own = _after_walk(field_id, found, own, step)
    return tuple(_named(sorted(found + own, key=lambda h: (h.found_on, h.source))))


def _after_eye(field_id: str, found: list[Hazard], own: list[Hazard], reading) -> list[Hazard]:
    """A trip or hole that was seen: a hazard of its own, unless one of its kind is open at that place already."""
    place, word = _seen_at(reading), reading["value"]
    known = [h for h in (*found, *own) if h.state == OPEN and place in _called(h.place_id) and (h.measure == word if h.last is None else BY_EYE[word](h))]
    if known:
        return own
    on = str(reading["read_on"])
    return [*own, Hazard("", field_id, place, word, on, reading["reading_id"], None, None, on, None, OPEN, "", "", reading.get("notes") or "", reading.get("e"), reading.get("n"))]


def _seen_at(reading) -> str:
    """Where something was seen, as an id: the place or edge that was named, else its metres."""
    named = reading.get("place") or reading.get("edge_id")
    if named:
        return _id(named)
    return f"at-{reading['e']:.0f}-{reading['n']:.0f}" if reading.get("e") is not None and reading.get("n") is not None else "field"


def _after_survey(field_id: str, before: list[Hazard], own: list[Hazard], seen: Shown, limits: Limits) -> tuple[list[Hazard], list[Hazard]]:
    """What a survey shows of known hazards, what it finds itself; of those seen by eye, the ones it measures over the limit
    become the survey's. One it shows under the limit stays: what is small or sharp no survey sees."""
    unsafe = list(seen.of(UNSAFE))
    out = []
    for hazard in before:
        again = next((f for f in unsafe if hazard.state == OPEN and _same(hazard, f)), None)
        if again is not None:
            unsafe.remove(again)
            out.append(replace(hazard, last=again, last_on=seen.flown_on, stretch=again.trip))
        elif hazard.state == OPEN and _gone(hazard, seen, limits):
            out.append(replace(hazard, state=CLOSED, action=f"not over the limit in {seen.survey_id}", action_on=seen.flown_on))
        else:
            out.append(hazard)
    for f in unsafe:
        eye = next((h for h in own if h.state == OPEN and h.by_eye and h.place_id in _called(f.place_id) and (f.kind == LOW_SPOT) == (h.measure == HOLE)), None)
        own = [h for h in own if h is not eye]
        since = (eye.found_on, eye.source) if eye is not None else (seen.flown_on, seen.survey_id)
        out.append(Hazard("", field_id, f.place_id, f.kind, *since, f, f, seen.flown_on, f.trip, OPEN, *((eye.action, eye.action_on) if eye is not None else ())))
    return out, own


def _same(hazard: Hazard, finding: Finding) -> bool:
    """Whether a survey's finding is the hazard again. Whether an edge is a lip or low skin may be told better later."""
    if (hazard.place_id, hazard.measure == LOW_SPOT) != (finding.place_id, finding.kind == LOW_SPOT):
        return False
    return hazard.stretch is None or hazard.stretch.overlaps(finding.trip, SLACK_M)


def _gone(hazard: Hazard, seen: Shown, limits: Limits) -> bool:
    """Whether a survey shows the place and shows it not over the trip limit."""
    if hazard.measure == LOW_SPOT:
        row = next((r for r in seen.rows["low_spots"] if r["low_spot_id"] == hazard.place_id), None)
        if row is None or row["depth_mm"] is None or row["depth_sigma_mm"] is None:
            return False
        return exceeds(row["depth_mm"], row["depth_sigma_mm"], limits.low_spot_trip) <= UNLIKELY
    there = [
        r for r in seen.rows["lip"]
        if r["edge_id"] == hazard.place_id and r["station_m"] is not None
        and hazard.stretch.from_m <= r["station_m"] <= hazard.stretch.to_m
    ]  # fmt: skip
    over = [judge_station(r, limits.lip, limits.lip_trip).over_trip for r in there if r["height_mm"] is not None]
    return bool(over) and len(over) >= SEEN_SHARE * len(there) and all(p <= UNLIKELY for p in over)


def _after_walk(field_id: str, found: list[Hazard], own: list[Hazard], walk) -> tuple[list[Hazard], list[Hazard]]:
    """A walk acts on the open hazards of the place it names: keeping people away from it covers all of them, mending
    only what its item names. One with an action that finds none is a hazard of its own."""
    action, on = walk.get("action", ""), str(walk.get("closed_on") or walk["walked_on"])
    if not action:
        return found, own
    state = CLOSED if action in MENDED or walk.get("closed_on") else OPEN
    place, item = _id(walk["place"]), _id(walk["item"])
    mine = [h for h in (*found, *own) if h.state == OPEN and place in _called(h.place_id) and (state == OPEN or _means(item, h))]
    if not mine:
        return found, [*own, Hazard("", field_id, place, item, str(walk["walked_on"]), walk["walk_id"], None, None,
                                    str(walk["walked_on"]), None, state, action, on, walk["finding"])]  # fmt: skip

    def acted(hazards: list[Hazard]) -> list[Hazard]:
        return [replace(h, state=state, action=action, action_on=on) if h in mine else h for h in hazards]

    return acted(found), acted(own)


def _called(place_id: str) -> set[str]:
    """A place's id, and what people call it."""
    return {f"{the}{place_id}{kind}" for the in ("", "the-") for kind in ("", "-base", "-plate", "-edge")}


def _means(item: str, hazard: Hazard) -> bool:
    """Whether a walk's item names a hazard: its own item again, or a word for what a survey measured there."""
    if hazard.last is None:
        return item == hazard.measure or hazard.by_eye and not (SPOT_WORDS if hazard.measure == HOLE else EDGE_WORDS).isdisjoint(item.split("-"))
    return not (SPOT_WORDS if hazard.measure == LOW_SPOT else EDGE_WORDS).isdisjoint(item.split("-"))


def _id(text: str) -> str:
    """A place or item as walked, as an id: lower case, other signs turned to `-`."""
    return "-".join("".join(c if c.isalnum() else " " for c in text.lower()).split())


def _named(found: list[Hazard]) -> list[Hazard]:
    out, seen = [], {}
    for h in found:
        at = f"-{h.first.trip.from_m:.0f}" if h.first is not None and h.first.trip is not None else ""
        name = f"{h.field_id}-{h.place_id}{at}-{h.measure.replace('_', '-')}"
        seen[name] = seen.get(name, 0) + 1
        out.append(replace(h, hazard_id=name if seen[name] == 1 else f"{name}-{seen[name]}"))
    return out
