"""On whose word the plan stands: the owner's figures that it uses, who set each and when, and what nobody set."""

from __future__ import annotations

from typing import Mapping

from pipeline.owner import Owned
from pipeline.report.figures import limit, spoken
from pipeline.report.words import Words
from pipeline.settings import Config

LIMITS = ("lip_mm", "lip_trip_mm", "low_spot_mm", "planarity_mm", "mix_depth_min_mm", "encroachment_mm")
TERMS = ("escalation_pct", "contingency_pct", "discount", "equity_pct")


def assumed_lines(settings: Config, record: Mapping, words: Words) -> list[str]:
    """A sentence for each kind of figure: what, who, when."""
    out = [words("assumed_limits", what=what) for what in [_limits(settings, words)] if what]
    budget = [f for b in settings.budget for f in (b.money, b.crew_hours) if f is not None]
    costs = [f for c in settings.costs.values() for n in type(c).model_fields if hasattr(f := getattr(c, n), "set_by")]
    for key, figures in (("assumed_budget", budget), ("assumed_costs", costs)):
        if figures:
            out.append(words(key, signed=_signed(figures, words)))
    terms = {n: getattr(settings.plan, n) for n in TERMS if getattr(settings.plan, n) is not None}
    if terms:
        out.append(words("assumed_terms", what=words.listed(words(f"assumed_{n}", value=f"{f.value:g}") for n, f in terms.items()), signed=_signed(terms.values(), words)))
    unset = [words(f"assumed_no_{n}") for n in record.get("assumed", ())]
    return out + ([words("assumed_unset", what=words.listed(unset))] if unset else []) + [words("assumed_work")]


def _limits(settings: Config, words: Words) -> str:
    """'lip 1 in and unsafe above 2 in (the park board, 3 March 2025); ...', by who set them and when."""
    unit, groups = spoken(settings.units, words).height, {}
    for name in LIMITS:
        owned: Owned | None = getattr(settings.tolerances, name)
        if owned is not None:
            other = words("assumed_other") if owned.fields else ""
            groups.setdefault((owned.set_by, owned.set_on), []).append(words(f"assumed_limit_{name}", value=limit(owned.value, unit)) + other)
    return "; ".join(words("assumed_by", what=", ".join(told), who=who, day=words.date(on)) for (who, on), told in groups.items())


def _signed(figures, words: Words) -> str:
    """Who set figures, and when: each pair once."""
    pairs = sorted({(f.set_by, f.set_on) for f in figures})
    return words.listed(words("assumed_who", who=who, day=words.date(on)) for who, on in pairs)
