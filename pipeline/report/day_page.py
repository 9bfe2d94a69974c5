"""The page and the table of one day around the games."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Sequence

from pipeline.diamond.dimensions import base_feet
from pipeline.plan.day import GAP_SHORT, Game, Missed, Placed, gaps
from pipeline.report import palette
from pipeline.report.figures import NBSP, figure, printed
from pipeline.report.overview import FieldSeen
from pipeline.report.words import Words, opened
from pipeline.surface.verdict import UNSAFE
from pipeline.units import INCH_M


@dataclass(frozen=True)
class FieldDay:
    """One field's day: its games in order, the water that stands on it (m3, None where not known), the base set in it in the
    morning, empty where nobody knows, and whether it has two."""

    seen: FieldSeen
    games: tuple[Game, ...]
    water_m3: float | None
    before: str
    two_sets: bool


def clock(minute: int) -> str:
    """'09:05' of minutes after midnight."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def day_rows(placed: Sequence[Placed], missed: Sequence[Missed], words: Words) -> list[dict]:
    """Rows of days/<date>.csv."""
    out = [
        {"order": k, "field_id": p.task.field_id, "task": p.task.task, "starts": clock(p.starts), "ends": clock(p.ends), "minutes": p.task.minutes, "base_set": p.task.base_set,
         "reason": words(f"day_why_{p.task.why}"), "road_minutes": p.road, "between": _between(p.task, words)} for k, p in enumerate(placed, start=1)
    ]  # fmt: skip
    return out + [
        {"field_id": m.task.field_id, "task": m.task.task, "minutes": m.task.minutes, "base_set": m.task.base_set, "between": _between(m.task, words),
         "reason": f"{words(f'day_why_{m.task.why}')}; {_why(m, words)}"} for m in missed
    ]  # fmt: skip


def day_page(on: dt.date, rain_mm: float, working: bool, days: Sequence[FieldDay], placed: Sequence[Placed], missed: Sequence[Missed], clear_min: int, title: str, words: Words) -> dict:
    """Everything on the page; working: the crew works on that day of the week."""
    names = {d.seen.field_id: d.seen.name for d in days}
    us = bool(days) and days[0].seen.reader.units.system == "us"
    rain = f"{printed(rain_mm / (INCH_M * 1000), 2)}{NBSP}in" if us else f"{rain_mm:g}{NBSP}mm"
    lead = [words("day_rained", rain=rain) if rain_mm else words("day_dry")] + ([] if working else [words("day_off")]) + ([] if days else [words("day_none")])
    return {
        "w": words, "lang": words("lang"), "colours": palette.css(), "title": title, "heading": words("day_title", day=words.date(on)), "lead": lead,
        "first": [_first(d, words) for d in first_to_play(days)],
        "heads": [words(k) for k in ("day_col_from", "day_col_to", "season_col_field", "season_col_work", "day_col_base", "day_col_road", "day_col_why")],
        "rows": [(clock(p.starts), clock(p.ends), names[p.task.field_id], opened(words(f"day_task_{p.task.task}")), _base(p.task.base_set, words), str(p.road) if p.road else "", words(f"day_why_{p.task.why}"))
                 for p in placed],
        "missed": [opened(words("day_missed", field=names[m.task.field_id], task=words(f"day_task_{m.task.task}"), between=_between(m.task, words), why=_why(m, words))) for m in missed],
        "game_heads": [words(k) for k in ("season_col_field", "day_col_from", "day_col_to", "day_col_base", "day_col_gap")],
        "games": [row for d in sorted(days, key=lambda d: d.seen.name) for row in _games(d, clear_min, words)],
    }  # fmt: skip


def first_to_play(days: Sequence[FieldDay]) -> list[FieldDay]:
    """Fields by when they can be played: unsafe ones last, then the least water, unknown after known, then the first game."""
    far = float("inf")
    return sorted(days, key=lambda d: (d.seen.now.verdict == UNSAFE, far if d.water_m3 is None else d.water_m3, d.games[0].starts, d.seen.name))


def _first(d: FieldDay, words: Words) -> str:
    water = words("day_water_unknown") if d.water_m3 is None else words("day_water_none") if d.water_m3 < 0.005 else words("day_water", volume=figure(d.water_m3, None, d.seen.reader.units.volume))
    said = [words("day_field", field=d.seen.name, water=water, time=clock(d.games[0].starts))]
    if d.seen.now.verdict == UNSAFE:
        said.append(words("day_unsafe"))
    if d.two_sets and not d.before and d.games[0].base_set:
        said.append(words("day_base_unknown", base=_base(d.games[0].base_set, words)))
    return " ".join(said)


def _games(d: FieldDay, clear_min: int, words: Words) -> list[tuple[str, ...]]:
    free = {a: str(minutes) for a, _, minutes in gaps(d.games, clear_min)}
    return [(d.seen.name, clock(g.starts), clock(g.ends), _base(g.base_set, words), free.get(g, "")) for g in d.games]


def _base(layout: str, words: Words) -> str:
    return words("day_base", feet=base_feet(layout)) if layout else ""


def _between(task, words: Words) -> str:
    return words("day_between", starts=clock(task.opens), ends=clock(max(task.due, task.opens)))


def _why(m: Missed, words: Words) -> str:
    if m.why == GAP_SHORT:
        return words("day_left_gap_short", gap=max(m.task.due - m.task.opens, 0), minutes=m.task.minutes)
    return words(f"day_left_{m.why}")
