"""Why a line of the capital plan stands as it does, in a sentence that can be read aloud."""

from __future__ import annotations

from pipeline.plan.reasons import BENEATH, BOUGHT, CREW, FORCED, HELD, LATER, NO_MEANS, NOT_NEEDED, NOT_NOW, PAYS, PINNED, RESTS
from pipeline.plan.treatments import LASER_GRADE, LIP, LOST, RING
from pipeline.report.figures import NBSP, printed
from pipeline.report.placing import edge_words, place_words
from pipeline.report.words import Words, opened


LITTLE = 0.10  # of what the plan's money takes off on average: below, that is said


def money(value: float, currency: str) -> str:
    """'USD 12 300': whole money, thousands set apart."""
    return f"{currency}{NBSP}{round(value):,}".replace(",", NBSP)


def points(value: float) -> str:
    """Points of condition: two digits that tell."""
    return printed(value, 1 if abs(value) >= 0.95 else 2)


def part(component: str, place: str, words: Words) -> str:
    """'the lip along the outer edge'; 'the hollow at second base'."""
    if component in (LIP, LOST):
        return words(f"plan_part_{component}", place=edge_words(words, place))
    return words(f"plan_part_{component}", place=place_words(words, place)) if component == RING else words(f"plan_part_{component}")


def line_reason(line: dict, record: dict, words: Words) -> str:
    """line: a row of the plan with `why`, its reason as data; record: that of the whole plan."""
    why, field_id = line["why"], line["field_id"]
    named = part(why["component"], record["places"][field_id][why["component"]], words) if why["component"] else ""
    does = words(f"plan_does_{why['treatment']}") if why["treatment"] else ""
    year = record["first_year"] + why["year"] if why["year"] is not None else None
    if why["code"] in (FORCED, PINNED, BOUGHT, CREW, PAYS):
        begun = {FORCED: "plan_reason_forced", PINNED: "plan_reason_pinned"}.get(why["code"])
        doubt = words("plan_saves_doubt", sure=points(max(why["sure"], 0.0))) if why["doubtful"] else ""
        bid = words("plan_bid", year=line["year"]) if [field_id, line["year"]] in record["bids"] and why["treatment"] == LASER_GRADE else ""
        return " ".join(filter(None, (words(begun, part=named) if begun else "", bid, _saving(line, named, record, words), doubt, _given_up(why, record, words))))
    if why["code"] == RESTS:
        return words("plan_reason_rests", does=does, year=year)
    if why["code"] == LATER:
        return words("plan_reason_later", does=does, year=year, part=named)
    if why["code"] == NOT_NEEDED:
        return words("plan_reason_not_needed")
    if why["code"] == NO_MEANS:
        return words("plan_reason_no_means", does=does, part=named)
    if why["code"] == HELD:
        return words("plan_reason_held", does=opened(does), part=named)
    if why["code"] == BENEATH:
        return words("plan_reason_beneath", does=opened(does), part=named, per=points(why["per_1000"]), thousand=money(1000, record["currency"]), least=printed(record["worth"], 2))
    assert why["code"] == NOT_NOW
    if not does:
        return words("plan_reason_nothing", part=named)
    per = words("plan_per", per=points(why["per_1000"]), thousand=money(1000, record["currency"])) if why["per_1000"] is not None else ""
    return words("plan_reason_not_now", does=opened(does), part=named, saved=points(why["saved"]), per=per)


def _saving(line: dict, named: str, record: dict, words: Words) -> str:
    why = line["why"]
    if not named:
        return ""
    if why["saved"] <= 0:
        return words("plan_saves_nothing", part=named)
    if why["code"] == PAYS or why["per_1000"] is None and line["cost"] > 0:
        return words("plan_saves_and_pays", part=named, saved=points(why["saved"]))
    if why["per_1000"] is None:
        return words("plan_saves_by_crew", part=named, saved=points(why["saved"]))
    said = words("plan_saves", part=named, saved=points(why["saved"]), per=words("plan_per", per=points(why["per_1000"]), thousand=money(1000, record["currency"])))
    mean = 1000 * (record["untreated"] - record["loss"]) / max(sum(record["spent"]), 1.0)
    return f"{said} {words('plan_saves_little')}" if why["per_1000"] < LITTLE * mean and why["code"] == BOUGHT else said


def _given_up(why: dict, record: dict, words: Words) -> str:
    """The best use of that year's money that is given up for it."""
    if why["per_1000"] is None or why["code"] != BOUGHT:
        return ""
    if why["other"] is None:
        return words("plan_no_other")
    field_id, treatment, per = why["other"]
    key = "plan_other_less" if per <= why["per_1000"] else "plan_other_more"
    return words(key, does=words(f"plan_does_{treatment}"), field=record["names"][field_id], per=points(per))
