"""What an hour of crew work does: single spans between two surveys, and all of them pooled.

The change of a span holds the wear of that span, too: the figure is what an hour leaves once play has had its share.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
from scipy.stats import norm, t

BETTER, WORSE, NOT_SHOWN, NONE_YET = "better", "worse", "no_effect_shown_yet", "no_records_yet"

FEW = 2  # spans: too few to tell their own scatter


@dataclass(frozen=True)
class PerHour:
    """mm an hour, positive = better, one s.d. and 95 % ends; NaN without hours."""

    value: float
    sigma: float
    low95: float
    high95: float


@dataclass(frozen=True)
class Pooled:
    """Over `spans` spans: mm an hour, positive = better, with its 95 % ends; `between_sd` by which true figures of spans differ.

    word : BETTER, WORSE, NOT_SHOWN where the interval holds zero, NONE_YET without any span
    """

    value: float
    low95: float
    high95: float
    between_sd: float
    spans: int
    word: str


def per_hour(change_mm: float, sigma_mm: float, hours: float, better: int) -> PerHour:
    """Change over hours; better: +1 where a larger measure is better, -1 where a smaller one is. Hours are taken as exact."""
    if not hours > 0 or not np.isfinite(change_mm) or not np.isfinite(sigma_mm):
        return PerHour(np.nan, np.nan, np.nan, np.nan)
    value, sigma = better * change_mm / hours, sigma_mm / hours
    half = float(norm.ppf(0.975)) * sigma
    return PerHour(value, sigma, value - half, value + half)


def word(low95: float, high95: float) -> str:
    """What an interval of mm an hour says."""
    if not np.isfinite(low95):
        return NONE_YET
    return BETTER if low95 > 0 else WORSE if high95 < 0 else NOT_SHOWN


def pooled(values: Sequence[float], sigmas: Sequence[float]) -> Pooled:
    """Mean of spans by random effects, precision weighted; NaN takes no part.

    Spans that follow each other share a survey, whose error then leaves their sum: counted as if they did not, the
    interval is the wider for it.

    source : variance between spans by DerSimonian & Laird 1986, interval of the mean by Hartung & Knapp 2001 with Student's t,
             never narrower than the precisions alone give (both from memory); of one span its own interval, of two the precisions' and
             what lies between them: Student's t of one degree would make it twelve times as wide whatever they say
    """
    y, s = np.asarray(values, float), np.asarray(sigmas, float)
    told = np.isfinite(y) & np.isfinite(s) & (s > 0)
    y, s, k = y[told], s[told], int(told.sum())
    if not k:
        return Pooled(np.nan, np.nan, np.nan, np.nan, 0, NONE_YET)
    fixed = s**-2.0
    mean = (fixed * y).sum() / fixed.sum()
    excess, scale = (fixed * (y - mean) ** 2).sum() - (k - 1), fixed.sum() - (fixed**2).sum() / fixed.sum()
    between = max(excess / scale, 0.0) if k > 1 else 0.0
    weight = 1.0 / (s**2 + between)
    mean = float((weight * y).sum() / weight.sum())
    half = float(norm.ppf(0.975)) * weight.sum() ** -0.5
    if k > FEW:
        knapp = np.sqrt((weight * (y - mean) ** 2).sum() / (k - 1) / weight.sum())
        half = max(half, float(t.ppf(0.975, k - 1) * knapp))
    low, high = mean - half, mean + half
    return Pooled(mean, float(low), float(high), float(np.sqrt(between)), k, word(low, high))
