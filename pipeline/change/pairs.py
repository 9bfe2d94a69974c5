"""Which surveys of a field are compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence


@dataclass(frozen=True)
class Dated:
    """A survey that was not refused; surveys are handed over oldest first."""

    survey_id: str
    purpose: str = "routine"


def pairs(surveys: Sequence[Dated], baseline: str) -> tuple[tuple[str, str], ...]:
    """Earlier and later id of every pair, by the later one's date, each pair once.

    Each survey with the one before it, with the baseline, and each `before_work` with the next `after_work`.
    """
    ids = [s.survey_id for s in surveys]
    out = list(zip(ids, ids[1:]))
    at = ids.index(baseline)
    out += [(baseline, other) if k > at else (other, baseline) for k, other in enumerate(ids) if k != at]
    for k, survey in enumerate(surveys):
        if survey.purpose == "before_work":
            after = next((s.survey_id for s in surveys[k + 1 :] if s.purpose == "after_work"), None)
            out += [(survey.survey_id, after)] if after else []
    order = {name: k for k, name in enumerate(ids)}
    return tuple(sorted(set(out), key=lambda p: (order[p[1]], order[p[0]])))
