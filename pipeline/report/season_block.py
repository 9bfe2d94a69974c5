"""The crew's season on the page over all fields: the next weeks, what is left undone and what that costs, the opening, the mix to order."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import Mapping, Sequence

from pipeline.plan.mix_order import Ordered
from pipeline.plan.needs import OPENING_TASKS
from pipeline.plan.season_days import BASES, OPENING, REPAIR, UNSAFE, UPKEEP, WEEK, Done, Left, Need, Season, waited, week_of
from pipeline.report.figures import figure, plain_text, ranged, spoken
from pipeline.report.words import Words, opened, titled

SHOWN_WEEKS = 2
RANKS = {UNSAFE: "unsafe", OPENING: "opening", UPKEEP: "upkeep", REPAIR: "repair"}
PLANNED, DROPPED = "planned", "dropped"


def queue_rows(done: Sequence[Done], left: Sequence[Left], season: Season, words: Words) -> list[dict]:
    """Rows of season_queue.csv; reasons in the words of the needs and, of what is dropped, why."""
    ends = {d.need: d.on for d in done if d.last}
    by_week: Counter = Counter()
    out = []
    for d in done:
        week = week_of(d.on)
        by_week[week] += 1
        out.append(_row(d.need, week) | {"order": by_week[week], "on": d.on, "hours": d.hours, "travel_hours": d.travel_hours, "done": PLANNED,
                                         "reason": d.need.why, "cost_in_condition": _cost(d.need, ends.get(d.need), season)})  # fmt: skip
    for x in left:
        why = words(f"season_left_{x.why}")
        out.append(_row(x.need, week_of(x.on)) | {"hours": x.hours, "done": DROPPED, "reason": f"{x.need.why}; {why}", "cost_in_condition": _cost(x.need, None, season)})
    return out


def _row(need: Need, week: dt.date) -> dict:
    return {"week_start": week, "field_id": need.field_id, "task": need.task, "site": need.site, "rank": RANKS[need.rank], "over": need.excess}


def _cost(need: Need, on: dt.date | None, season: Season) -> float | None:
    """Excess over tolerances times the share of the season it stays."""
    return None if need.excess is None else need.excess * waited(on, season)


def order_rows(ordered: Sequence[Ordered], words: Words) -> list[dict]:
    """Rows of order.csv."""
    return [
        {"site": o.site, "material": "mix", "tonnes": o.tonnes, "low95": o.low95, "high95": o.high95, "in_stock": o.in_stock, "reason": plain_text(" ".join(_because(o, {}, "metric", words)))} for o in ordered
    ]  # fmt: skip


def season_block(done: Sequence[Done], left: Sequence[Left], season: Season, ordered: Sequence[Ordered], names: Mapping[str, str], said: Mapping[tuple, str], units: str, words: Words, behind: Mapping[str, Sequence[str]] | None = None) -> dict:
    """Everything the page says of the season.

    names : field id -> name; said: (field, task, rank) -> the reason in the reader's units; behind: field id -> what of its
            opening is done
    """
    if not season.days:
        return asked_block([], ordered, units, words, names) | {"none": words("season_over")}
    worked, road = sum(d.hours for d in done), sum(d.travel_hours for d in done)
    soon = [d for d in done if d.on < week_of(season.days[0]) + SHOWN_WEEKS * WEEK]
    why = lambda n: said.get((n.field_id, n.task, n.rank), n.why)
    return {
        "none": "", "lead": words("season_lead", first=words.date(season.days[0]), last=words.date(season.days[-1]), hours=_whole(worked + road), road=_whole(road), all=_whole(len(season.days) * season.hours_per_day),
                                   free=_whole(len(season.days) * season.hours_per_day - worked - road)),
        "heads": [words(f"season_col_{c}") for c in ("day", "field", "work", "hours", "road")], "rows": _days(soon, names, why, words), "row_sites": _sites_of_days(soon), "week": week_rows(done, season, names, why, words),
        "caption": words("season_caption", number=SHOWN_WEEKS), "cost": _condition(done, left, season, words),
        "left": _left(left, names, why, words), "left_sites": [x.need.site for x in _held(left)], "turns": _turns(done, left, names, words), "opening": _opening(done, left, names, why, behind or {}, words), "order": _order(ordered, names, units, words), "order_sites": [o.site for o in ordered], "order_wanted": [bool(o.high95) for o in ordered],
    }  # fmt: skip


def week_rows(done: Sequence[Done], season: Season, names: Mapping[str, str], why, words: Words) -> list[dict]:
    """What the crew does in the season's first week: a row a piece of unsafe work, then a row a field for the rest, in the order of the
    days: field_id, name, site, work, hours (with the road), why, unsafe, and the Monday."""
    monday, mine = week_of(season.days[0]), {}
    for d in done:
        if week_of(d.on) == monday:
            mine.setdefault((d.need.field_id, d.need if d.need.rank == UNSAFE else None), []).append(d)
    out = []
    for (field_id, unsafe), stops in mine.items():
        needs = list(dict.fromkeys(d.need for d in stops))
        goes_on = {n for n in needs if not [d for d in stops if d.need == n][-1].last}
        works = [words(f"task_{n.task}") + (f" ({words('season_goes_on')})" if n in goes_on else "") for n in needs]
        said = [words("season_before_blade") if n.rank == UNSAFE and n.task == BASES else words("season_by_opening") if n.rank == OPENING else why(n) for n in needs]
        out.append({"field_id": field_id, "name": names[field_id], "site": needs[0].site, "work": opened("; ".join(dict.fromkeys(works))), "hours": sum(d.hours + d.travel_hours for d in stops),
                    "why": "; ".join(dict.fromkeys(said)), "unsafe": unsafe is not None, "monday": monday.isoformat()})  # fmt: skip
    return sorted(out, key=lambda r: not r["unsafe"])


def asked_block(missing: Sequence[str], ordered: Sequence[Ordered], units: str, words: Words, names: Mapping[str, str] | None = None) -> dict:
    """Where no season can be planned: which settings are asked for; the order of mix stands all the same."""
    return {"none": words("season_asked", names=words.listed(missing)), "order": _order(ordered, names or {}, units, words), "order_sites": [o.site for o in ordered], "order_wanted": [bool(o.high95) for o in ordered]}


def _days(soon: Sequence[Done], names: Mapping[str, str], why, words: Words) -> list[tuple[str, ...]]:
    """A row for each stop of each day: day, field, works with their reasons but for plain upkeep, hours, hours on the road."""
    out, told = [], set()
    for (day, field_id), mine in _stops(soon).items():
        works = []
        for d in mine:
            works.append(_work(d, why, d.need in told, words))
            told.add(d.need)
        out.append((words.date(day), names[field_id], " ".join(works), _h(sum(d.hours for d in mine)), _h(road) if (road := sum(d.travel_hours for d in mine)) else ""))
    return out


def _stops(soon: Sequence[Done]) -> dict[tuple[dt.date, str], list[Done]]:
    stops: dict[tuple[dt.date, str], list[Done]] = {}
    for d in soon:
        stops.setdefault((d.on, d.need.field_id), []).append(d)
    return stops


def _sites_of_days(soon: Sequence[Done]) -> list[str]:
    """The site of each row of `_days`."""
    return [mine[0].need.site for mine in _stops(soon).values()]


def _work(d: Done, why, told: bool, words: Words) -> str:
    """'Level (low or uneven: second base; goes on).'; of the opening and of upkeep the work alone, of what was told the day before
    that it goes on."""
    first = d.need.rank == UNSAFE and d.need.task == BASES
    reason = words("season_before_blade") if first else words("season_by_opening") if d.need.rank == OPENING else why(d.need) if d.need.rank in (UNSAFE, REPAIR) and not told else ""
    notes = [n for n in (words("season_unsafe") if d.need.rank == UNSAFE and not told and not first else "", reason, words("season_rest") if told else "", "" if d.last else words("season_goes_on")) if n]
    return opened(words(f"task_{d.need.task}")) + (f" ({'; '.join(notes)})" if notes else "") + "."


def _h(hours: float) -> str:
    return f"{hours:.1f}"


def _whole(hours: float) -> str:
    return f"{hours:.0f}"


def _condition(done: Sequence[Done], left: Sequence[Left], season: Season, words: Words) -> str:
    """What is over tolerance now, what is still over at the end, and what was over on average meanwhile."""
    ends = {d.need: d.on for d in done if d.last}
    known = [n for n in dict.fromkeys([*(d.need for d in done), *(x.need for x in left)]) if n.excess]
    if not known:
        return ""
    now, end = sum(n.excess for n in known), sum(n.excess for n in known if n not in ends)
    mean = sum(n.excess * waited(ends.get(n), season) for n in known)
    return words("season_condition" if end else "season_condition_none", now=f"{now:.1f}", end=f"{end:.1f}", mean=f"{mean:.1f}")


def _left(left: Sequence[Left], names: Mapping[str, str], why, words: Words) -> list[str]:
    """What is left undone but for single turns of upkeep, worst first."""
    return [
        words("season_left" if x.need.excess is None else "season_left_cost", field=names[x.need.field_id], work=words(f"task_{x.need.task}"), why=words(f"season_left_{x.why}"),
              hours=words("season_missing", hours=_h(x.hours)) if x.hours else "", what=opened(why(x.need)), over=f"{x.need.excess or 0.0:.1f}") for x in _held(left)
    ]  # fmt: skip


def _held(left: Sequence[Left]) -> list[Left]:
    return sorted((x for x in left if x.need.rank != UPKEEP), key=lambda x: (x.need.rank, -(x.need.excess or 0.0), x.need.field_id, x.need.task))


def _turns(done: Sequence[Done], left: Sequence[Left], names: Mapping[str, str], words: Words) -> list[str]:
    """Turns of upkeep left out, counted by work and reason."""
    every = Counter(n.task for n in (*(d.need for d in done), *(x.need for x in left)) if n.rank == UPKEEP)
    out = []
    for (task, why), number in sorted(Counter((x.need.task, x.why) for x in left if x.need.rank == UPKEEP).items()):
        fields = words.listed(sorted({names[x.need.field_id] for x in left if x.need.rank == UPKEEP and x.need.task == task and x.why == why}))
        out.append(words("season_turns", work=opened(words(f"task_{task}")), number=number, all=every[task], fields=fields, why=words(f"season_left_{why}")))
    return out


def _opening(done: Sequence[Done], left: Sequence[Left], names: Mapping[str, str], why, behind: Mapping[str, Sequence[str]], words: Words) -> list[dict]:
    """The opening list of each field: what is behind it, and the rest with the day each is put on."""
    ends = {d.need: d.on for d in done if d.last}
    needs = [n for n in dict.fromkeys([*(d.need for d in done), *(x.need for x in left)]) if n.rank == OPENING or n.task == BASES]
    out = []
    for field_id in sorted({n.field_id for n in needs} | {f for f, lines in behind.items() if lines}, key=lambda f: names[f]):
        mine = sorted((n for n in needs if n.field_id == field_id), key=lambda n: OPENING_TASKS.index(n.task))
        late = words("season_first_game", day=words.date(mine[0].due)) if mine and mine[0].due is not None and any(ends.get(n, n.due) >= n.due for n in mine) else ""
        lines = [f"{opened(words(f'opening_{n.task}'))}: {why(n)}. " + (words("season_put_on", day=words.date(ends[n])) if n in ends else words("season_not_put")) for n in mine]
        site = next((n.site for n in mine), "")
        out.append({"name": names[field_id], "site": site, "late": late, "lines": [*lines, *behind.get(field_id, ())]})
    return out


def _order(ordered: Sequence[Ordered], names: Mapping[str, str], units: str, words: Words) -> list[str]:
    """One sentence a site, and its reasons."""
    mass, out = spoken(units, words).mass, []
    for o in ordered:
        if o.high95:
            wanted, span = ranged(o.tonnes, o.low95, o.high95, mass)
            head = words("season_order", site=titled(o.site), mass=wanted, span=span)
        else:
            head = words("season_order_none" if o.needed else "season_order_unknown", site=titled(o.site))
        out.append(" ".join([head, *_because(o, names, units, words)]))
    return out


def _because(o: Ordered, names: Mapping[str, str], units: str, words: Words) -> list[str]:
    """Which field wants how much and what for, what lies there and how old that count is, whose need nobody knows."""
    mass = spoken(units, words).mass
    said = [words(f"season_order_{w.why}", field=names.get(w.field_id, w.field_id), mass=figure(w.tonnes, w.sigma, mass)) for w in o.wanted]
    if o.stock is None:
        said.append(words("season_order_no_stock"))
    else:
        said.append(words("season_order_stock", mass=figure(o.stock.tonnes, None, mass), day=words.date(o.stock.on)))
        said += [words("season_order_old", day=words.date(o.added_on))] if o.added_on is not None else []
    return said + ([words("season_order_untold", fields=words.listed(names.get(f, f) for f in o.untold))] if o.untold else [])
