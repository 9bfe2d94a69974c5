"""Where a thing lies by two tapes: distances from two marks that anybody finds, crossing at an angle that fixes the place."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import hypot
from typing import Sequence

import numpy as np
import shapely

from pipeline.diamond.layout import Layout
from pipeline.works.keep_outs import ANCHOR, CABLE, COMPUTED_SIGMA_M, PLATE, KeepOut

MARK_SIGMA_M = 0.03  # one s.d. of a mark's place on each axis and of a tape pulled over a field, together; ours
LEAST_CROSSING_DEG = 30.0  # two circles that cross flatter fix nothing
STRAIGHT_M = 0.2  # a cable that leaves a straight line by less is called straight
LARGE_M = 4.0  # round about: a larger area is taped to at its corners
LONGEST_M = 60.0  # a tape's length


@dataclass(frozen=True)
class Mark:
    """Something that stands out of the ground or in it for all to see, or an anchor once it is found: its name, place and one s.d.
    on each axis, a tape pulled to it included, m."""

    name: str
    e: float
    n: float
    sigma_m: float = MARK_SIGMA_M


@dataclass(frozen=True)
class Tapes:
    """Two distances with one s.d. each, m, and on which hand the place lies for who looks from the first mark to the second."""

    first: str
    first_m: float
    second: str
    second_m: float
    sigma_m: float
    crossing_deg: float
    left: bool


def marks(layout: Layout) -> tuple[Mark, ...]:
    """Marks of a field: home plate's rear point, the middle of the pitcher's plate, of each drawn slab the corner nearest home."""
    if layout.axes is None:
        return ()
    home = layout.axes.home_e, layout.axes.home_n
    out = [Mark("home-plate", *home)]
    for patch in layout.patches:
        if patch.kind == "pitchers_plate":
            out.append(Mark("pitchers-plate", patch.polygon.centroid.x, patch.polygon.centroid.y))
        elif patch.kind == "drawn":
            corners = np.asarray(patch.polygon.exterior.coords)[:-1]
            e, n = corners[np.hypot(corners[:, 0] - home[0], corners[:, 1] - home[1]).argmin()]
            out.append(Mark(patch.patch_id, float(e), float(n)))
    return tuple(out)


def tapes(e: float, n: float, given: Sequence[Mark], sigma_m: float) -> Tapes | None:
    """The two marks that fix a place best: least error along the worse direction; None where no two cross well enough.

    sigma_m : one s.d. of the place itself on each axis, m
    source  : two circles that cross at an angle t fix a place to s / sin t in the worse direction
    """
    best, found = None, None
    for a, b in combinations(given, 2):
        to_a, to_b = np.array([a.e - e, a.n - n]), np.array([b.e - e, b.n - n])
        da, db = hypot(*to_a), hypot(*to_b)
        if min(da, db) < 0.3 or max(da, db) > LONGEST_M:
            continue
        crossing = float(np.degrees(np.arccos(np.clip(to_a @ to_b / (da * db), -1, 1))))
        if not LEAST_CROSSING_DEG <= crossing <= 180 - LEAST_CROSSING_DEG:
            continue
        score = (da + db) / np.sin(np.radians(crossing))  # a long tape is a worse tape
        if best is None or score < best:
            left = (b.e - a.e) * (n - a.n) - (b.n - a.n) * (e - a.e) > 0
            best, found = score, Tapes(a.name, da, b.name, db, hypot(sigma_m, max(a.sigma_m, b.sigma_m)), crossing, bool(left))
    return found


def anchor_marks(layout: Layout) -> tuple[Mark, ...]:
    """Bases' anchors as marks: good once they are found, so that they are taped from only where no two marks do."""
    sigma = hypot(MARK_SIGMA_M, COMPUTED_SIGMA_M)
    return tuple(Mark(f"{ANCHOR} {name}", *layout.anchors[name], sigma) for name in sorted(layout.anchors) if name.split("-")[0] in ("first", "second", "third"))


def taped(e: float, n: float, layout: Layout, sigma_m: float = 0.0, without: str = "") -> Tapes | None:
    """Two tapes from what stands for all to see, else with one anchor or two for marks; without: the thing itself."""
    plain = [m for m in marks(layout) if m.name != without]
    return tapes(e, n, plain, sigma_m) or tapes(e, n, plain + [m for m in anchor_marks(layout) if m.name != f"{ANCHOR} {without}"], sigma_m)


def places_of(item: KeepOut) -> tuple[tuple[str, float, float], ...]:
    """Where a keep-out is taped to: its middle, of a large area its corners; both ends of a cable and each bend between, for a straight line from end to end
    would miss it. The first of each is '', or which end or bend it is."""
    if item.kind == CABLE and item.geometry.geom_type in ("LineString", "MultiLineString"):
        out = []
        for line in shapely.get_parts(shapely.line_merge(item.geometry)):
            turns = line.simplify(STRAIGHT_M).coords
            for k, (e, n, *_) in enumerate(turns):
                out.append(("one end" if k == 0 else "other end" if k == len(turns) - 1 else f"bend {k}", e, n))
        return tuple(out)
    corners = item.geometry.simplify(STRAIGHT_M) if item.geometry.geom_type == "Polygon" and item.kind != PLATE else None
    if corners is not None and item.geometry.length > LARGE_M:
        return tuple((f"corner {k}", e, n) for k, (e, n, *_) in enumerate(corners.exterior.coords[:-1], start=1))
    at = item.geometry.centroid
    return (("", at.x, at.y),)


def sheet(layout: Layout, items: Sequence[KeepOut]) -> list[dict]:
    """A row for each place to be found before any blade, as plain values."""
    out = []
    for item in items:
        for end, e, n in places_of(item):
            found = taped(e, n, layout, item.sigma_m, item.name)
            out.append({
                "kind": item.kind, "name": item.name, "end": end, "e": e, "n": n, "free_m": item.buffer_m, "found": item.found, "computed": item.computed,
                "located_on": item.located_on, "located_by": item.located_by, "ahead": item.ahead, "tapes": None if found is None else vars(found),
                "kept_free": shapely.to_wkt(item.kept_free, rounding_precision=2),
            })  # fmt: skip
    return out
