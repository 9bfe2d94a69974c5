"""The rulebook check of one field from one survey: every item with its uncertainty, the rule, whose it is, a verdict.

Heights need no tie (every item is a difference), but they carry the survey's tilt. What a survey cannot see, a buried anchor,
comes from points that somebody located, or is `not_seen`. Nothing here says that a field is safe.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Mapping

from pipeline.diamond.dimensions import LAYOUTS, Dimensions
from pipeline.diamond.layout import Layout
from pipeline.surface.masks import Masks
from pipeline.surface.rulebook_arcs import MeasuredLine, arc_items, circle_radius
from pipeline.surface.rulebook_bases import Located, base_distances, pitching_distance
from pipeline.surface.rulebook_heights import Heights
from pipeline.surface.rulebook_item import Item, Measured, judged, not_seen
from pipeline.surface.rulebook_mound import mound_items
from pipeline.surface.rulebook_plates import base_line_falls, bases_over_home, home_height, plate_level, plate_over_home
from pipeline.surface.rulebook_rules import DIAGONALS, SIDES, rules
from pipeline.survey.stable.patches import PatchHeight
from pipeline.units import MM_PER_M

ORDER = (
    "home-first", "first-second", "second-third", "third-home", "home-second", "first-third", "pitching-distance",
    "fall-home-first", "fall-first-second", "fall-second-third", "fall-third-home",
    "first-over-home", "second-over-home", "third-over-home", "plate-level-across", "plate-level-along",
    "pitchers-plate-over-home", "mound-height", "mound-table-flatness", "mound-table-tilt-across", "mound-table-tilt-along",
    "mound-front-fall", "mound-diameter", "mound-centre-from-home", "mound-centre-aside", "landing-wear",
    "arc-radius", "arc-centre-from-home", "arc-centre-aside", "home-circle-radius",
)  # fmt: skip
DISTANCES = {*SIDES, *DIAGONALS, "pitching-distance", "mound-centre-from-home", "mound-centre-aside"}
LEVELS = {"plate-level-across", "plate-level-along"}
HEIGHTS = {"pitchers-plate-over-home", "mound-height", "mound-table-flatness", "mound-table-tilt-across", "mound-table-tilt-along",
           "mound-front-fall", "landing-wear"}  # fmt: skip


@dataclass(frozen=True)
class RuleTolerances:
    """The owner's figures; None where none is set.

    base_distance_mm : of distances from base to base, to the pitcher's plate and to the mound
    plate_level_mm   : of home plate over its 17 in
    mound_height_mm  : of every height of the mound
    base_line_pct    : of the fall along a base line; bases against home plate by the same fall over their distance, and
                       without a mound the pitcher's plate too: it lies in the graded skin
    """

    base_distance_mm: float | None = None
    plate_level_mm: float | None = None
    mound_height_mm: float | None = None
    base_line_pct: float | None = None


@dataclass(frozen=True)
class RuleInput:
    """What the check is read from.

    layout     : the field's geometry; main, other : its base sets' names in LAYOUTS, or None
    heights    : z and white as surveyed or tied, with the survey's error (drift included)
    plates     : patch id -> height: `home-plate`, `pitchers-plate`
    lines      : edge id -> where the grass was seen to begin at this date; an edge that was not seen is left out
    points     : layout -> base -> located point (`located_bases`)
    taped      : layout -> item -> (distance, one s.d.), m, from readings
    sideways_m : one s.d., each axis, of the survey's place against the given points
    """

    layout: Layout
    main: str | None
    other: str | None
    heights: Heights
    masks: Masks
    plates: Mapping[str, PatchHeight]
    lines: Mapping[str, MeasuredLine]
    points: Mapping[str, Mapping[str, Located]]
    sideways_m: float
    tolerances: RuleTolerances = RuleTolerances()
    taped: Mapping[str, Mapping[str, tuple[float, float]]] = field(default_factory=dict)


def rulebook(given: RuleInput) -> tuple[Item, ...]:
    """Every item of every base set, in the order of ORDER; none where the field has no layout."""
    if given.main is None or given.layout.axes is None:
        return ()
    pitch = _pitch_m(given)
    out = _rows(given, given.main, _of_main(given, pitch), pitch)
    if given.other is not None:
        out += _rows(given, given.other, _of_set(given, given.other), None)
    return tuple(out)


def _pitch_m(given: RuleInput) -> float:
    """The field's own pitching distance: where its pitcher's plate is drawn."""
    plate = next((p for p in given.layout.patches if p.kind == "pitchers_plate"), None)
    if plate is None:
        return LAYOUTS[given.main].pitch_m
    return float(min(given.layout.axes.local(*plate.polygon.exterior.xy)[1]))


def _of_main(given: RuleInput, pitch_m: float) -> dict[str, Measured]:
    layout, heights = given.layout, given.heights
    size, axes = LAYOUTS[given.main], layout.axes
    size = replace(size, pitch_m=pitch_m)
    found = _of_set(given, given.main) | plate_level(heights, axes)
    found["pitchers-plate-over-home"] = plate_over_home(heights, axes, size, given.plates)
    found |= arc_items(given.lines.get("outer"), axes, pitch_m, given.sideways_m)
    found["home-circle-radius"] = circle_radius(given.lines.get("home"), "home circle")
    if layout.mound is not None:
        home = home_height(heights, axes, given.plates)
        found |= mound_items(heights, layout, given.masks.ring, home, given.sideways_m)
        found["mound-diameter"] = circle_radius(given.lines.get("mound"), "mound", 2.0)
    return found


def _of_set(given: RuleInput, name: str) -> dict[str, Measured]:
    """What each base set has of its own."""
    axes, size, taped = given.layout.axes, LAYOUTS[name], given.taped.get(name, {})
    found = base_distances(axes, given.points.get(name, {}), taped)
    found["pitching-distance"] = pitching_distance(given.points.get(name, {}), taped)
    found["pitchers-plate-over-home"] = not_seen("no pitcher's plate of this base set is drawn")
    found |= base_line_falls(given.heights, axes, size, given.masks.even)
    return found | bases_over_home(given.heights, axes, size, given.plates, given.masks.ring)


def _rows(given: RuleInput, name: str, found: Mapping[str, Measured], pitch_m: float | None) -> list[Item]:
    asked = rules(name, pitch_m)
    size, out = LAYOUTS[name], []
    size = size if pitch_m is None else replace(size, pitch_m=pitch_m)
    for item in ORDER:
        if item in found and item in asked:
            limit, called = _tolerance(given.tolerances, item, name, size)
            out.append(judged(name, item, found[item], asked[item], limit, called))
    return out


def by_slope(item: str, layout: str) -> bool:
    """Whether an item is held against the owner's slope along a base line, over its distance from home plate."""
    flat_plate = item == "pitchers-plate-over-home" and not LAYOUTS[layout].mound_m
    return flat_plate or item.startswith("fall-") or item in ("first-over-home", "second-over-home", "third-over-home")


def _tolerance(given: RuleTolerances, item: str, name: str, size: Dimensions) -> tuple[float | None, str | None]:
    """The owner's tolerance of an item, mm, and its name; (None, None) where none is kept for such an item.

    name, size : of the base set; the size with the field's own pitching distance
    """
    if by_slope(item, name):
        far = {"second-over-home": size.home_to_second_m, "pitchers-plate-over-home": size.pitch_m}.get(item, size.base_m)
        pct = given.base_line_pct
        return None if pct is None else pct / 100 * far * MM_PER_M, "base_line_pct"
    for items, limit in ((DISTANCES, "base_distance_mm"), (LEVELS, "plate_level_mm"), (HEIGHTS, "mound_height_mm")):
        if item in items:
            return getattr(given, limit), limit
    return None, None


def counted(items: tuple[Item, ...]) -> dict[str, int]:
    """How many items have each verdict."""
    out = {"within": 0, "outside": 0, "cannot_tell": 0, "not_seen": 0}
    for item in items:
        out[item.verdict] += 1
    return out
