"""Why a line of the capital plan stands as it does, in sentences that can be read aloud: the field's own measure first, then the money."""

from __future__ import annotations

from pipeline.plan.reasons import BENEATH, BOUGHT, CREW, FORCED, HELD, LATER, NO_MEANS, NOT_NEEDED, NOT_NOW, PAYS, PINNED, RESTS
from pipeline.plan.treatments import LASER_GRADE, LEVEL, MOST_TREATMENTS, NONE
from pipeline.report.figures import METRIC, NBSP, Units, printed
from pipeline.report.plan_measures import bare_figure, held_to, named, past, shown, stands
from pipeline.report.words import Words, opened
from pipeline.surface.verdict import UNLIKELY

LITTLE = 0.10  # of what the plan's money does on average: below, that is said
HARDLY = 0.005  # of condition over the whole plan: not worth a word
COMPARED = 0.01  # of what a line does for its money: what does less than that is no use of it that anyone gives up


def money(value: float, currency: str) -> str:
    """'USD 12 300': whole money, thousands set apart."""
    return f"{currency}{NBSP}{round(value):,}".replace(",", NBSP)


def points(value: float) -> str:
    """Condition: two digits that tell."""
    return printed(value, 1 if abs(value) >= 0.95 else 2)


def line_reason(line: dict, record: dict, words: Words, units: Units = METRIC) -> str:
    """line: a row of the plan with `why`, its reason as data; record: that of the whole plan."""
    why, code = line["why"], line["why"]["code"]
    if code in (FORCED, PINNED, BOUGHT, CREW, PAYS):
        begun = {FORCED: "plan_reason_forced", PINNED: "plan_reason_pinned"}.get(code)
        bid = words("plan_bid", year=line["year"]) if [line["field_id"], line["year"]] in record["bids"] and why["treatment"] == LASER_GRADE else ""
        doubt = words("plan_saves_doubt") if why["doubtful"] else ""
        return " ".join(filter(None, (words(begun) if begun else "", bid, _effect(line, record, words, units), _either(line, record, words), doubt, _worth(line, record, words))))
    does = words(f"plan_does_{why['treatment']}") if why["treatment"] else ""
    if code in (RESTS, LATER):
        then = words(f"plan_reason_{code}", does=does, year=record["first_year"] + why["year"])
        return then if code == RESTS else f"{then} {words('plan_until', stands=_now(line, record, words, units))}"
    if code == NOT_NEEDED:
        return words("plan_reason_not_needed")
    assert code in (NO_MEANS, NOT_NOW, HELD, BENEATH)
    now = opened(_now(line, record, words, units))
    if code == NO_MEANS:
        return words("plan_reason_no_means", stands=now, does=does)
    if code in (HELD, BENEATH):
        return words(f"plan_reason_{code}", stands=now, does=opened(does))
    if not does:
        return words("plan_reason_full" if _works(line["field_id"], record) >= MOST_TREATMENTS else "plan_reason_nothing", stands=now)
    return words("plan_reason_hardly" if why["saved"] < HARDLY else "plan_reason_not_now", stands=now, does=does)


def little(line: dict, record: dict) -> bool:
    """Whether a paid line, neither must nor pin, does less than LITTLE of what the plan's money does on average."""
    why = line["why"]
    mean = 1000 * (record["untreated"] - record["loss"]) / max(sum(record["spent"]), 1.0)
    return why["code"] == BOUGHT and why["per_1000"] is not None and why["per_1000"] < LITTLE * mean


def _works(field_id: str, record: dict) -> int:
    return sum(r["treatment"] not in (NONE, LEVEL) for r in record["lines"] if r["field_id"] == field_id)


def _now(line: dict, record: dict, words: Words, units: Units) -> str:
    return stands(line["field_id"], line["why"]["component"], line["year"], record, words, units)


def _effect(line: dict, record: dict, words: Words, units: Units) -> str:
    """What the line does to the measure it mends most, at the year's end, and how that would stand if it were left."""
    field_id, name = line["field_id"], line["why"]["component"]
    if not name:
        return ""
    if line["left"] is None:
        return opened(_now(line, record, words, units)) + "."
    then = record["courses"][field_id]["planned"][name][line["year"] - record["first_year"]]
    return opened(words("plan_effect", part=named(field_id, name, record, words), then=bare_figure(field_id, name, then, record, units), left=shown(field_id, name, line["left"], record, words, units),
                        limit=held_to(field_id, name, record, words, units)))  # fmt: skip


def _either(line: dict, record: dict, words: Words) -> str:
    """That the measure would have kept its limit that year without the line."""
    name = line["why"]["component"]
    return words("plan_either") if name and line["left"] is not None and past(line["field_id"], name, line["left"], record) <= UNLIKELY else ""


def _worth(line: dict, record: dict, words: Words) -> str:
    """What it does for its money, against the other paid lines and the best use given up for it."""
    why = line["why"]
    if why["code"] == CREW:
        return words("plan_by_crew")
    if why["code"] == PAYS or why["per_1000"] is None and line["cost"] > 0:
        return words("plan_pays")
    if why["per_1000"] is None or why["code"] == PINNED:
        return ""
    if little(line, record):
        return words("plan_little")
    paid = sorted((r["why"]["per_1000"] for r in record["lines"] if r["why"]["per_1000"] is not None and r["treatment"] != NONE), reverse=True)
    place = paid.index(why["per_1000"]) + 1
    said = words("plan_first_of" if place == 1 else "plan_place_of", place=place, number=len(paid))
    return f"{said} {_given_up(why, record, words)}" if why["code"] == BOUGHT else said


def _given_up(why: dict, record: dict, words: Words) -> str:
    """The best use of that year's money that is given up for it."""
    field_id, treatment, per = why["other"] or ("", "", 0.0)
    if per < COMPARED * why["per_1000"]:
        return words("plan_no_other")
    key = "plan_other_less" if per <= why["per_1000"] else "plan_other_more"
    does = words(f"plan_does_{treatment}")
    return words(key, does=does if per <= why["per_1000"] else opened(does), field=record["names"][field_id], share=printed(100 * per / why["per_1000"], 0))
