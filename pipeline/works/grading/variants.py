"""The three designs of a field beside one another: only what is out of tolerance, nothing bought, the plain form by laser."""

from __future__ import annotations

from dataclasses import dataclass, replace


from pipeline.works.design import LASER_PLANE, NO_MIX_BOUGHT
from pipeline.works.grading.contradictions import Conflict, designed
from pipeline.works.grading.forms import Form, free, plane, two_planes
from pipeline.works.grading.levels import joined
from pipeline.works.grading.programme import Ground, Solved
from pipeline.works.grading.wishes import Wishes, Worth

PLANE, CROWN, TWO_PLANES, FREE = "plane", "crown", "two_planes", "free"


@dataclass(frozen=True)
class Wanted:
    """The form the owner wants, which way it falls (degrees, or None), and the line of a ridge (a point, a bearing) or None."""

    form: str
    bearing_deg: float | None
    ridge: tuple[tuple[float, float], float] | None


@dataclass(frozen=True)
class Made:
    """One variant: the surface or None, the form it has, the wishes it keeps, what had to give way, why there is none."""

    variant: str
    solved: Solved | None
    form: Form | None
    wishes: Wishes
    conflicts: tuple[Conflict, ...]
    reason: str


def form_of(variant: str, wanted: Wanted, ground: Ground, wishes: Wishes) -> Form:
    """By laser the plain form itself; where nothing is bought nodes that may follow the ground, falling as wanted.

    raises : ValueError for a ridge that is not given
    """
    x, y = ground.x, ground.y
    curved = wanted.form in (CROWN, TWO_PLANES)
    if curved and wanted.ridge is None:
        raise ValueError("a crown needs home plate and second base: its ridge runs between them")
    if variant == LASER_PLANE:
        return two_planes(x, y, *wanted.ridge) if curved else plane(x, y, wanted.bearing_deg)
    levels = joined(wishes.fixed, wishes.edges)
    return free(x, y, None if curved else wanted.bearing_deg, wanted.ridge if curved else None, also=(levels.x, levels.y))


def made(variant: str, ground: Ground, wanted: Wanted, wishes: Wishes, worth: Worth) -> Made:
    """One variant by the linear programme.

    raises : Unsolved
    """
    form = form_of(variant, wanted, ground, wishes)
    if variant == NO_MIX_BOUGHT:
        worth = replace(worth, may_buy=False, may_take=False)
        if not (ground.blade_m > 0).any():
            return Made(variant, None, form, wishes, (), "no depth of mix known: nothing may be cut, so nothing can be moved")
    found, kept, conflicts = designed(ground, form, wishes, worth)
    reason = "" if found is not None else "no surface meets the fixed levels, the most fall and the depth of mix"
    return Made(variant, found, form, kept, conflicts, reason)
