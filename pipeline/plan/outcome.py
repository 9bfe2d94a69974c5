"""What a plan promised and what a later survey measured."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, isfinite
from typing import Sequence

Z95 = 1.959964
TRUSTED = 0.80  # share in band below which the forecasts are not to be trusted yet


@dataclass(frozen=True)
class Promise:
    """One treated line of a kept plan: what the treated component was promised to be at the year's end, mm, with 95 % ends."""

    plan_year: int
    field_id: str
    treatment: str
    promised_mm: float
    low95_mm: float
    high95_mm: float
    cost: float


def in_band(promise: Promise, measured_mm: float | None, sigma_mm: float | None) -> bool | None:
    """Whether the measured figure agrees with the promise at 95 %, the survey's own s.d. allowed for; None without one."""
    if measured_mm is None or sigma_mm is None or not isfinite(measured_mm) or not isfinite(promise.promised_mm):
        return None
    sd = (promise.high95_mm - promise.low95_mm) / (2 * Z95)
    return abs(measured_mm - promise.promised_mm) <= Z95 * hypot(sd, sigma_mm)


@dataclass(frozen=True)
class Score:
    """lines : promises with a measured figure; kept: those in band; trusted: None without any line"""

    lines: int
    kept: int

    @property
    def share(self) -> float | None:
        return self.kept / self.lines if self.lines else None

    @property
    def trusted(self) -> bool | None:
        return None if self.share is None else self.share >= TRUSTED


def score(bands: Sequence[bool | None]) -> Score:
    told = [b for b in bands if b is not None]
    return Score(len(told), sum(told))
