"""A measure of the plan at a year's end in words: how it stands, what it is held against, how likely it is over."""

from __future__ import annotations

from pipeline.plan.condition import chance_over
from pipeline.plan.treatments import LIP, LOST, MIX, RING
from pipeline.report.figures import Units, figure, limit
from pipeline.report.placing import edge_words, place_words
from pipeline.report.words import Words

Stand = tuple[float, float]  # level and one s.d., mm


def part(component: str, place: str, words: Words) -> str:
    """'the lip along the outer edge'; 'the hollow at second base'."""
    if component in (LIP, LOST):
        return words(f"plan_part_{component}", place=edge_words(words, place))
    return words(f"plan_part_{component}", place=place_words(words, place)) if component == RING else words(f"plan_part_{component}")


def named(field_id: str, component: str, record: dict, words: Words) -> str:
    """The part of a field that a component stands for."""
    return part(component, record["places"][field_id][component], words)


def bare_figure(field_id: str, component: str, stand: Stand, record: dict, units: Units) -> str:
    """'33 mm ± 10'; of the mix its depth, where the plan reckons what is missing of the least depth."""
    level, sigma = stand
    scale = record["courses"][field_id]["limits"][component][1]
    return figure(scale - level if component == MIX else level, sigma, units.height)


def shown(field_id: str, component: str, stand: Stand, record: dict, words: Words, units: Units) -> str:
    """'33 mm ± 10 deep'."""
    return words(f"plan_shown_{component}", figure=bare_figure(field_id, component, stand, record, units))


def held_to(field_id: str, component: str, record: dict, words: Words, units: Units) -> str:
    """'the limit is 25 mm'; of the mix 'the least is 75 mm'."""
    most, scale = record["courses"][field_id]["limits"][component]
    return words("plan_least", limit=limit(scale, units.height)) if component == MIX else words("plan_limit", limit=limit(most, units.height))


def past(field_id: str, component: str, stand: Stand, record: dict) -> float:
    """How likely the measure is past its limit."""
    return chance_over(*stand, record["courses"][field_id]["limits"][component][0])


def chance(field_id: str, component: str, stand: Stand, record: dict, words: Words) -> str:
    """'12 in 100': how likely the measure is past its limit."""
    share = 100 * past(field_id, component, stand, record)
    return words("plan_chance_none") if share < 0.5 else words("plan_chance_sure") if share > 99.5 else words("plan_chance", number=round(share))


def stands(field_id: str, component: str, year: int, record: dict, words: Words, units: Units, course: str = "planned") -> str:
    """'the hollow at second base is 33 mm ± 10 deep at the end of 2027; the limit is 20 mm'."""
    stand = record["courses"][field_id][course][component][year - record["first_year"]]
    return words("plan_stands", part=named(field_id, component, record, words), figure=shown(field_id, component, stand, record, words, units), year=year,
                 limit=held_to(field_id, component, record, words, units))  # fmt: skip
