"""One line to quote for each field: what the plan's money keeps within its limits until when, and what comes of doing nothing."""

from __future__ import annotations

from typing import Iterable

from pipeline.plan.treatments import MIX, RING
from pipeline.report.figures import Units, printed
from pipeline.report.plan_measures import bare_figure, chance, held_to, named, past, shown
from pipeline.report.plan_reasons import money
from pipeline.report.words import Words, opened
from pipeline.surface.verdict import SURE, UNLIKELY

PLANNED, UNTREATED = "planned", "untreated"
At = tuple[str, int]  # a component and which year's end


def field_line(field_id: str, record: dict, words: Words, units: Units) -> str:
    """Both parts, each in the field's own measure and place with the range or chance behind it."""
    mine = [r for r in record["lines"] if r["field_id"] == field_id]
    spent, hours = sum(r["cost"] for r in mine), sum(r["hours"] for r in mine)
    name, bare = record["names"][field_id], _untreated(field_id, record, words, units)
    if spent < 0.5 and hours < 0.5:
        return words("plan_field_untreated", field=name, untreated=opened(bare))
    given = [*([money(spent, record["currency"])] if spent >= 0.5 else []), *([words("plan_hours", hours=printed(hours, 0))] if hours >= 0.5 else [])]
    return words("plan_field", field=name, given=words.listed(given), planned=_planned(field_id, record, words, units), untreated=words("plan_bare", untreated=bare))


def _over(field_id: str, record: dict, course: str) -> list[At]:
    """Component and year of all that is more likely past its limit than not, by year, then worst first."""
    found = record["courses"][field_id]
    over = [(n, t) for n in found["limits"] for t in range(record["years"]) if _excess(found, course, n, t) > 0]
    return sorted(over, key=lambda r: (r[1], -_excess(found, course, *r), r[0]))


def _excess(found: dict, course: str, name: str, t: int) -> float:
    return (found[course][name][t][0] - found["limits"][name][0]) / found["limits"][name][1]


def _years(over: Iterable[At], record: dict) -> list[int]:
    return sorted({record["first_year"] + t for _, t in over})


def _planned(field_id: str, record: dict, words: Words, units: Units) -> str:
    over, found = _over(field_id, record, PLANNED), record["courses"][field_id]
    first, end = record["first_year"], record["years"] - 1
    name, t = max(over or [(n, t) for n in found["limits"] for t in range(record["years"])], key=lambda r: _excess(found, PLANNED, *r) if over else past(field_id, r[0], found[PLANNED][r[0]][r[1]], record))
    stand = found[PLANNED][name][t]
    said = {"part": named(field_id, name, record, words), "year": first + t, "last": first + end, "chance": chance(field_id, name, stand, record, words)}
    if not over:
        return words("plan_within" if past(field_id, name, stand, record) <= UNLIKELY else "plan_within_perhaps", **said)
    years = _years(over, record)
    said |= {"figure": shown(field_id, name, stand, record, words, units), "limit": held_to(field_id, name, record, words, units)}
    said["then"] = _then(field_id, name, PLANNED, record, words, units) if (name, end) in over and t != end else ""
    mended = [named(field_id, n, record, words) for n in found["limits"] if _excess(found, UNTREATED, n, end) > 0 >= _excess(found, PLANNED, n, end)]
    begun = words.count("plan_mended", len(mended), parts=words.listed(mended)) if mended else ""
    if len(years) == record["years"]:
        return begun + words("plan_over_always", **said)
    if years[0] > first and years == list(range(years[0], first + end + 1)):
        return words("plan_over_from", until=years[0] - 1, since=years[0], **said)
    return begun + words("plan_over_in", years=words.listed(map(str, years)), **said)


def _then(field_id: str, name: str, course: str, record: dict, words: Words, units: Units) -> str:
    """How it stands at the end of the plan."""
    end = record["years"] - 1
    return words("plan_then", figure=bare_figure(field_id, name, record["courses"][field_id][course][name][end], record, units), year=record["first_year"] + end)


def _untreated(field_id: str, record: dict, words: Words, units: Units) -> str:
    """When it is first over with nothing done, in what, how likely; how that stands in the end, and what else is over by then."""
    over, end = _over(field_id, record, UNTREATED), record["years"] - 1
    if not over:
        return words("plan_bare_within", last=record["first_year"] + end)
    name, t = over[0]
    stand = record["courses"][field_id][UNTREATED][name][t]
    sure = "" if past(field_id, name, stand, record) >= SURE else "_perhaps"
    said = words(f"plan_bare_{'thin' if name == MIX else 'over'}{sure}", part=named(field_id, name, record, words), year=record["first_year"] + t,
                 figure=shown(field_id, name, stand, record, words, units), limit=held_to(field_id, name, record, words, units), chance=chance(field_id, name, stand, record, words),
                 then=_then(field_id, name, UNTREATED, record, words, units) if t < end else "", unfilled=words("plan_unfilled") if name == RING else "")  # fmt: skip
    others = [n for n in dict.fromkeys(n for n, _ in over) if n != name]
    return said + (f" {words('plan_bare_others', parts=words.listed(named(field_id, n, record, words) for n in others))}" if others else "")
