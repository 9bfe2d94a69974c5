"""When the wishes cannot all be kept: which one gives way, by how much, and what comes of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.works.grading.forms import Form
from pipeline.works.grading.programme import Ground, Solved, Unsolved, least_slack, solve
from pipeline.works.grading.wishes import BEND, DIRECTION, EDGE, LEAST_FALL, YIELDING, Levels, Wishes, Worth

SPARE = 1.02  # a wish that gives way by the very least leaves one surface only
SPARE_LEVEL_M, SPARE_FALL = 0.0005, 0.0001
ABSENT = {EDGE: ("edges", Levels.none()), DIRECTION: ("within_deg", None), LEAST_FALL: ("least", None), BEND: ("kappa", None)}  # a wish, and how not to have it


@dataclass(frozen=True)
class Conflict:
    """family : the wish; place: where it binds, empty where everywhere
    asked, possible : in `unit`, mm, pct (of a direction: fall sideways beyond the angle allowed) or per_m of curvature
    alone  : whether this wish giving way was enough by itself
    """

    family: str
    place: str
    asked: float
    possible: float
    unit: str
    alone: bool


def designed(ground: Ground, form: Form, wishes: Wishes, worth: Worth) -> tuple[Solved | None, Wishes, tuple[Conflict, ...]]:
    """The cheapest surface; where the wishes contradict one another, the first of YIELDING that is enough gives way as far as it
    must, and those before it, which were not enough, as little as they then must.

    returns : the surface or None, the wishes it keeps, and what had to give way
    raises  : Unsolved
    """
    found = _tried(ground, form, wishes, worth)
    if found is not None:
        return found, wishes, ()
    waiting: list[str] = []
    for family in (f for f in YIELDING if _asked(wishes, f)):
        slack = least_slack(ground, form, _without(wishes, waiting), worth, family)
        if slack is not None:
            eased, told = given_way(wishes, family, slack[0], form.spacing_m), [_told(wishes, family, *slack, form.spacing_m, not waiting)]
            for k, back in reversed(list(enumerate(waiting))):  # those that were not enough give as little as they then must
                slack = least_slack(ground, form, _without(eased, waiting[:k]), worth, back)
                if slack is None:
                    break
                eased, told = given_way(eased, back, slack[0], form.spacing_m), [_told(wishes, back, *slack, form.spacing_m, False), *told]
            else:
                found = _tried(ground, form, eased, worth)
                if found is not None:
                    return found, eased, tuple(told)
        waiting.append(family)
    return None, wishes, ()


def _without(wishes: Wishes, families: list[str]) -> Wishes:
    for family in families:
        wishes = dropped(wishes, family)
    return wishes


def _tried(ground: Ground, form: Form, wishes: Wishes, worth: Worth) -> Solved | None:
    try:
        return solve(ground, form, wishes, worth)
    except Unsolved:  # wishes that only just contradict leave a solver without a verdict: they are treated as contradicting
        return None


def given_way(wishes: Wishes, family: str, slack: float, spacing_m: float) -> Wishes:
    """Wishes with one family eased by a slack and a little more."""
    if family == EDGE:
        wider = wishes.edges.tolerance_m + slack * SPARE + SPARE_LEVEL_M
        return replace(wishes, edges=replace(wishes.edges, tolerance_m=wider))
    if family == LEAST_FALL:
        return replace(wishes, least=wishes.least - slack * SPARE - SPARE_FALL)
    if family == BEND:
        return replace(wishes, kappa=wishes.kappa + slack * SPARE / spacing_m**2 + 1e-6)
    return replace(wishes, sideways=wishes.sideways + slack * SPARE + SPARE_FALL)


def dropped(wishes: Wishes, family: str) -> Wishes:
    """Wishes without one family."""
    name, absent = ABSENT[family]
    return replace(wishes, **{name: absent})


def _asked(wishes: Wishes, family: str) -> bool:
    if family == EDGE:
        return len(wishes.edges.x) > 0
    return getattr(wishes, ABSENT[family][0]) is not None


def _told(wishes: Wishes, family: str, slack: float, place: str, spacing_m: float, alone: bool) -> Conflict:
    if family == EDGE:
        asked = 1000 * float(wishes.edges.tolerance_m.min())
        return Conflict(family, place, asked, asked + 1000 * slack, "mm", alone)
    if family == LEAST_FALL:
        return Conflict(family, place, 100 * wishes.least, 100 * (wishes.least - slack), "pct", alone)
    if family == BEND:
        return Conflict(family, place, wishes.kappa, wishes.kappa + slack / spacing_m**2, "per_m", alone)
    return Conflict(family, place, 0.0, 100 * slack, "pct", alone)
