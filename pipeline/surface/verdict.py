"""The verdict on a figure, a zone and a field: five words, and the rule that gives them.

No word says that a field is safe: a survey does not see protruding anchors, stones, glass or holes under its cell.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from statistics import NormalDist
from typing import Iterable

from scipy.special import ndtr

UNSAFE, WORK, WATCH, UNKNOWN, GOOD = "unsafe", "work", "watch", "not_enough_evidence", "good"
ORDER = (UNSAFE, WORK, WATCH, UNKNOWN, GOOD)  # the worst wins; a lack of evidence never hides unsafe or work
SURE, UNLIKELY = 0.8, 0.2
SURE_SDS = NormalDist().inv_cdf(SURE)  # a figure so many s.d. over a limit is over it with a probability of 80 %
DECIDABLE = 0.84  # a tolerance of so many s.d. is the least that a figure can be held against


@dataclass(frozen=True)
class Verdict:
    """word, and the sentence fragment that says why; probabilities NaN where there is no figure or no tolerance."""

    word: str
    why: str
    over_tolerance: float
    over_trip: float


def exceeds(value: float, sigma: float, limit: float | None) -> float:
    """Probability that the true figure is over a limit; NaN without a limit or a figure."""
    if limit is None or not isfinite(value) or not isfinite(sigma):
        return float("nan")
    return float(ndtr((value - limit) / sigma)) if sigma > 0 else float(value > limit)


def judge(value: float, sigma: float, tolerance: float | None, trip: float | None, name: str) -> Verdict:
    """One figure against the owner's tolerance and trip limit, all in the same unit.

    name : the tolerance's name, for the sentence
    """
    over, over_trip = exceeds(value, sigma, tolerance), exceeds(value, sigma, trip)
    if isfinite(over_trip) and over_trip >= SURE:
        return Verdict(UNSAFE, "over the trip limit", over, over_trip)
    if tolerance is None:
        return Verdict(UNKNOWN, f"no tolerance: {name}", over, over_trip)
    return _graded(over, over_trip, sigma, tolerance, "over")


def judge_least(value: float, sigma: float, least: float | None, name: str) -> Verdict:
    """One figure against the least that the owner wants, all in the same unit: `over_tolerance` is the probability that
    the true figure is under it. There is no trip limit for what is too little."""
    nan = float("nan")
    if least is None:
        return Verdict(UNKNOWN, f"no tolerance: {name}", nan, nan)
    return _graded(exceeds(-value, sigma, -least), nan, sigma, least, "under")


def _graded(wrong: float, over_trip: float, sigma: float, limit: float, side: str) -> Verdict:
    """From the probability of being on the wrong `side` of a limit that is set; the trip limit has been looked at."""
    if not isfinite(wrong):
        return Verdict(UNKNOWN, "no figure", wrong, over_trip)
    if wrong >= SURE:
        return Verdict(WORK, f"{side} the tolerance", wrong, over_trip)
    if sigma > limit / DECIDABLE:
        return Verdict(UNKNOWN, f"known to {sigma:.0f} only, the tolerance is {limit:g}", wrong, over_trip)
    if wrong <= UNLIKELY and not (isfinite(over_trip) and over_trip > UNLIKELY):
        return Verdict(GOOD, "within the tolerance", wrong, over_trip)
    return Verdict(WATCH, "near the tolerance", wrong, over_trip)


def worst(verdicts: Iterable[str]) -> str:
    """The word for all of them together; `not_enough_evidence` where there is none."""
    found = set(verdicts)
    return next((word for word in ORDER if word in found), UNKNOWN)
