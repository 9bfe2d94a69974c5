"""The field page's block of low spots through the dates: every declared place, over its limit or not, what was done there and whether it held."""

from __future__ import annotations

import datetime as dt
from typing import Iterator

from pipeline.report.field_input import FieldInput
from pipeline.report.figures import limit
from pipeline.report.findings import LOW_SPOT, Finding
from pipeline.report.lip_chart import LimitLine
from pipeline.report.saying import Sayer
from pipeline.report.spot_chart import Depth, Done, scale_of, spot_chart
from pipeline.report.standing import Standing
from pipeline.report.words import opened
from pipeline.report.works_block import changed_words, done_words, held_words, told_works
from pipeline.surface.verdict import GOOD, ORDER, UNKNOWN
from pipeline.works.around import ORDERED
from pipeline.works.record import RING

ON_SKIN = ("", "skin")
LEAST_DATES = 2


def spot_history_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict:
    """Charts of the places that want an eye and of the rest, the worst first; empty where no place was measured twice."""
    found = {place.place_id: rows for place in given.layout.places if len(rows := list(_depths(place.place_id, now, sayer))) >= LEAST_DATES}
    if not found:
        return {}
    limits = _limits(now, sayer)
    ends = scale_of([d for rows in found.values() for d in rows], limits)
    said = {f.place_id: f for f in now.newest.findings if f.kind == LOW_SPOT}
    told = [_chart(place, rows, said.get(place), str(now.newest.flown_on)[:10], given, limits, ends, sayer) for place, rows in found.items()]
    told.sort(key=lambda c: (c["rank"], -c["mm"]))
    seen = [c for c in told if c["word"] != GOOD or c["works"]]
    rest = [c for c in told if c not in seen]
    words = sayer.words
    return {"charts": seen, "rest": rest, "limits": opened(words.listed(m.label for m in limits)), "more": words.count("spot_history_rest", len(rest)) if rest else "", "surveys": len(now.surveys)}


def _limits(now: Standing, sayer: Sayer) -> list[LimitLine]:
    told = ((now.limits.low_spot, "tolerance", False), (now.limits.low_spot_trip, "trip_limit", True))
    return [LimitLine(mm, sayer.words(f"spot_history_{name}", limit=limit(mm, sayer.units.height)), trip) for mm, name, trip in told if mm is not None]


def _depths(place: str, now: Standing, sayer: Sayer) -> Iterator[Depth]:
    for s in now.surveys:
        row = next((r for r in s.rows["low_spots"] if r["low_spot_id"] == place), None)
        if row is not None and row["ring_depth_mm"] is not None and row["ring_depth_sigma_mm"] is not None:
            day = dt.date.fromisoformat(str(s.flown_on)[:10])
            label = sayer.words("month_year", month=sayer.words(f"month_{day.month}"), year=day.year)
            yield Depth(day, label, row["ring_depth_mm"], row["ring_depth_sigma_mm"])


def _chart(place: str, rows: list[Depth], said: Finding | None, newest: str, given: FieldInput, limits: list[LimitLine], ends: tuple[float, float], sayer: Sayer) -> dict:
    words, name = sayer.words, opened(sayer.placing.place(place))
    word = said.word if said is not None else UNKNOWN
    depth = sayer.height(abs(rows[-1].mm), rows[-1].sigma_mm)
    title = words("spot_history_title" if rows[-1].mm >= 0 else "spot_history_title_high", place=name, depth=depth, word=sayer.verdict(said) if said is not None else words(f"verdict_{word}").lower())
    if rows[-1].day.isoformat() != newest:  # under weeds or a tarp since: the depth is an older one, and must not pass for today's
        title += words("spot_history_last_seen", day=words.date(rows[-1].day))
    about = words("spot_history_about", figures="; ".join(f"{words.date(d.day)} {sayer.height(d.mm, d.sigma_mm)}" for d in rows))
    works = list(_told(place, given, sayer))
    svg = spot_chart(f"depth-{place}", rows, _works(place, given, sayer), limits, ends, sayer.units, title, about)
    return {"svg": svg, "title": title, "said": _trend(place, given, sayer), "works": works, "word": word, "rank": ORDER.index(word), "mm": rows[-1].mm}


def _trend(place: str, given: FieldInput, sayer: Sayer) -> str:
    """How fast it goes, where that differs from none."""
    row = next((r for r in given.tables["trend"] if r["zone"] == place and r["measure"] == RING and r["detected"] and r["rate_mm_per_year"] is not None), None)
    if row is None:
        return ""
    rate = sayer.height(abs(row["rate_mm_per_year"]), row["rate_sigma_mm_per_year"])
    return sayer.words("spot_history_deepens" if row["rate_mm_per_year"] > 0 else "spot_history_fills", rate=rate, surveys=row["surveys"])


def _works(place: str, given: FieldInput, sayer: Sayer) -> list[Done]:
    out = []
    for w in given.works:
        zone = w.get("zone") or ""
        if w["work"] in ORDERED and (zone == place or zone in ON_SKIN):
            out.append(Done(dt.date.fromisoformat(str(w.get("ended_on") or w["done_on"])[:10]), sayer.words(f"work_{w['work']}"), zone == place))
    return out


def _told(place: str, given: FieldInput, sayer: Sayer) -> Iterator[str]:
    """What was put in at this very place, what the surveys on both sides show of it, and how it held."""
    for record in told_works(given):
        mine = [c for c in record["measures"] if c["place"] == place and c["measure"] == RING]
        if not mine:
            continue
        changed, still = changed_words(mine, sayer)
        done = sayer.words.listed(done_words(record, given, sayer))
        what = sayer.words(f"work_{record['work']}") + (f" ({done})" if done else "")
        shown = "; ".join(changed) if changed else sayer.words("spot_history_still", what=sayer.words.listed(still)) if still else ""
        yield sayer.words("spot_history_work", day=sayer.words.date(record["done_on"]), what=what, shown=opened(shown)) + " " + " ".join(held_words(mine, sayer))
