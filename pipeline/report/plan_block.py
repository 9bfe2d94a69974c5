"""The capital plan in words: year by year, why, against other ways, what other means change, how near the best it is."""

from __future__ import annotations

from pipeline.plan.rivals import IN_TURN, WORST_FIRST
from pipeline.plan.treatments import LIP, NONE, RING
from pipeline.report.figures import METRIC, Units, figure, printed
from pipeline.report.plan_reasons import line_reason, money, part, points
from pipeline.report.words import Words, opened

COLUMNS = ("year", "field", "does", "cost", "hours", "tonnes", "after", "firmness", "why")
MOST_CHANGES = 6


def plan_block(record: dict, words: Words, units: Units = METRIC) -> dict:
    """The index page's block; empty where no plan was asked for.

    record : build/plan/plan.json
    units  : the readers'
    returns : heading, lead (sentences), heads and rows of the table, waits (fields that get nothing in the first year, and why), years
              (a sentence a year), compared, tenth, pins, fields (one line to quote each), sure (how near the best, what is assumed), outcome
    """
    state = record["state"]
    if state == "not_asked":
        return {}
    out = {"heading": words("plan_heading"), "outcome": _outcome(record, words)}
    if state == "not_measured":
        return out | {"lead": [words("plan_not_measured")]}
    if state == "infeasible":
        return out | {"lead": _infeasible(record, words)}
    done = [line for line in record["lines"] if line["treatment"] != NONE]
    first = [line for line in record["lines"] if line["treatment"] == NONE and line["year"] == record["first_year"]]
    return out | {
        "lead": _lead(record, done, words), "caption": words("plan_caption"), "heads": [words(f"plan_head_{c}") for c in COLUMNS],
        "rows": [_row(line, record, words, units) for line in sorted(done, key=lambda r: (r["year"], record["names"][r["field_id"]]))],
        "waits": [words("plan_waits", field=record["names"][r["field_id"]], why=line_reason(r, record, words)) for r in first],
        "years": [_year(record, t, words) for t in range(record["years"])], "compared": _compared(record, words), "tenth": _tenth(record, words),
        "pins": [_pin(p, record, words) for p in [*record["pins"], *record["pins_left"]]], "fields": [_field(f, record, words) for f in sorted(record["over_years"], key=record["names"].get)],
        "sure": _sure(record, words),
    }  # fmt: skip


def _lead(record: dict, done: list[dict], words: Words) -> list[str]:
    months = words("plan_year_from", day=words.date(record["starts"]), year=record["first_year"])
    out = [words.count("plan_lead", len(done), years=record["years"], money=money(sum(record["spent"]), record["currency"])), months, words("plan_points")]
    for field_id, what in sorted(record["forced"].items()):
        out.append(words("plan_forced", field=record["names"][field_id], part=part(LIP, record["places"][field_id][LIP], words)) if LIP in what else "")
    for field_id, place in sorted(record["over_trip"].items()):
        out.append(words("plan_over_trip", field=record["names"][field_id], part=part(RING, place, words)))
    if record["begun"]:
        out.append(words("plan_begun", year=record["first_year"]))
    return [s for s in out if s]


def _row(line: dict, record: dict, words: Words, units: Units) -> list[str]:
    return [
        str(line["year"]), record["names"][line["field_id"]], words(f"plan_does_{line['treatment']}"), money(line["cost"], record["currency"]) if line["cost"] else words("plan_none"),
        printed(line["hours"], 0) if line["hours"] else words("plan_none"), figure(line["tonnes"], None, units.mass) if line["tonnes"] else words("plan_none"), points(line["expected_condition_after"]),
        words(f"plan_{line['firmness']}"), line_reason(line, record, words),
    ]  # fmt: skip


def _year(record: dict, t: int, words: Words) -> str:
    cash = lambda v: money(v, record["currency"])
    coming = words("plan_year_coming", money=cash(record["comings"][t])) if record["comings"][t] > 0.5 else ""
    more = record["drops"][t]
    gain = words("plan_year_more_bound" if record["drops_bound"] else "plan_year_more", more=cash(10_000), points=points(more)) if more > 0.005 else words("plan_year_no_more", more=cash(10_000))
    return words("plan_year", year=record["first_year"] + t, spent=cash(record["spent"][t]), money=cash(record["money"][t]), coming=coming, hours=printed(record["hours"][t], 0),
                 crew_hours=printed(record["crew_hours"][t], 0), planned=points(record["conditions"]["planned"][t]), untreated=points(record["conditions"]["untreated"][t]), gain=gain)  # fmt: skip


def _compared(record: dict, words: Words) -> list[str]:
    out = [words("plan_compared", loss=points(record["loss"]), untreated=points(record["untreated"]))]
    for name in (WORST_FIRST, IN_TURN):
        other = record["others"][name]
        if other is None:
            out.append(words("plan_rival_none", way=opened(words(f"plan_way_{name}"))))
            continue
        more = 100 * (other["loss"] / record["loss"] - 1) if record["loss"] > 0 else 0.0
        key = "plan_rival" if more >= 0.5 else "plan_rival_alike"
        out.append(words(key, way=opened(words(f"plan_way_{name}")), loss=points(other["loss"]), more=printed(more, 0), spent=money(sum(other["spent"]), record["currency"])))
    return out


def _tenth(record: dict, words: Words) -> list[str]:
    out = []
    for name, other in sorted(record["tenth"].items(), reverse=True):
        if other is None:
            out.append(words("plan_tenth_none"))
            continue
        changes = [words("plan_change", field=record["names"][c["field_id"]], year=c["year"], to=words(f"plan_does_{c['to']}"), was=words(f"plan_does_{c['from']}")) for c in other["changed"]]
        more = words.count("and_more", len(changes) - MOST_CHANGES) if len(changes) > MOST_CHANGES else ""
        what = "; ".join([*changes[:MOST_CHANGES], *([more] if more else [])]) or words("plan_no_change")
        out.append(words(f"plan_tenth_{name}", loss=points(other["loss"]), was=points(record["loss"]), what=what))
    return out


def _pin(pin: dict, record: dict, words: Words) -> str:
    does = words(f"plan_does_{pin['treatment']}") if pin["treatment"] else words("plan_any_work")
    when = words("plan_pin_year", year=pin["year"]) if pin["year"] else words("plan_pin_not_before", year=pin["not_before"]) if pin["not_before"] else words("plan_pin_sometime")
    if "price" not in pin:
        return words("plan_pin_left", field=record["names"].get(pin["field_id"], pin["field_id"]), does=does, when=when)
    price = words("plan_pin_price", points=points(pin["price"])) if pin["price"] > 0.005 else words("plan_pin_free")
    return words("plan_pin", field=record["names"].get(pin["field_id"], pin["field_id"]), does=does, when=when, price=price)


def _field(field_id: str, record: dict, words: Words) -> str:
    """One line to quote: what is spent on it, and which years some measure is over tolerance, so and without."""
    over = record["over_years"][field_id]
    spent = sum(line["cost"] for line in record["lines"] if line["field_id"] == field_id)
    hours = sum(line["hours"] for line in record["lines"] if line["field_id"] == field_id)
    said = {k: words("plan_over_in", years=words.listed(map(str, v))) if v else words("plan_over_never") for k, v in over.items()}
    name = record["names"][field_id]
    unseen = words("plan_field_unseen", what=words.listed(words(f"plan_measure_{n}") for n, _ in record["not_judged"][field_id])) if record["not_judged"][field_id] else ""
    if spent < 0.5 and hours < 0.5:
        return " ".join(filter(None, (words("plan_field_untreated", field=name, untreated=said["untreated"]), unseen)))
    return " ".join(filter(None, (_quoted(name, spent, hours, said, record, words), unseen)))


def _quoted(name: str, spent: float, hours: float, said: dict, record: dict, words: Words) -> str:
    return words("plan_field", field=name, money=money(spent, record["currency"]), hours=printed(hours, 0), planned=said["planned"], untreated=said["untreated"])


def _sure(record: dict, words: Words) -> list[str]:
    out = [words("plan_gap", gap=printed(100 * record["gap"], 2), bound=points(record["bound"])), words("plan_firmness")]
    level = record["levelling"]
    out.append(words("plan_levelling_assumed" if level["assumed"] else "plan_levelling", share=printed(100 * level["share"], 1)))
    for field_id, lacks in sorted(record["not_judged"].items()):
        if lacks:
            out.append(words("plan_lacks", field=record["names"][field_id], what=words.listed(words(f"plan_lack_{why}", measure=words(f"plan_measure_{n}")) for n, why in lacks)))
    out += _not_offered(record, sorted(record["over_years"]), words)
    out += [words("plan_left_out", fields=words.listed(record["names"][f] for f in record["left_out"]))] if record["left_out"] else []
    out += [words("plan_old", fields=words.listed(record["names"][f] for f in record["old"]))] if record["old"] else []
    out += [words("plan_no_rate", measures=words.listed(words(f"plan_measure_{n}") for n in record["no_rate"]))] if record["no_rate"] else []
    out += [words("plan_worth", thousand=money(1000, record["currency"]), least=printed(record["worth"], 2))] if record["worth"] else []
    out += [words("plan_apart", does=opened(words(f"plan_does_{w}")), years=n) for w, n in sorted(record["apart"].items())]
    return out + ([words("plan_unset", names=words.listed(record["assumed"]))] if record["assumed"] else [])


def _not_offered(record: dict, fields: list[str], words: Words) -> list[str]:
    """Treatments that a plan cannot choose on some fields, and why."""
    found: dict[tuple[str, str], list[str]] = {}
    for field_id in fields:
        for treatment, why in sorted(record["not_offered"][field_id].items()):
            found.setdefault((treatment, why), []).append(record["names"][field_id])
    return [words("plan_not_offered", does=opened(words(f"plan_does_{treatment}")), fields=words.listed(names), why=words(f"plan_missing_{why}")) for (treatment, why), names in sorted(found.items())]


def _infeasible(record: dict, words: Words) -> list[str]:
    """What would have to be there, year by year; fields that no schedule mends."""
    names = record["names"]
    pins = [words("plan_pins_in_the_way")] if record["pins_in_the_way"] else []
    if record["no_rules"]:
        return [words("plan_no_rules", rules=words.listed(words(f"plan_rule_{r}") for r in record["no_rules"])), *pins]
    if record["no_schedule"]:
        return [words("plan_no_schedule", fields=words.listed(names[f] for f in record["no_schedule"])), *_not_offered(record, record["no_schedule"], words), *pins]
    short = [words("plan_short", year=record["first_year"] + t, money=money(m, record["currency"]), hours=printed(h, 0), needs=money(record["money"][t] + m, record["currency"]))
             for t, (m, h) in enumerate(zip(record["short_money"], record["short_hours"])) if m > 0.005 or h > 0.005]  # fmt: skip
    out = [words("plan_infeasible"), *short, *pins]
    return out + ([words("plan_close", fields=words.listed(names[f] for f in sorted(record["forced"])))] if record["forced"] else [])


def _outcome(record: dict, words: Words) -> str:
    found = record["outcome"]
    if not found["measured"]:
        return words("plan_outcome_none")
    said = words.count("plan_outcome", found["measured"], kept=found["in_band"], share=printed(100 * found["share"], 0))
    return said if found["trusted"] else f"{said} {words('plan_outcome_distrust')}"
