"""The plan against other ways: worst first, every field in its turn; and the price of the owner's pins."""

from __future__ import annotations

from pipeline.plan.rivals import IN_TURN, WORST_FIRST
from pipeline.plan.treatments import LEVEL
from pipeline.report.figures import printed
from pipeline.report.plan_reasons import money, points
from pipeline.report.words import Words, opened

ALIKE = 0.005  # of the plan's loss: no difference
SPARED = 0.5  # of what the plan spends: a way that spends less leaves its money lying
HARDLY = 0.0005  # of the plan's loss: a price nobody notices


def compared(record: dict, words: Words) -> list[str]:
    """The plan against nothing done, and against two plain ways under the same budgets."""
    off = 100 * (1 - record["loss"] / record["untreated"]) if record["untreated"] > 0 else 0.0
    out = [words("plan_compared", loss=points(record["loss"]), untreated=points(record["untreated"]), off=printed(off, 0), spent=money(sum(record["spent"]), record["currency"]))]
    others = record["others"]
    one, two = others[WORST_FIRST], others[IN_TURN]
    same = one is not None and two is not None and abs(one["loss"] - two["loss"]) <= ALIKE * max(record["loss"], 1e-9)
    for name in (WORST_FIRST, IN_TURN):
        other = others[name]
        way = opened(words(f"plan_way_{name}"))
        if other is None:
            out.append(words("plan_rival_none", way=way))
        elif same and name == IN_TURN:
            out.append(words("plan_rival_same", way=way))
        else:
            times = other["loss"] / record["loss"] if record["loss"] > 0 else 1.0
            key = "plan_rival_alike" if times < 1 + ALIKE else "plan_rival_times" if times >= 1.5 else "plan_rival"
            out.append(words(key, way=way, loss=points(other["loss"]), more=printed(100 * (times - 1), 0), times=printed(times, 1), spent=money(sum(other["spent"]), record["currency"])))
    ways = [o for o in (one, two) if o is not None]
    spared = ways and max(sum(o["spent"]) for o in ways) < SPARED * sum(record["spent"]) and all(o["works"].get(LEVEL, 0) > 0.5 * sum(o["works"].values()) for o in ways)
    return out + ([words("plan_rival_spared", level=min(o["works"][LEVEL] for o in ways), works=max(sum(o["works"].values()) for o in ways))] if spared else [])


def pin_line(pin: dict, record: dict, words: Words, signed: str = "") -> str:
    """One of the owner's pins, and its price. signed: who set it and when"""
    does = words(f"plan_does_{pin['treatment']}") if pin["treatment"] else words("plan_any_work")
    when = words("plan_pin_year", year=pin["year"]) if pin["year"] else words("plan_pin_not_before", year=pin["not_before"]) if pin["not_before"] else words("plan_pin_sometime")
    said = {"field": record["names"].get(pin["field_id"], pin["field_id"]), "does": does, "when": when, "signed": f" ({signed})" if signed else ""}
    if "price" not in pin:
        return words("plan_pin_left", **said)
    share = pin["price"] / record["loss"] if record["loss"] > 0 else 0.0
    price = words("plan_pin_price", share=points(100 * share), loss=points(pin["price"])) if share > HARDLY else words("plan_pin_free")
    cost = sum(r["cost"] for r in record["lines"] if r["field_id"] == pin["field_id"] and r["year"] == pin["year"] and pin["treatment"] in (None, r["treatment"]))
    return " ".join(filter(None, (words("plan_pin", **said), words("plan_pin_cost", money=money(cost, record["currency"])) if cost > 0 else "", price)))
