"""The page and the table of one day around the games."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Sequence

from pipeline.diamond.dimensions import base_feet
from pipeline.plan.day import Laid, Missed
from pipeline.plan.day_asks import BASES, CREW_AWAY, DRAG, GAP_SHORT, NO_ROAD, NO_TIME_STATED, OPEN_UP, Crew, Game, Task, gaps
from pipeline.plan.rain import RAINS_MM
from pipeline.report import palette
from pipeline.report.figures import NBSP, TO, figure, printed
from pipeline.report.overview import FieldSeen
from pipeline.report.words import Words, opened
from pipeline.surface.verdict import UNSAFE
from pipeline.units import INCH_M

FAR = 24 * 60


@dataclass(frozen=True)
class FieldDay:
    """One field's day: its games in order, the water that stands on it (m3, None where not known), the base set in it in the
    morning, empty where nobody knows, whether it has two, and whether it counts as wet."""

    seen: FieldSeen
    games: tuple[Game, ...]
    water_m3: float | None
    before: str
    two_sets: bool
    wet: bool = False


@dataclass(frozen=True)
class Day:
    """All of a day; working: the crew works on that day of the week; all_wet: so much rain that every skin counts as wet;
    next_games: the next day with games, if any; if_struck: lost games that could be had if the first lost one of each field
    were struck."""

    on: dt.date
    rain_mm: float
    working: bool
    all_wet: bool
    fields: tuple[FieldDay, ...]
    laid: Laid
    crew: Crew
    next_games: dt.date | None = None
    if_struck: tuple[Game, ...] = ()


def clock(minute: int) -> str:
    """'09:05' of minutes after midnight."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def day_rows(day: Day, words: Words) -> list[dict]:
    """Rows of days/<date>.csv."""
    games = {d.seen.field_id: d.games for d in day.fields}
    row = lambda t: {"field_id": t.field_id, "task": t.task, "minutes": t.minutes, "base_set": t.base_set, "between": _between(t, words), "game": "" if t.game is None else clock(games[t.field_id][t.game].starts)}
    out = [row(p.task) | {"order": k, "starts": clock(p.starts), "ends": clock(p.ends), "reason": words(f"day_why_{p.task.why}"), "road_minutes": p.road} for k, p in enumerate(day.laid.placed, start=1)]
    return out + [row(m.task) | {"reason": f"{words(f'day_why_{m.task.why}')}; {_why(m, words)}"} for m in day.laid.missed]


def day_page(day: Day, title: str, words: Words) -> dict:
    """Everything on the page."""
    names, laid = {d.seen.field_id: d.seen.name for d in day.fields}, day.laid
    return {
        "w": words, "lang": words("lang"), "colours": palette.css(), "title": title, "heading": words("day_title", day=words.date(day.on)), "lead": _lead(day, words), "rained": day.rain_mm > 0,
        "first": [_first(d, day, words) for d in by_readiness(day)], "lost": _lost_lines(day, names, words), "struck": _struck(day, names, words),
        "heads": [words(k) for k in ("day_col_when", "season_col_field", "season_col_work", "day_col_base", "day_col_road", "day_col_why")],
        "rows": [(clock(p.starts) + TO + clock(p.ends), names[p.task.field_id], opened(words(f"day_task_{p.task.task}")), _base(p.task.base_set, words), str(p.road) if p.road else "", words(f"day_why_{p.task.why}"))
                 for p in laid.placed],
        "missed": [words("day_missed", field=names[m.task.field_id], task=words(f"day_task_{m.task.task}"), between=_between(m.task, words), why=_why(m, words)) for m in laid.missed if m.task.game is None],
        "game_heads": [words(k) for k in ("season_col_field", "day_col_game", "day_col_base", "day_col_gap", "day_col_fits")],
        "games": [row for d in sorted(day.fields, key=lambda d: d.seen.name) for row in _games(d, day, words)],
    }  # fmt: skip


def first_to_play(days: Sequence[FieldDay]) -> list[FieldDay]:
    """Fields by when they can be played, before any work: unsafe ones last, then the least water, unknown after known, then the
    first game."""
    far = float("inf")
    return sorted(days, key=lambda d: (d.seen.now.verdict == UNSAFE, far if d.water_m3 is None else d.water_m3, d.games[0].starts, d.seen.name))


def by_readiness(day: Day) -> list[FieldDay]:
    """Fields by when the plan has them ready, unsafe ones last, what is not had at all after what is."""
    done = {d.seen.field_id: max((p.ends for p in day.laid.placed if p.task.field_id == d.seen.field_id and p.task.why in ("wet", "before")), default=FAR if d.wet else day.crew.starts) for d in day.fields}
    return sorted(day.fields, key=lambda d: (d.seen.now.verdict == UNSAFE, done[d.seen.field_id], d.games[0].starts, d.seen.name))


def _lead(day: Day, words: Words) -> list[str]:
    us = bool(day.fields) and day.fields[0].seen.reader.units.system == "us"
    rain = lambda mm: f"{printed(mm / (INCH_M * 1000), 2)}{NBSP}in" if us else f"{mm:g}{NBSP}mm"
    if not day.fields:
        return [words("day_none")] + ([words("day_next", day=words.date(day.next_games))] if day.next_games else [])
    out = [words("day_rained", rain=rain(day.rain_mm)), words("day_wet_all" if day.all_wet else "day_wet_some", dry=day.crew.dry)] if day.rain_mm else [words("day_dry")]
    out += [words("day_full", most=rain(RAINS_MM[-1]))] if day.rain_mm > RAINS_MM[-1] else []
    return out + ([] if day.working else [words("day_off")])


def _first(d: FieldDay, day: Day, words: Words) -> str:
    said = [words("day_field", field=d.seen.name, time=clock(d.games[0].starts))]
    if day.rain_mm:
        said.append(words("day_water_unknown") if d.water_m3 is None else words("day_water_none") if d.water_m3 < 0.005 else words("day_water", volume=figure(d.water_m3, None, d.seen.reader.units.volume)))
    if d.seen.now.verdict == UNSAFE:
        said.append(words("day_unsafe"))
    said.append(_ready(d, day, words))
    if d.two_sets and not d.before and d.games[0].base_set:
        said.append(words("day_base_unknown", base=_base(d.games[0].base_set, words)))
    return " ".join(said + [words("day_base_unsaid", time=clock(g.starts)) for g in d.games if d.two_sets and not g.base_set])


def _ready(d: FieldDay, day: Day, words: Words) -> str:
    """When the plan has it loosened and dragged."""
    mine = {p.task.task: p for p in day.laid.placed if p.task.field_id == d.seen.field_id and p.task.why in ("wet", "before")}
    if DRAG not in mine:
        return words("day_ready_none" if d.wet else "day_ready_undragged")
    dragged = mine[DRAG]
    if OPEN_UP not in mine:
        return words("day_ready_dragged", dragged=clock(dragged.starts), ready=clock(dragged.ends))
    return words("day_ready_wet", opened=clock(mine[OPEN_UP].starts), dragged=clock(dragged.starts), ready=clock(dragged.ends), game=clock(d.games[dragged.task.game].starts))


def _lost_lines(day: Day, names, words: Words) -> list[str]:
    """A line for each reason of each field."""
    by: dict[tuple[str, str], list[Game]] = {}
    for game in day.laid.lost:
        by.setdefault((game.field_id, _lost(game, "{time}", day, names, words)), []).append(game)
    return [line.replace("{time}", words.listed(clock(g.starts) for g in games)) for (_, line), games in by.items()]


def _struck(day: Day, names, words: Words) -> str:
    """What could be had if the first lost game of each field gave way."""
    if not day.if_struck:
        return ""
    by: dict[str, list[Game]] = {}
    for game in day.if_struck:
        by.setdefault(game.field_id, []).append(game)
    return words("day_struck", games=words.listed(words("day_struck_of", field=names[f], times=words.listed(clock(g.starts) for g in games)) for f, games in by.items()))


def _lost(game: Game, time: str, day: Day, names, words: Words) -> str:
    """Why a game cannot be had, and from when it could."""
    d = next(d for d in day.fields if d.seen.field_id == game.field_id)
    mine = [m for m in day.laid.missed if m.task.field_id == game.field_id and m.task.game == d.games.index(game)]
    said = {"field": names[game.field_id], "time": time}
    whys = {m.why for m in mine}
    if NO_ROAD in whys or NO_TIME_STATED in whys:
        return words("day_lost_road" if NO_ROAD in whys else "day_lost_unstated", **said)
    swap = next((m for m in mine if m.task.task == BASES), None)
    if swap is None or any(m.task.task == OPEN_UP for m in mine):
        return words("day_lost_wet", **said)
    said["base"] = _base(game.base_set, words)
    if swap.why == CREW_AWAY:
        return words("day_lost_swap_away", **said)
    free = max(swap.task.due - swap.task.opens, 0)
    return words("day_lost_swap", **said, minutes=swap.task.minutes, gap=free, later=clock(swap.task.opens + swap.task.minutes + day.crew.clear))


def _games(d: FieldDay, day: Day, words: Words) -> list[tuple[str, ...]]:
    free = {a: (b, minutes) for a, b, minutes in gaps(d.games, day.crew.clear)}
    return [(d.seen.name, clock(g.starts) + TO + clock(g.ends), _base(g.base_set, words), str(free[g][1]) if g in free else "", _fits(g, free[g][0], day, words) if g in free else "") for g in d.games]


def _fits(game: Game, after: Game, day: Day, words: Words) -> str:
    """What is done between two games, and what has no room there."""
    inside = lambda t: t.field_id == game.field_id and t.opens >= game.ends and t.due <= after.starts
    done = [words(f"day_task_{p.task.task}") for p in day.laid.placed if p.task.field_id == game.field_id and game.ends <= p.starts and p.ends <= after.starts]
    left = [words("day_fits_not", task=words(f"day_task_{m.task.task}"), why=_why(m, words)) for m in day.laid.missed if inside(m.task)]
    return opened("; ".join((*done, *left)))


def _base(layout: str, words: Words) -> str:
    return words("day_base", feet=base_feet(layout)) if layout else ""


def _between(task: Task, words: Words) -> str:
    return words("day_between", starts=clock(task.opens), ends=clock(max(task.due, task.opens)))


def _why(m: Missed, words: Words) -> str:
    if m.why == GAP_SHORT:
        return words("day_left_gap_short", gap=max(m.task.due - m.task.opens, 0), minutes=m.task.minutes)
    return words(f"day_left_{m.why}")
