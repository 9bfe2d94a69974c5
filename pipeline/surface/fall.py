"""The fall of a zone against what its owner wants: enough of it, not too much, and toward where water is meant to go."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, nan, sqrt

import numpy as np
from scipy.special import ndtr

from pipeline.surface.slope import ZonePlane, slope_cov
from pipeline.surface.survey_error import SurveyError
from pipeline.surface.verdict import DECIDABLE, GOOD, SURE, UNKNOWN, UNLIKELY, WATCH, WORK

WITHIN, TOO_FLAT, TOO_STEEP, NEAR, CANNOT_TELL = "within", "too_flat", "too_steep", "near", "cannot_tell"
VERDICTS = {WITHIN: GOOD, TOO_FLAT: WORK, TOO_STEEP: WORK, NEAR: WATCH, CANNOT_TELL: UNKNOWN}
NAMES = ("slope_min_pct", "slope_max_pct", "fall_bearing_deg")


@dataclass(frozen=True)
class Wanted:
    """The owner's limits, None where nobody set one: least and most fall, %, and its direction, degrees from grid north."""

    least_pct: float | None
    most_pct: float | None
    bearing_deg: float | None


@dataclass(frozen=True)
class Fall:
    """along_pct, along_sigma_pct : fall toward the wanted direction, negative where it runs the other way; without one the
    steepest fall. word: one of WITHIN to CANNOT_TELL; why: the tolerance that is missing, or what it is known to.
    flat, steep : probabilities of too little and of too much."""

    along_pct: float
    along_sigma_pct: float
    word: str
    why: str
    flat: float
    steep: float

    @property
    def verdict(self) -> str:
        """The same as a verdict's word."""
        return VERDICTS[self.word]


def fall_of(zone: ZonePlane, error: SurveyError, wanted: Wanted) -> Fall:
    """A zone's fall and the verdict on it.

    Too little counts along the wanted direction, too much along the steepest: water may leave aslant, but not too fast.
    """
    cov = slope_cov(zone, error)
    b = np.array([zone.plane.b, zone.plane.c])
    size = float(np.hypot(*b))
    down = -b / size if size > 0 else np.array([0.0, -1.0])
    steepest_sigma = 100 * sqrt(max(float(down @ cov @ down), 0.0))
    way = down if wanted.bearing_deg is None else np.array([np.sin(np.radians(wanted.bearing_deg)), np.cos(np.radians(wanted.bearing_deg))])
    along, sigma = float(-100 * b @ way), 100 * sqrt(max(float(way @ cov @ way), 0.0))
    return judged(along, sigma, 100 * size, steepest_sigma, wanted)


def judged(along: float, sigma: float, steepest: float, steepest_sigma: float, wanted: Wanted) -> Fall:
    """The verdict on a fall, all in %."""
    flat = nan if wanted.least_pct is None else _below(wanted.least_pct - along, sigma)
    steep = nan if wanted.most_pct is None else _below(steepest - wanted.most_pct, steepest_sigma)
    missing = [n for n, v in zip(NAMES, (wanted.least_pct, wanted.most_pct)) if v is None]
    if len(missing) == 2:
        return Fall(along, sigma, CANNOT_TELL, "no tolerance: " + ", ".join(missing), flat, steep)
    if isfinite(flat) and flat >= SURE:
        return Fall(along, sigma, TOO_FLAT, "", flat, steep)
    if isfinite(steep) and steep >= SURE:
        return Fall(along, sigma, TOO_STEEP, "", flat, steep)
    room = (wanted.most_pct - wanted.least_pct) / 2 if not missing else next(v for v in (wanted.least_pct, wanted.most_pct) if v is not None)
    if max(sigma, steepest_sigma) > max(room, 0.0) / DECIDABLE:
        return Fall(along, sigma, CANNOT_TELL, f"known to {max(sigma, steepest_sigma):.2f} % only", flat, steep)
    sure = all(not isfinite(p) or p <= UNLIKELY for p in (flat, steep))
    return Fall(along, sigma, WITHIN if sure else NEAR, "", flat, steep)


def _below(short: float, sigma: float) -> float:
    return float(ndtr(short / sigma)) if sigma > 0 else float(short > 0)
