"""Where a spot lies from a declared place, as a player says it: in front of it, behind it, on its foul side."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Sequence

from pipeline.diamond.axes import Axes
from pipeline.diamond.places import Place

AT_M = 0.05  # nearer than this, a spot is the place
FRONT, BEHIND, BESIDE = "front", "behind", "beside"
PITCHERS = ("landing",)  # faced from home: its front is toward home
BATTERS = ("home", "box-left", "box-right")  # their front is toward the pitcher
# Which side lies to the right and to the left of one who stands at home plate and looks at the place.
SIDES = {
    "first": ("foul_side", "second_side"), "lead-off-first": ("foul_side", "second_side"), "third": ("second_side", "foul_side"),
    "lead-off-third": ("second_side", "foul_side"), "slide-third": ("second_side", "foul_side"),
    **dict.fromkeys((*BATTERS, *PITCHERS), ("first_side", "third_side")),
}  # fmt: skip
FIELD_SIDES = ("right_field_side", "left_field_side")
COMPASS = ("n", "ne", "e", "se", "s", "sw", "w", "nw")


@dataclass(frozen=True)
class ByPlay:
    """A spot from its nearest declared place.

    away_m  : distance from the place's middle, m
    ahead   : `front`, `behind` or `beside`
    side    : to which side it lies, a word of SIDES or FIELD_SIDES; empty straight in front or behind
    inside  : whether it lies in the place's own disc
    compass : where no home plate is known, one of COMPASS; else empty
    """

    place: Place
    away_m: float
    ahead: str
    side: str
    inside: bool
    compass: str = ""


def by_play(e: float, n: float, places: Sequence[Place], axes: Axes | None) -> ByPlay | None:
    """The nearest of some places and where the spot lies from it; None without places.

    The front of a plate and of a batter's box is toward the pitcher, that of everything else toward home plate.
    """
    near = min(places, key=lambda p: math.hypot(e - p.e, n - p.n), default=None)
    if near is None:
        return None
    away, inside = math.hypot(e - near.e, n - near.n), math.hypot(e - near.e, n - near.n) <= near.disc_m
    if axes is None:
        return ByPlay(near, away, BESIDE, "", inside, COMPASS[int((math.degrees(math.atan2(e - near.e, n - near.n)) % 360.0 + 22.5) // 45) % 8])
    name = near.place_id.rstrip("0123456789").rstrip("-")
    px, py = (float(v) for v in axes.local(near.e, near.n))
    x, y = (float(v) for v in axes.local(e, n))
    out = 0.0 if name in (*BATTERS, *PITCHERS) else math.atan2(px, py)  # the way one looks, from the line home to second
    looked = math.degrees(math.atan2(x - px, y - py) - out) % 360.0  # 0 beyond the place, 90 to its right
    eighth = int((looked + 22.5) // 45) % 8
    beyond = FRONT if name in BATTERS else BEHIND
    ahead = {0: beyond, 1: beyond, 7: beyond, 2: BESIDE, 6: BESIDE}.get(eighth, FRONT if beyond == BEHIND else BEHIND)
    right, left = SIDES.get(name, FIELD_SIDES)
    side = "" if eighth in (0, 4) else right if eighth < 4 else left
    return ByPlay(near, away, ahead, side, inside)


SIDE_WORDS = {"first_side": "first-base side", "third_side": "third-base side", "foul_side": "foul side", "second_side": "second-base side",
              "right_field_side": "right-field side", "left_field_side": "left-field side"}  # fmt: skip
COMPASS_WORDS = dict(zip(COMPASS, ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")))


def nearby(e: float, n: float, places: Sequence[Place], axes: Axes | None = None) -> str:
    """'2.1 m behind second base, right-field side'; 'right-handed batter's box, front'; empty without places."""
    found = by_play(e, n, places, axes)
    if found is None:
        return ""
    words = found.place.near
    if found.away_m < AT_M:
        return words
    if found.compass:
        return f"{found.away_m:.1f} m {COMPASS_WORDS[found.compass]} of {words}"
    side = f", {SIDE_WORDS[found.side]}" if found.side else ""
    if found.inside:
        ahead = {FRONT: ", front", BEHIND: ", back", BESIDE: ""}[found.ahead]
        return f"{words}{ahead}{side}"
    ahead = {FRONT: "in front of", BEHIND: "behind", BESIDE: "from"}[found.ahead]
    return f"{found.away_m:.1f} m {ahead} {words}{side}"
