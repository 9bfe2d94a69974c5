"""How a piece of work held: how fast a measure goes back toward trouble, the settling of fresh mix apart from wear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from pipeline.units import YEAR_DAYS

MONTH_DAYS = YEAR_DAYS / 12
FEWEST_SINCE = 2  # surveys after the one that shows the work
FRESH = ("mix_add", "laser_grade", "rebuild")  # loosen or bring mix, which settles before it wears
NAN = float("nan")


@dataclass(frozen=True)
class HeldFor:
    """Since the survey that showed the work.

    rate, sigma    : mm a month, positive = back toward trouble; NaN where not enough surveys tell
    settled, settled_sigma : mm beyond that rate before the first survey since, positive = toward trouble; NaN where no fresh mix lies
    so_far, so_far_sigma   : mm from that survey to the newest, both together
    months, since  : how long, and how many surveys since
    reason         : why there is no rate, or ``
    """

    rate: float
    sigma: float
    settled: float
    settled_sigma: float
    so_far: float
    so_far_sigma: float
    months: float
    since: int
    reason: str = ""


def held_for(days: Sequence[float], values: Sequence[float], sigmas: Sequence[float], toward: int, fresh: bool) -> HeldFor:
    """Rate back toward trouble over the surveys from the one that shows the work.

    days, values, sigmas : of that survey and those since, oldest first; mm, one s.d. of each date's own figure; NaN where it has none
    toward : +1 where a larger figure is worse, -1 where a smaller one is
    fresh  : fresh mix lies there: whatever the first span has beyond the later rate is its settling
    The s.d. are taken as known; where the dates scatter by more about the line, all are widened by as much (a Birge ratio).
    """
    days, values, sigmas = (np.asarray(v, float) for v in (days, values, sigmas))
    seen = np.isfinite(values) & np.isfinite(sigmas)
    if not len(seen) or not seen[0]:
        return HeldFor(NAN, NAN, NAN, NAN, NAN, NAN, NAN, 0, "the survey after the work does not tell it")
    days, values, sigmas = days[seen], toward * values[seen], np.maximum(sigmas[seen], 1e-6)
    since, months = len(days) - 1, (days - days[0]) / MONTH_DAYS
    if not since:
        return HeldFor(NAN, NAN, NAN, NAN, NAN, NAN, 0.0, 0, "no survey since")
    so_far = float(values[-1] - values[0]), float(np.hypot(sigmas[0], sigmas[-1]))
    if since < FEWEST_SINCE:
        return HeldFor(NAN, NAN, NAN, NAN, *so_far, float(months[-1]), since, f"not enough surveys yet: {since} since the work, {FEWEST_SINCE} are needed")
    columns = [np.ones(since + 1), months] + ([(months > 0).astype(float)] if fresh else [])
    design = np.column_stack(columns) / sigmas[:, None]
    found, *_ = np.linalg.lstsq(design, values / sigmas, rcond=None)
    left, freedom = values / sigmas - design @ found, since + 1 - len(columns)
    birge = max(float((left**2).sum()) / freedom, 1.0) if freedom else 1.0
    spread = np.sqrt(np.diag(np.linalg.inv(design.T @ design)) * birge)
    settled = (float(found[2]), float(spread[2])) if fresh else (NAN, NAN)
    return HeldFor(float(found[1]), float(spread[1]), *settled, *so_far, float(months[-1]), since)
