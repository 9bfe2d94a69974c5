"""What share of planarity and ring depth an hour of the crew's levelling takes, from the owner's own records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from pipeline.plan.schedules import Levelling

FEWEST = 5
ASSUMED, ASSUMED_SD = 0.02, 0.01  # of what is there, an hour: a guess, ours, until records speak
MOST = 0.20


@dataclass(frozen=True)
class Visit:
    """One span between two surveys: the measure before it, mm, what an hour of work took off it, mm, and one s.d."""

    before_mm: float
    mm_per_hour: float
    sigma: float


def levelling(visits: Sequence[Visit]) -> Levelling:
    """Line through the origin of mm an hour over mm before, drawn toward what is assumed; below FEWEST records only that. `assumed`
    stays as long as the guess weighs more than the records.

    A span's wear is in it: the share is what an hour leaves once play has had its part. Never below 0.
    source : weighted least squares; a normal prior and a normal figure combine by their precisions (elementary)
    """
    told = [v for v in visits if np.isfinite([v.before_mm, v.mm_per_hour, v.sigma]).all() and v.sigma > 0 and v.before_mm > 0]
    if len(told) < FEWEST:
        return Levelling(ASSUMED, ASSUMED_SD, True)
    x, y, s = (np.array([getattr(v, n) for v in told]) for n in ("before_mm", "mm_per_hour", "sigma"))
    w = s**-2.0
    says = float((w * x * x).sum())
    share = float((w * x * y).sum()) / says
    wider = max(float((w * (y - share * x) ** 2).sum()) / (len(told) - 1), 1.0)  # spans differ by more than their own s.d.
    precision, prior = says / wider, ASSUMED_SD**-2
    mean = (share * precision + ASSUMED * prior) / (precision + prior)
    return Levelling(float(np.clip(mean, 0.0, MOST)), float((precision + prior) ** -0.5), precision < prior)
