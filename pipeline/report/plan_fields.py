"""One line to quote for each field: what the plan's money keeps within its limits until when, and what comes of doing nothing."""

from __future__ import annotations

from typing import Iterable

from pipeline.plan.condition import chance_over
from pipeline.report.figures import Units, printed
from pipeline.report.plan_measures import chance, held_to, named, shown, stands
from pipeline.report.plan_reasons import money
from pipeline.report.words import Words, opened

PLANNED, UNTREATED = "planned", "untreated"
At = tuple[str, int]  # a component and which year's end


def field_line(field_id: str, record: dict, words: Words, units: Units) -> str:
    """Both parts, each in the field's own measure and place with the range or chance behind it."""
    mine = [r for r in record["lines"] if r["field_id"] == field_id]
    spent, hours = sum(r["cost"] for r in mine), sum(r["hours"] for r in mine)
    name = record["names"][field_id]
    bare = _untreated(field_id, record, words, units)
    if spent < 0.5 and hours < 0.5:
        return words("plan_field_untreated", field=name, untreated=bare)
    given = [*([money(spent, record["currency"])] if spent >= 0.5 else []), *([words("plan_hours", hours=printed(hours, 0))] if hours >= 0.5 else [])]
    return words("plan_field", field=name, given=words.listed(given), planned=_planned(field_id, record, words, units), untreated=words("plan_bare", untreated=bare))


def _over(field_id: str, record: dict, course: str) -> list[At]:
    """Component and year of all that is more likely past its limit than not, by year, then worst first."""
    found = record["courses"][field_id]
    excess = lambda n, t: (found[course][n][t][0] - found["limits"][n][0]) / found["limits"][n][1]
    over = [(n, t) for n in found["limits"] for t in range(record["years"]) if excess(n, t) > 0]
    return sorted(over, key=lambda r: (r[1], -excess(*r), r[0]))


def _years(over: Iterable[At], record: dict) -> list[int]:
    return sorted({record["first_year"] + t for _, t in over})


def _planned(field_id: str, record: dict, words: Words, units: Units) -> str:
    over = _over(field_id, record, PLANNED)
    last = record["first_year"] + record["years"] - 1
    found = record["courses"][field_id]
    if not over:
        name, t = max(((n, t) for n in found["limits"] for t in range(record["years"])), key=lambda r: chance_over(*found[PLANNED][r[0]][r[1]], found["limits"][r[0]][0]))
        near = stands(field_id, name, record["first_year"] + t, record, words, units)
        return words("plan_within", last=last, near=near, chance=chance(field_id, name, found[PLANNED][name][t], record, words))
    years = _years(over, record)
    name, t = max(over, key=lambda r: (found[PLANNED][r[0]][r[1]][0] - found["limits"][r[0]][0]) / found["limits"][r[0]][1])
    worst = stands(field_id, name, record["first_year"] + t, record, words, units)
    if len(years) == record["years"]:
        return words("plan_over_always", worst=worst)
    if years[0] > record["first_year"] and years == list(range(years[0], last + 1)):
        return words("plan_over_from", until=years[0] - 1, year=years[0], worst=worst)
    return words("plan_over_in", years=words.listed(map(str, years)), worst=worst)


def _untreated(field_id: str, record: dict, words: Words, units: Units) -> str:
    """When it is first over with nothing done, in what, how likely; how that stands in the end, and what else is over by then."""
    over = _over(field_id, record, UNTREATED)
    last = record["years"] - 1
    if not over:
        return words("plan_bare_within", last=record["first_year"] + last)
    name, t = over[0]
    course = record["courses"][field_id][UNTREATED][name]
    said = words("plan_bare_over", part=named(field_id, name, record, words), year=record["first_year"] + t, figure=shown(field_id, name, course[t], record, units),
                 limit=held_to(field_id, name, record, words, units), chance=chance(field_id, name, course[t], record, words))  # fmt: skip
    if t < last:
        said += words("plan_bare_last", figure=shown(field_id, name, course[last], record, units), year=record["first_year"] + last)
    others = [n for n in dict.fromkeys(n for n, _ in over) if n != name]
    return said + "." + (f" {opened(words('plan_bare_others', parts=words.listed(named(field_id, n, record, words) for n in others)))}" if others else "")
