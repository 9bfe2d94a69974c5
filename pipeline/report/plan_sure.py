"""How sure the plan is: how near the best, what it was made from, what it does not see."""

from __future__ import annotations

from typing import Callable, Collection, Mapping, Sequence

from pipeline.plan.treatments import MOST_TREATMENTS
from pipeline.report.figures import printed
from pipeline.report.plan_reasons import money
from pipeline.report.words import Words, opened


def sure(record: dict, words: Words) -> dict:
    """`how`: how near the best, how firm, what is taken as known; `unseen`: what was not measured, not offered or not set."""
    names, level = record["names"], record["levelling"]
    how = [words("plan_firmness"), words("plan_gap", gap=printed(100 * record["gap"], 2)), words("plan_growth"), words("plan_no_more_than", most=MOST_TREATMENTS),
           words("plan_levelling_assumed" if level["assumed"] else "plan_levelling", share=printed(100 * level["share"], 1))]  # fmt: skip
    how += [words("plan_worth", thousand=money(1000, record["currency"]), least=printed(record["worth"], 2))] if record["worth"] else []
    how += [words("plan_apart", does=opened(words(f"plan_does_{w}")), years=n) for w, n in sorted(record["apart"].items())]
    unseen = []
    for field_id, lacks in sorted(record["not_judged"].items()):
        if lacks:
            unseen.append(words("plan_lacks", field=names[field_id], what=words.listed(words(f"plan_lack_{why}", measure=words(f"plan_measure_{n}")) for n, why in lacks)))
    unseen += not_offered(record, sorted(record["courses"]), words)
    unseen += [words("plan_left_out", fields=words.listed(names[f] for f in record["left_out"]))] if record["left_out"] else []
    unseen += [words("plan_old", fields=words.listed(names[f] for f in record["old"]))] if record["old"] else []
    unseen += [words("plan_no_rate", measures=words.listed(words(f"plan_measure_{n}") for n in record["no_rate"]))] if record["no_rate"] else []
    unseen += [words("plan_unset", names=words.listed(record["assumed"]))] if record["assumed"] else []
    return {"how": how, "unseen": unseen}


def not_offered(record: Mapping, fields: Sequence[str], words: Words, causes: Collection[str] | None = None, named: Callable[[list[str]], str] | None = None) -> list[str]:
    """Treatments that a plan cannot choose on some fields, and why. causes: those told of, all without; named: how names are listed"""
    found: dict[tuple[str, str], list[str]] = {}
    for field_id in fields:
        for treatment, why in sorted(record["not_offered"][field_id].items()):
            if causes is None or why in causes:
                found.setdefault((treatment, why), []).append(record["names"][field_id])
    return [words("plan_not_offered", does=opened(words(f"plan_does_{treatment}")), fields=(named or words.listed)(names), why=words(f"plan_missing_{why}")) for (treatment, why), names in sorted(found.items())]
