"""One line of the rulebook check, and the rule by which it is judged."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, nan

from pipeline.surface.rulebook_rules import Rule
from pipeline.units import MM_PER_M

GUARD = 1.96  # s.d., the range printed beside a figure: at most 2.5 % of what is within is called outside, and the other way about
WITHIN, OUTSIDE, CANNOT_TELL, NOT_SEEN = "within", "outside", "cannot_tell", "not_seen"


@dataclass(frozen=True)
class Measured:
    """What a survey or given points say of one item.

    value_m, sigma_m : m, and its one s.d.; NaN where it was not seen
    reason           : why there is no value, or why it must not be judged (`unfit`), or a remark
    unfit            : True where the value is told and not judged
    by_table         : True where two figures of the operator's own table are compared: that they agree shows nothing of
                       the ground, so it is never `within`
    or_value_m, or_if : what it would be if something that nobody noted were otherwise, m, and that thing in words; what
                       might be nothing but that is never `outside`
    """

    value_m: float = nan
    sigma_m: float = nan
    reason: str = ""
    unfit: bool = False
    by_table: bool = False
    or_value_m: float = nan
    or_if: str = ""


@dataclass(frozen=True)
class Item:
    """One row of rulebook.csv; mm, NaN where unknown.

    verdict : `within`, `outside`, `cannot_tell`, `not_seen`
    reason  : why nothing can be told, or a remark
    """

    layout: str
    item: str
    measured_mm: float
    sigma_mm: float
    rule_mm: float
    tolerance_mm: float
    rule_source: str
    verdict: str
    reason: str


def not_seen(reason: str) -> Measured:
    return Measured(reason=reason)


def verdict(deviation: float, sigma: float, tolerance: float) -> str:
    """Guard band: `within` only with 1.96 s.d. to spare, `outside` only beyond by as much, else `cannot_tell`.

    source : JCGM 106:2012 (from memory). A survey holds some twenty items against the book: at the one-sided 95 % point, 1.645,
    two surveys in three of a field that stands at all its limits would call one of them outside (1 - 0.95^20)
    """
    if not (isfinite(deviation) and isfinite(sigma) and isfinite(tolerance)):
        return CANNOT_TELL
    away, guard = abs(deviation), GUARD * sigma
    return WITHIN if away + guard <= tolerance else OUTSIDE if away - guard > tolerance else CANNOT_TELL


def judged(
    layout: str, item: str, found: Measured, rule: Rule, tolerance_mm: float | None, tolerance_name: str | None
) -> Item:
    """One item with its verdict.

    tolerance_mm   : the owner's, mm; None where the owner set none
    tolerance_name : what it is called in the config; None where no tolerance is kept for such an item
    """
    value, sigma = found.value_m * MM_PER_M, found.sigma_m * MM_PER_M
    limit = nan if tolerance_mm is None else float(tolerance_mm)
    row = (layout, item, value, sigma, rule.value_mm, limit, rule.source)
    if not isfinite(value):
        return Item(*row, NOT_SEEN, found.reason or "nothing there was measured")
    if found.unfit or not isfinite(sigma):
        return Item(*row, CANNOT_TELL, found.reason or "its uncertainty is not known")
    lacks = []
    if not isfinite(rule.value_mm):
        lacks.append("no rule to hold it against")
    if tolerance_name is None:
        lacks.append("no tolerance is kept for it: told, not judged")
    elif tolerance_mm is None:
        lacks.append(f"no tolerance: {tolerance_name}")
    if lacks:
        return Item(*row, CANNOT_TELL, "; ".join([*lacks, found.reason] if found.reason else lacks))
    word = verdict(value - rule.value_mm, sigma, limit)
    if word == OUTSIDE and isfinite(found.or_value_m) and verdict(found.or_value_m * MM_PER_M - rule.value_mm, sigma, limit) != OUTSIDE:
        return Item(*row, CANNOT_TELL, "; ".join(filter(None, (f"not outside if {found.or_if}", found.reason))))
    if word == WITHIN and found.by_table:
        return Item(*row, CANNOT_TELL, f"{found.reason}: the table agrees with itself, which shows nothing of the ground")
    if word == CANNOT_TELL:
        said = f"{value - rule.value_mm:+.0f} +/- {GUARD * sigma:.0f} mm against {limit:g} mm"
        return Item(*row, word, f"{said}; {found.reason}" if found.reason else said)
    return Item(*row, word, found.reason)
