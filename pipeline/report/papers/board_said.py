"""The sentences of the board's paper."""

from __future__ import annotations

from collections import Counter
from typing import Iterable, Mapping, Sequence

from pipeline.plan.firmness import WORDS as FIRMNESS
from pipeline.plan.rivals import IN_TURN, WORST_FIRST
from pipeline.plan.treatments import NONE
from pipeline.report.figures import printed
from pipeline.report.plan_reasons import little, money, points
from pipeline.report.plan_sure import not_offered
from pipeline.report.words import Words, opened
from pipeline.surface.verdict import ORDER

LITTLE_LEFT = 0.05  # of the money: less than this left over needs no word
FEW_UNSAFE = 2  # with more fields than these unsafe, one place of each is told
HARDLY = 0.05  # points of a whole plan that nobody need speak of
SHORT = ("no_cost", "no_density", "no_design", "no_mix_price")  # what an owner can mend of a treatment that is not offered


def named(names: Sequence[str], most: int, words: Words) -> str:
    """'A, B and 12 more'."""
    more = len(names) - most
    return words.listed(names) if more <= 0 else f"{', '.join(names[:most])} {words.count('and_more', more)}"


def done(record: Mapping) -> list[Mapping]:
    """The plan's lines in which something is done."""
    return [line for line in record["lines"] if line["treatment"] != NONE]


def ask_lines(record: Mapping, most: int, words: Words) -> list[str]:
    """What is asked for and what it buys, in one paragraph, and what a point is."""
    cash = lambda v: money(v, record["currency"])
    lines, last, asked, approved = done(record), record["first_year"] + record["years"] - 1, sum(record["spent"]), sum(record["money"])
    fields, all_fields = {line["field_id"] for line in lines}, record["over_years"]
    over = {how: sorted((record["names"][f] for f, o in all_fields.items() if last in o[how])) for how in ("planned", "untreated")}
    out = [words("board_ask", asked=cash(asked), approved=cash(approved), first=record["first_year"], last=last, now=cash(record["spent"][0]))]
    out.append(words.count("board_buys", len(lines), fields=len(fields), of=len(all_fields), hours=printed(sum(record["hours"]), 0)))
    out.append(words("board_over", last=last, planned=len(over["planned"]), of=len(all_fields), untreated=len(over["untreated"])))
    ends = record["conditions"]
    out.append(words("board_points", last=last, planned=points(ends["planned"][-1]), untreated=points(ends["untreated"][-1])))
    if over["planned"]:
        out.append(words("board_still", fields=named(over["planned"], most, words)))
    spare = [line for line in lines if little(line, record)]
    if spare:
        out.append(words.count("board_little", len(spare), money=cash(sum(r["cost"] for r in spare)), points=points(sum(r["why"]["saved"] for r in spare))))
    if approved - asked > LITTLE_LEFT * approved:
        key = "board_spare" if max(record["drops"]) < HARDLY else "board_spare_more"
        out.append(words(key, left=cash(approved - asked), more=cash(10_000), points=points(max(record["drops"]))))
    return [" ".join(out)]


def unsafe_lines(unsafe: Mapping, portfolio: Sequence[Mapping], most: int, words: Words) -> list[str]:
    """Each unsafe field with what is unsafe there; how many fields have which verdict."""
    rows = unsafe["unsafe"]
    places = 1 if len(rows) > FEW_UNSAFE else 2
    out = [words("board_unsafe_field", field=r["name"], what=_places(r["what"], places, words), act=r["act"] or words("board_unsafe_act")) for r in rows[:most]]
    if len(rows) > most:
        out.append(words.count("board_unsafe_more", len(rows) - most, fields=named([r["name"] for r in rows[most:]], 3 * most, words)))
    if not rows:
        out.append(unsafe["unsafe_none"])
    counts = Counter(r["verdict"] for r in portfolio)
    told = [words("board_verdict", number=counts[v], verdict=words(f"verdict_{v}")) for v in ORDER if counts[v]]
    return [*out, words("board_verdicts", what=", ".join(told))] if told else out


def _places(what: Sequence[str], most: int, words: Words) -> str:
    """The first places of a field, and how many more there are."""
    more = [words.count("board_places_more", len(what) - most)] if len(what) > most else []
    return " ".join([*what[:most], *more])


def compared_lines(record: Mapping, words: Words) -> list[str]:
    """The plan beside nothing done, its rivals, and a tenth more or less money."""
    cash = lambda v: money(v, record["currency"])
    first = [words("board_leaves", loss=points(record["loss"]), untreated=points(record["untreated"]))]
    others = record["others"]
    same = others[WORST_FIRST] is not None and others[IN_TURN] is not None and abs(others[WORST_FIRST]["loss"] - others[IN_TURN]["loss"]) < 0.005
    for name in (WORST_FIRST,) if same else (WORST_FIRST, IN_TURN):
        way = words("board_way_both") if same else words(f"plan_way_{name}")
        first.append(_rival(way, others[name], record, words))
    return [" ".join(first), " ".join(_tenth(name, record["tenth"][name], record, cash, words) for name in ("less", "more"))]


def _rival(way: str, other: Mapping | None, record: Mapping, words: Words) -> str:
    if other is None:
        return words("plan_rival_none", way=opened(way))
    more = 100 * (other["loss"] / record["loss"] - 1) if record["loss"] > 0 else 0.0
    key = "plan_rival" if more >= 0.5 else "plan_rival_alike"
    return words(key, way=opened(way), loss=points(other["loss"]), more=printed(more, 0), spent=money(sum(other["spent"]), record["currency"]))


def _tenth(name: str, other: Mapping | None, record: Mapping, cash, words: Words) -> str:
    """What 10 % more or less would change, with the first change as a sample."""
    if other is None:
        return words("plan_tenth_none")
    if not other["changed"]:
        return words(f"board_tenth_{name}_same")
    first = other["changed"][0]
    sample = words("plan_change", field=record["names"][first["field_id"]], year=first["year"], to=words(f"plan_does_{first['to']}"), was=words(f"plan_does_{first['from']}"))
    return words.count(f"board_tenth_{name}", len(other["changed"]), loss=points(other["loss"]), was=points(record["loss"]), spent=cash(sum(other["spent"])), sample=sample)


def sure_lines(record: Mapping, most: int, words: Words) -> list[str]:
    """How near the best, how firm, within which range, what is guessed."""
    counts = Counter(line["firmness"] for line in done(record))
    ends, last = record["conditions"], record["first_year"] + record["years"] - 1
    out = [words("board_gap", gap=printed(max(100 * record["gap"], 0.01), 2))]
    out.append(words("board_firm", what=words.listed(words(f"board_firm_{w}", number=counts[w]) for w in FIRMNESS if counts[w])))
    out.append(words("board_range", last=last, planned=points(ends["planned"][-1]), low=points(ends["planned_low95"][-1]), high=points(ends["planned_high95"][-1])))
    level = record["levelling"]
    if level["assumed"]:
        out.append(words("plan_levelling_assumed", share=printed(100 * level["share"], 1)))
    out += [words("plan_old", fields=named([record["names"][f] for f in record["old"]], most, words))] if record["old"] else []
    return out + ([words("plan_no_rate", measures=words.listed(words(f"plan_measure_{n}") for n in record["no_rate"]))] if record["no_rate"] else [])


def unmeasured_lines(record: Mapping, most: int, words: Words) -> list[str]:
    """What the plan could not judge or offer, by measure, since one cause mostly stands behind many fields."""
    found: dict[tuple[str, str], list[str]] = {}
    for field_id, lacks in sorted(record["not_judged"].items()):
        for measure, why in lacks:
            found.setdefault((measure, why), []).append(record["names"][field_id])
    out = [words("board_lacks", what=opened(words(f"plan_lack_{why}", measure=words(f"plan_measure_{m}"))), fields=_all_or(names, record, most, words)) for (m, why), names in sorted(found.items())]
    out += [words("plan_left_out", fields=named([record["names"][f] for f in record["left_out"]], most, words))] if record["left_out"] else []
    out += not_offered(record, sorted(record["over_years"]), words, SHORT, lambda names: _all_or(names, record, most, words))
    return out or [words("board_all_measured")]


def _all_or(names: Iterable[str], record: Mapping, most: int, words: Words) -> str:
    names = list(names)
    return words("board_all_fields") if len(names) == len(record["not_judged"]) > 1 else named(names, most, words)
