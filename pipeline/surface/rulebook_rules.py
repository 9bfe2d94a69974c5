"""What a rulebook asks of an infield of each size, and who printed it; nothing where only a trade chart speaks.

A figure is a rule only where a rule page, a league page or exact geometry of the base distance stands behind it. Sizes
that a trade dimension chart alone gives are common practice: they are told in the source's words and never judged by.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

from pipeline.diamond.dimensions import LAYOUTS, PLATE_BEHIND_CENTRE_M, base_feet
from pipeline.units import FOOT_M, INCH_M, MM_PER_M, feet, feet_inches, inches

OBR = "Official Baseball Rules 2.01"
NFHS = "NFHS baseball rule 1-2"
LEAGUE_70 = "league pages of the 50/70 ft size"
LEAGUE_60 = "league pages of the 46/60 ft size"
LEAGUE_SOFTBALL = "league softball pages (35, 40 or 43 ft by division)"
MAGAZINE_MOUND = "SportsTurf, January 2012: mound 6 in above home on the 46/60 ft size"
MAGAZINE_LEVEL = "trade magazine: in softball the pitcher's plate is level with home plate"
FEDERATION = "a national federation's dimension page: flat top 5 ft x 34 in, plate 18 in behind the mound's centre"
CHART = "common practice, no source"
SIDES = ("home-first", "first-second", "second-third", "third-home")
DIAGONALS = ("home-second", "first-third")
FRONT_RUN_M = feet(6)  # toward home, from 6 in before the pitcher's plate (rule 2.01)
FALL_PER_M = 1.0 / 12.0  # 1 in per ft
PRACTICES = ("front of the pitcher's plate", "mound's centre, 18 in before the plate", "back edge of the pitcher's plate")


@dataclass(frozen=True)
class Rule:
    """value_mm : what is asked for, mm; NaN where no rule was found. source : who printed it, or what is told instead."""

    value_mm: float
    source: str


def rules(layout: str, pitch_m: float | None = None) -> dict[str, Rule]:
    """Rule of every item of one base set, by item.

    layout  : name of LAYOUTS
    pitch_m : the owner's own pitching distance, m; it moves what is counted from the pitcher's plate
    """
    size = LAYOUTS[layout]
    own = size.pitch_m if pitch_m is None else pitch_m
    big = layout == "baseball-90"
    out = {item: _side(layout) for item in SIDES} | {item: _diagonal(layout) for item in DIAGONALS}
    out["pitching-distance"] = _pitch(layout, own)
    level = f"{OBR}: base lines and home plate are level" if big else f"{OBR}, written for 90 ft bases: level"
    out |= {f"fall-{item}": Rule(0.0, level) for item in SIDES}
    out |= {f"{base}-over-home": Rule(0.0, level) for base in ("first", "second", "third")}
    out |= {f"plate-level-{way}": Rule(0.0, level) for way in ("across", "along")}
    height = _mound_height(layout)
    out |= {"pitchers-plate-over-home": height}
    if size.mound_m:
        out |= _mound(layout, height, own)
    middle = _mm(own)
    if big:
        radius = Rule(_mm(feet(95)), "grass line 95 ft from the pitcher's plate: rule summaries of the 90 ft size")
        home = Rule(_mm(feet(13)), "home circle 26 ft across: rule summaries of the 90 ft size")
        centre = Rule(middle, "the pitcher's plate: rule summaries of the 90 ft size; in practice its front, back or 18 in before")
    else:
        radius = _none(f"{size.arc_m / FOOT_M:g} ft")
        home = _none(f"{size.home_m / FOOT_M:g} ft")
        centre = _none("front or back edge of the pitcher's plate, or 18 in before it")
    aside = Rule(0.0, "on the line from home plate to second base, as the 90 ft size has it") if big else _none("on the line from home to second")
    return out | {"arc-radius": radius, "arc-centre-from-home": centre, "arc-centre-aside": aside, "home-circle-radius": home}


def arc_centres(pitch_m: float, plate_depth_m: float = inches(6)) -> dict[str, float]:
    """Where the arc's centre is set in practice, as distance from the rear point of home plate, m, by PRACTICES."""
    return dict(zip(PRACTICES, (pitch_m, pitch_m - PLATE_BEHIND_CENTRE_M, pitch_m + plate_depth_m)))


def _mm(metres: float) -> float:
    return metres * MM_PER_M


def _none(told: str) -> Rule:
    return Rule(nan, f"no published rule for this size; {told}: {CHART}")


def _side(layout: str) -> Rule:
    value = _mm(feet(base_feet(layout)))
    if layout == "baseball-90":
        return Rule(value, f"{OBR}; measured from the rear point of home plate to the back edge of the base: {NFHS}")
    known = {"baseball-70": LEAGUE_70, "baseball-60": LEAGUE_60}
    return Rule(value, known.get(layout, "the base distance that names the layout"))


def _diagonal(layout: str) -> Rule:
    if layout == "baseball-90":
        return Rule(_mm(feet_inches(127, 3.375)), f"{OBR}: 127 ft 3-3/8 in; to the middle of second base: {NFHS}-5")
    if layout == "baseball-70":
        return Rule(_mm(feet(99)), f"{LEAGUE_70}: 99 ft")
    return Rule(_mm(LAYOUTS[layout].home_to_second_m), "exact diagonal of the square on the base distance")


def _pitch(layout: str, own: float) -> Rule:
    printed = {
        "baseball-90": (60.5, f"{OBR}: 60 ft 6 in to the rear point of home plate"),
        "baseball-70": (50, LEAGUE_70),
        "baseball-60": (46, f"{LEAGUE_60}: 46 ft to the front edge of the plate"),
        "softball-60": (43, LEAGUE_SOFTBALL),
        "softball-55": (35, LEAGUE_SOFTBALL),
    }
    if layout not in printed:
        return _none(f"{own / FOOT_M:g} ft")
    asked, source = printed[layout]
    if layout.startswith("softball") and any(abs(own - feet(d)) < 1e-6 for d in (35, 40, 43)):
        asked = own / FOOT_M  # the division plays from where the owner says
    return Rule(_mm(feet(asked)), source)


def _mound_height(layout: str) -> Rule:
    if layout == "baseball-90":
        return Rule(_mm(inches(10)), f"{OBR}: 10 in above home plate")
    if layout == "baseball-60":
        return Rule(_mm(inches(6)), MAGAZINE_MOUND)
    if layout.startswith("softball"):
        return Rule(0.0, MAGAZINE_LEVEL)
    return _none(f"{LAYOUTS[layout].mound_height_m / INCH_M:g} in above home plate")


def _mound(layout: str, height: Rule, own: float) -> dict[str, Rule]:
    size = LAYOUTS[layout]
    told = "flat top 5 ft x 34 in"
    big = layout == "baseball-90"
    wear = Rule(0.0, "no rulebook figure: depth below the mound's own shape, fitted about it")
    run = min(FRONT_RUN_M, size.mound_height_m / FALL_PER_M)
    out = {
        "mound-height": height,
        "mound-table-flatness": Rule(0.0, FEDERATION) if big else _none(told),
        "mound-table-tilt-across": Rule(0.0, FEDERATION) if big else _none(told),
        "mound-table-tilt-along": Rule(0.0, FEDERATION) if big else _none(told),
        "mound-front-fall": Rule(_mm(run * FALL_PER_M), f"{OBR}: 1 in per ft, from 6 in before the plate to 6 ft toward home")
        if big else _none("1 in per ft"),
        "mound-diameter": Rule(_mm(feet(18)), "18 ft across: rule summaries of the 90 ft size") if big else _none(f"{2 * size.mound_m / FOOT_M:g} ft"),
        "landing-wear": wear,
    }  # fmt: skip
    at = Rule(_mm(own - PLATE_BEHIND_CENTRE_M), f"{FEDERATION}; {OBR}: plate 60 ft 6 in from home") if big else _none("18 in before the plate")
    return out | {"mound-centre-from-home": at, "mound-centre-aside": Rule(0.0, at.source) if big else at}
