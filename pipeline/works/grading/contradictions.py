"""When the wishes cannot all be kept: which one gives way, by how much, and what comes of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.works.grading.forms import Form
from pipeline.works.grading.programme import Ground, Solved, Unsolved, edge_slacks, least_slack, solve
from pipeline.works.grading.wishes import BASE_LINE, BEND, DIRECTION, EDGE, LEAST_FALL, YIELDING, Levels, Wishes, Worth

SPARE = 1.02  # a wish that gives way by the very least leaves one surface only
SPARE_LEVEL_M, SPARE_FALL, TELLING_M = 0.0005, 0.0001, 0.0002
TELLING_FALL, TELLING_PER_M = 2e-5, 1e-5
ABSENT = {EDGE: ("edges", Levels.none()), DIRECTION: ("within_deg", None), BASE_LINE: ("lines", ()), LEAST_FALL: ("least", None), BEND: ("kappa", None)}  # a wish, and how not to have it


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
            eased, told = _eased(ground, form, wishes, worth, waiting, family, slack[0]), [_told(wishes, family, *slack, form.spacing_m, not waiting)]
            for k, back in reversed(list(enumerate(waiting))):  # those that were not enough give as little as they then must
                slack = least_slack(ground, form, _without(eased, waiting[:k]), worth, back)
                if slack is None:
                    break
                eased, told = _eased(ground, form, eased, worth, waiting[:k], back, slack[0]), [*([_told(wishes, back, *slack, form.spacing_m, False)] if _tells(back, slack[0], form.spacing_m) else []), *told]
            else:
                found = _tried(ground, form, eased, worth)
                if found is not None:
                    return found, eased, tuple(told)
        waiting.append(family)
    return None, wishes, ()


def _eased(ground: Ground, form: Form, wishes: Wishes, worth: Worth, without: list[str], family: str, slack: float) -> Wishes:
    """Wishes with one family given way by a slack; the grass edge only where it must."""
    if family == EDGE:
        try:
            places = edge_slacks(ground, form, _without(wishes, without), worth, slack * SPARE + SPARE_LEVEL_M)
        except Unsolved:
            places = None
        if places is not None:
            wider = wishes.edges.tolerance_m + np.where(places > TELLING_M, places * SPARE, 0.0) + SPARE_LEVEL_M
            return replace(wishes, edges=replace(wishes.edges, tolerance_m=wider))
    return given_way(wishes, family, slack, form.spacing_m)


def _tells(family: str, slack: float, spacing_m: float) -> bool:
    """Whether a wish gave way by more than the solver's own rounding."""
    return slack > {EDGE: TELLING_M, BEND: TELLING_PER_M * spacing_m**2}.get(family, TELLING_FALL)


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
    if family == BASE_LINE:
        return replace(wishes, lines=tuple(replace(line, most=line.most + slack * SPARE + SPARE_FALL) for line in wishes.lines))
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
    if family == BASE_LINE:
        return len(wishes.lines) > 0
    return getattr(wishes, ABSENT[family][0]) is not None


def _told(wishes: Wishes, family: str, slack: float, place: str, spacing_m: float, alone: bool) -> Conflict:
    if family == EDGE:
        asked = 1000 * float(wishes.edges.tolerance_m.min())
        return Conflict(family, place, asked, asked + 1000 * slack, "mm", alone)
    if family == BASE_LINE:
        asked = 100 * min(line.most for line in wishes.lines if line.name == place)
        return Conflict(family, place, asked, asked + 100 * slack, "pct", alone)
    if family == LEAST_FALL:
        return Conflict(family, place, 100 * wishes.least, 100 * (wishes.least - slack), "pct", alone)
    if family == BEND:
        return Conflict(family, place, wishes.kappa, wishes.kappa + slack / spacing_m**2, "per_m", alone)
    return Conflict(family, place, 0.0, 100 * slack, "pct", alone)
