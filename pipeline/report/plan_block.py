"""The capital plan on the page over all fields: what is decided now, each year, each field, other ways, what earlier plans promised, how sure."""

from __future__ import annotations

from typing import Callable

from pipeline.plan.treatments import LIP, NONE, RING
from pipeline.report.budget_block import budget_steps_block
from pipeline.report.figures import METRIC, Units, about, counted, printed
from pipeline.report.plan_asked import COLUMNS as ASKED
from pipeline.report.plan_asked import PROMISES, Given, asked_rows, promise_rows
from pipeline.report.plan_charts import budget_chart, condition_chart
from pipeline.report.plan_fields import field_line
from pipeline.report.plan_measures import part
from pipeline.report.plan_other import compared, pin_line
from pipeline.report.plan_reasons import line_reason, little, money, points
from pipeline.report.plan_sure import not_offered, sure
from pipeline.report.words import Words

COLUMNS = ("field", "does", "cost", "hours", "tonnes", "firmness", "why")


def plan_block(record: dict, words: Words, units: Units = METRIC, given: Given = Given()) -> dict:
    """The page's block; empty where no plan was asked for and none was promised before.

    record : build/plan/plan.json
    units  : the readers'
    given  : what the owner and the crew wrote down
    returns : lead (sentences), years (dicts of title, says, rows), heads, fields (one line to quote each), compared, steps (the plan at other budgets), pins, sure,
              asked and promises (heads and rows), outcome; of a plan that is none only lead, asked, promises, outcome
    """
    state = record["state"]
    if state == "not_asked":
        return {}
    currency = record.get("currency", "")
    out = {
        "planned": state == "planned", "asked": _table("asked", ASKED, asked_rows(record, given, currency, words) if "first_year" in record else [], words),
        "promises": _table("promise", PROMISES, promise_rows(given, currency, words, units), words), "outcome": _outcome(record, words),
    }  # fmt: skip
    if state == "not_measured":
        return out | {"lead": [words("plan_not_measured")]}
    if state == "infeasible":
        return out | {"lead": infeasible_lines(record, words)}
    return out | {
        "charts": [*_drawn(record, words)], "lead": _lead(record, words), "heads": [words(f"plan_head_{c}") for c in COLUMNS], "years": [_year(record, t, words, units) for t in range(record["years"])],
        "fields": [field_line(f, record, words, units) for f in sorted(record["courses"], key=record["names"].get)], "compared": compared(record, words), "steps": budget_steps_block(record, words),
        "pins": [pin_line(p, record, words, given.signed) for p in [*record["pins"], *record["pins_left"]]], "sure": sure(record, words), "kept": words("plan_kept", name=given.kept) if given.kept else "",
    }  # fmt: skip


def _table(name: str, columns: tuple[str, ...], rows: list[list[str]], words: Words) -> dict:
    return {"caption": words(f"plan_caption_{name}"), "heads": [words(f"plan_head_{c}") for c in columns], "rows": rows}


def _drawn(record: dict, words: Words):
    """The two drawings, each with the line under it."""
    for name, drawing in (("budget", budget_chart), ("condition", condition_chart)):
        yield {"svg": drawing(record, words)[0], "reads": words(f"plan_reads_{name}")}


def _lead(record: dict, words: Words) -> list[str]:
    done = [line for line in record["lines"] if line["treatment"] != NONE]
    cash = lambda v: money(v, record["currency"])
    planned, bare = record["conditions"]["planned"], record["conditions"]["untreated"]
    last = record["first_year"] + record["years"] - 1
    out = [words.count("plan_lead", len(done), years=record["years"], money=cash(sum(record["spent"])), of=cash(sum(record["money"])))]
    for field_id, what in sorted(record["forced"].items()):
        out += [words("plan_forced", field=record["names"][field_id], part=part(LIP, record["places"][field_id][LIP], words), year=record["first_year"])] if LIP in what else []
    out += [words("plan_over_trip", field=record["names"][f], part=part(RING, place, words)) for f, place in sorted(record["over_trip"].items())]
    out += [words("plan_begun", year=record["first_year"])] if record["begun"] else []
    out += [f"{words('plan_means', last=last, planned=points(planned[-1]), untreated=points(bare[-1]))} {words('plan_condition')}"]
    small = [line for line in done if little(line, record)]
    cost, saved = sum(r["cost"] for r in small), sum(r["why"]["saved"] for r in small)
    out += [words.count("plan_small", len(small), money=cash(cost), share=_of(cost, sum(record["spent"])), does=_does(saved, record["untreated"] - record["loss"], words))] if small else []
    out += [words("plan_by_hand")] if any(RING in c["limits"] for c in record["courses"].values()) else []
    idle = sum(record["crew_hours"]) - sum(record["hours"])
    out += [words("plan_idle", hours=counted(round(sum(record["hours"]))), crew_hours=counted(round(sum(record["crew_hours"]))))] if idle > 0.5 * sum(record["crew_hours"]) else []
    return [*out, words("plan_year_from", day=words.date(record["starts"]), year=record["first_year"])]


def _of(part_: float, whole: float) -> str:
    """A part in whole per cent."""
    return printed(100 * part_ / whole, 0) if whole > 0 else "0"


def _does(saved: float, whole: float, words: Words) -> str:
    """A part of what the plan does, in words."""
    share = _of(saved, whole)
    return words("plan_small_does", share=share) if share != "0" else words("plan_small_nothing")


def _year(record: dict, t: int, words: Words, units: Units) -> dict:
    """One year: its money and hours, a row for each piece of work, then what waits."""
    cash, year = lambda v: money(v, record["currency"]), record["first_year"] + t
    coming = words("plan_year_coming", money=cash(record["comings"][t])) if record["comings"][t] > 0.5 else ""
    mine = sorted((r for r in record["lines"] if r["year"] == year), key=lambda r: record["names"][r["field_id"]])
    works = [r for r in mine if r["treatment"] != NONE]
    title = words("plan_year_title", year=year, spent=cash(record["spent"][t]), works=words.count("plan_works", len(works)))
    says = words("plan_year", spent=cash(record["spent"][t]), money=cash(record["money"][t]), coming=coming, hours=printed(record["hours"][t], 0),
                 crew_hours=printed(record["crew_hours"][t], 0), planned=points(record["conditions"]["planned"][t]), untreated=points(record["conditions"]["untreated"][t]))  # fmt: skip
    waits = [words("plan_waits", field=record["names"][r["field_id"]], why=line_reason(r, record, words, units)) for r in mine if r["treatment"] == NONE]
    return {"title": title, "says": f"{says} {_gain(record, t, words)}", "caption": words("plan_caption", year=year), "rows": [_row(r, record, words, units) for r in works], "waits": waits}


def _row(line: dict, record: dict, words: Words, units: Units) -> list[str]:
    return [
        record["names"][line["field_id"]], words(f"plan_work_{line['treatment']}"), money(line["cost"], record["currency"]) if line["cost"] else "",
        printed(line["hours"], 0) if line["hours"] else "", about(line["tonnes"], units.mass) if line["tonnes"] else "", words(f"plan_{line['firmness']}"), line_reason(line, record, words, units),
    ]  # fmt: skip


def _gain(record: dict, t: int, words: Words) -> str:
    more = record["drops"][t]
    if more <= 0.005 * max(record["loss"], 1.0):
        return words("plan_year_no_more", more=money(10_000, record["currency"]))
    share = printed(100 * more / record["loss"], 0) if record["loss"] > 0 else "0"
    return words("plan_year_more_bound" if record["drops_bound"] else "plan_year_more", more=money(10_000, record["currency"]), share=share)


def infeasible_lines(record: dict, words: Words, named: Callable[[list[str]], str] | None = None) -> list[str]:
    """What would have to be there, year by year; fields that no schedule mends. named: how names are listed"""
    names, listed = record["names"], named or words.listed
    pins = [words("plan_pins_in_the_way")] if record["pins_in_the_way"] else []
    if record["no_rules"]:
        return [words("plan_no_rules", rules=words.listed(words(f"plan_rule_{r}") for r in record["no_rules"])), *pins]
    if record["no_schedule"]:
        return [words("plan_no_schedule", fields=listed([names[f] for f in record["no_schedule"]])), *not_offered(record, record["no_schedule"], words, named=named), *pins]
    cash = lambda v: money(v, record["currency"])
    out = [words("plan_infeasible")]
    for t, (short, hours) in enumerate(zip(record["short_money"], record["short_hours"])):
        year = record["first_year"] + t
        out += [words("plan_short_money", year=year, money=cash(short), needs=cash(record["money"][t] + short), there=cash(record["money"][t]))] if short > 0.005 else []
        out += [words("plan_short_hours", year=year, hours=printed(hours, 0), needs=printed(record["crew_hours"][t] + hours, 0))] if hours > 0.005 else []
    return out + pins + ([words("plan_close", fields=listed([names[f] for f in sorted(record["forced"])]))] if record["forced"] else [])


def _outcome(record: dict, words: Words) -> str:
    found = record["outcome"]
    if not found["measured"]:
        return words("plan_outcome_none")
    said = words.count("plan_outcome", found["measured"], kept=found["in_band"], share=printed(100 * found["share"], 0))
    return said if found["trusted"] else f"{said} {words('plan_outcome_distrust')}"
