"""The block on what is unsafe now: open hazards, what was looked at, what the crew wrote down."""

from __future__ import annotations

from pipeline.report.field_input import FieldInput
from pipeline.report.findings import LOW_SPOT
from pipeline.report.hazards import CLOSED, HOLE, Hazard
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.words import Words, opened


def unsafe_block(given: FieldInput, now: Standing, sayer: Sayer, keys: dict) -> dict:
    words = sayer.words
    items = [_hazard(h, now, sayer, keys) for h in now.open]
    since = now.before.flown_on if now.before is not None else ""
    closed = [
        words("hazard_closed", found=opened(sayer.hazard_at(h)), action=action_words(h, words), on=words.date(h.action_on))
        for h in now.hazards if h.state == CLOSED and h.action_on >= since
    ]  # fmt: skip
    none = "" if items else words("all_mended") if now.mended else _looked_at(now, sayer)
    looked = not items and not now.mended and _held_to_trip_limits(now, sayer)
    return {"items": items, "none": none, "looked": looked, "closed": closed, "seen": _seen_by_hand(given, now, sayer)}


def first_act(now: Standing, words: Words) -> str:
    """What to do at once about open hazards; empty where there is none."""
    if not now.open:
        return ""
    return words("keep_off") if all(h.action for h in now.open) else words.count("close_now", len(now.open))


def _hazard(h: Hazard, now: Standing, sayer: Sayer, keys: dict) -> dict:
    words = sayer.words
    fresh = now.fresh(h)
    owned = sayer.owned(h.measure, True) if h.last is not None else None
    lines = []
    if owned is not None:
        lines.append(words("limit_signed", limit=sayer.limit(h.measure, True), signed=sayer.signed_by(owned)))
    flips = sayer.flips(h.last) if fresh else ""
    if flips:
        lines.append(flips)
    lines.append(words("first_seen", on=sayer.day(h.found_on, h.source)))
    if h.by_eye:
        lines += _beside(h, now, sayer)
    if h.action:
        lines.append(words("action_taken", action=action_words(h, words), on=words.date(h.action_on)))
    return {"key": keys.get(h.last, "") if fresh else "", "text": sayer.open_hazard(h, now), "lines": lines}


def _beside(h: Hazard, now: Standing, sayer: Sayer) -> list[str]:
    """What the newest survey says of a place where somebody saw a trip or a hole: neither is hidden."""
    words = sayer.words
    if now.newest is None:
        return []
    there = [f for f in now.newest.findings if f.place_id == h.place_id and (f.kind == LOW_SPOT) == (h.measure == HOLE) and f.value_mm is not None]
    day = sayer.day(now.newest.flown_on, now.newest.survey_id)
    if now.newest.flown_on < h.found_on:
        return [words("eye_since", day=day, what=sayer.says(there[0]))] if there else [words("eye_after", day=day)]
    return [words("eye_against", day=day, what=sayer.says(there[0]))] if there else [words("eye_unseen", day=day)]


def action_words(h: Hazard, words: Words) -> str:
    """What closed a hazard, or keeps people off it: by hand, or the survey that no longer shows it."""
    if words.knows(f"action_{h.action}"):
        return words(f"action_{h.action}")
    return words("action_survey", survey=h.action.rsplit(" ", 1)[-1])


def _held_to_trip_limits(now: Standing, sayer: Sayer) -> bool:
    """Whether something was measured and both trip limits stand: only then is it said that nothing was found."""
    return any(looked_at(now)) and sayer.tolerances.lip_trip_mm is not None and sayer.tolerances.low_spot_trip_mm is not None


def _looked_at(now: Standing, sayer: Sayer) -> str:
    """What a survey without a hazard did look at."""
    words = sayer.words
    spots, told, whole = looked_at(now)
    parts = [words.count("spots_looked_at", spots)] if spots else []
    parts += [words("edges_looked_at", length=sayer.length(told))] if told else []
    parts += [words("means_looked_at", length=sayer.length(whole))] if whole else []
    if not parts:
        return words("looked_at_nothing")
    if not _held_to_trip_limits(now, sayer):
        return words("no_trip_limit", what=words.listed(parts))
    return words("nothing_over_trip", what=words.listed(parts), lip=sayer.limit("lip", True), spot=sayer.limit(LOW_SPOT, True))


def looked_at(now: Standing) -> tuple[int, int, int]:
    """What the newest survey has a figure of: places with a depth, metres of edge told metre by metre, metres of edges of
    which it tells the mean only."""
    if now.newest is None:
        return 0, 0, 0
    spots = sum(f.kind == LOW_SPOT and f.value_mm is not None for f in now.newest.findings)
    whole = sum(e.told for e in now.newest.edges if e.whole)
    return spots, sum(e.told for e in now.newest.edges) - whole, whole


def _seen_by_hand(given: FieldInput, now: Standing, sayer: Sayer) -> list[str]:
    """What the crew wrote down since the survey before."""
    words, since = sayer.words, now.before.flown_on if now.before is not None else ""
    out = []
    for r in given.readings:
        if r["kind"] == "seen" and str(r["read_on"]) > since:
            named = sayer.seen_at(r.get("place") or r.get("edge_id") or "", r.get("e"), r.get("n"))
            note = words("in_quotes", text=r["notes"]) if r.get("notes") else ""
            out.append(words("seen_line", on=words.date(r["read_on"]), what=words(f"seen_{r['value']}"), place=named) + note)
    return out
