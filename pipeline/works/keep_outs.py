"""What no blade may touch: anchors of every base set, plates, heads, boxes, cables and whatever else was drawn as one."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass
from typing import Iterable

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry import Point

from pipeline.diamond.anchors import ANCHOR, missing
from pipeline.diamond.days import day_of
from pipeline.diamond.layout import Feature, Layout, Patch
from pipeline.units import MM_PER_M

PLATE, HEAD, BOX, CABLE, DRAWN = "plate", "irrigation_head", "valve_box", "cable", "keep_out"
KINDS = (ANCHOR, PLATE, HEAD, BOX, CABLE, DRAWN)
FREE_M, FREE_LOCATED_M, SIGMAS = 0.5, 0.3, 2.0  # kept free beside a place not located this season, and beside a located one
# One s.d. on each axis where nobody stated it (assumptions): an anchor or a plate as a layout's sizes put it, a thing
# somebody located, a thing drawn without a word of how.
COMPUTED_SIGMA_M, LOCATED_SIGMA_M, UNSAID_SIGMA_M = 0.05, 0.010, 0.10
SAME_M = 1e-3
PLATES = {"home_plate": ("home", "home-plate"), "pitchers_plate": ("pitchers-plate",)}  # kind of patch -> the bases it is drawn under
REPLACED_M = 0.5  # a plate drawn further from the computed one than this may be another: both are kept off


@dataclass(frozen=True)
class KeepOut:
    """One thing to keep off.

    kind       : one of KINDS
    name       : its id; of an anchor `first`, `second-60`, ...
    geometry   : where it lies, working CRS, without any buffer
    sigma_m    : one s.d. of its place on each axis, m
    located_on : ISO date on which somebody found it by hand; "" where nobody did
    buffer_m   : kept free all about it: 0.5 m + 2 sigma until it is located this season, then 0.3 m + 2 sigma
    found      : whether it was located in the season asked about
    located_by : who found it
    computed   : True where the place follows from the layout's sizes and nobody drew it
    ahead      : located on a day later than any that is known: not found until the tables reach that day
    """

    kind: str
    name: str
    geometry: shapely.Geometry
    sigma_m: float
    located_on: str
    buffer_m: float
    found: bool
    located_by: str = ""
    computed: bool = False
    ahead: bool = False

    @property
    def kept_free(self) -> shapely.Geometry:
        """The ground that no blade may touch."""
        return self.geometry.buffer(self.buffer_m)


def buffer_m(sigma_m: float, found: bool) -> float:
    """Ground kept free about a thing, m. Not a code's figure: ours, wider where its place is not known."""
    return (FREE_LOCATED_M if found else FREE_M) + SIGMAS * sigma_m


def in_season(located_on: str, on: dt.date) -> bool:
    """Whether a thing was found in the calendar year of `on`, on that day or before it: a finding of a day still to come is none,
    nor is what cannot be read as a date."""
    day = day_of(located_on)
    return day is not None and day.year == on.year and day <= on


def keep_outs_of(layout: Layout, features: Iterable[Feature], on: dt.date) -> tuple[KeepOut, ...]:
    """Everything to keep off on one field, in the order of KINDS, each kind by name.

    features : what was drawn of the field, in the working CRS
    on       : the newest day known of the field: what was found in its calendar year and not after it is located
    Every drawn anchor is one, whatever base it is of. It stands for the computed place of its base unless its `state` says that it
    is missing: then both stay, neither located. A drawn plate stands for the computed outline that it lies by.
    """
    features = tuple(features)
    left = [f for f in features if f.role == ANCHOR] or list(layout.drawn_anchors)
    out = [k for p in layout.patches if p.kind in PLATES for k in _plates(p, layout, left, on)]
    for name, (e, n) in sorted(layout.anchors.items()):
        if name.split("-")[0] not in ("home", "pitchers"):
            mine = next((f for f in left if math.hypot(f.geometry.centroid.x - e, f.geometry.centroid.y - n) < SAME_M), None)
            out.append(_kept(ANCHOR, name, Point(e, n), mine, on))
            left = [f for f in left if f is not mine]
    taken = {k.name for k in out}
    out += [_kept(ANCHOR, f.name if f.name not in taken else f"{f.name}-drawn", f.geometry, f, on) for f in left]
    out += [_kept(f.role, f.name, f.geometry, f, on) for f in features if f.role in (HEAD, BOX, CABLE, DRAWN)]
    if not any(f.role == DRAWN for f in features) and not layout.keep_out.is_empty:
        out.append(_kept(DRAWN, "keep-out", layout.keep_out, None, on))
    return tuple(sorted(out, key=lambda k: (KINDS.index(k.kind), k.name)))


def _plates(patch: Patch, layout: Layout, left: list[Feature], on: dt.date) -> list[KeepOut]:
    """A plate where it was drawn, else where it is computed; takes what it uses out of `left`."""
    mine = [
        f for f in left if not missing(f.props) and patch.polygon.distance(f.geometry) <= REPLACED_M
        and re.sub(r"-[0-9]+$", "", str(f.props.get("base") or f.name)) in PLATES[patch.kind]
    ]  # fmt: skip
    left[:] = [f for f in left if not any(f is m for m in mine)]
    if not mine:
        return [_kept(PLATE, patch.patch_id, patch.polygon, None, on)]
    return [_kept(PLATE, patch.patch_id if k == 0 else f.name, _set_down(patch, layout, f), f, on) for k, f in enumerate(mine)]


def _set_down(patch: Patch, layout: Layout, drawn: Feature) -> shapely.Geometry:
    """A plate's outline where somebody drew it. Nobody says which point of it was taken: its middle, or the one that counts on the
    field (home's rear point, the middle of the pitcher's plate's front edge), so both readings are kept off."""
    xy = np.asarray(patch.polygon.exterior.coords)[:-1]
    y = layout.axes.local(xy[:, 0], xy[:, 1])[1]
    counts, at = xy[y < y.min() + SAME_M].mean(axis=0), drawn.geometry.centroid
    middle = patch.polygon.centroid
    return shapely.union_all([translate(patch.polygon, at.x - a, at.y - b) for a, b in (counts, (middle.x, middle.y))]).convex_hull


def _kept(kind: str, name: str, geometry, drawn: Feature | None, on: dt.date) -> KeepOut:
    props = {} if drawn is None else drawn.props
    there = not missing(props)
    located_on = str(props.get("located_on") or "")[:10] if there else ""
    stated, by = props.get("sigma_mm"), str(props.get("located_by") or "")
    found = in_season(located_on, on)
    if stated is not None:
        sigma = float(stated) / MM_PER_M
    elif drawn is None:
        sigma = COMPUTED_SIGMA_M
    else:
        sigma = LOCATED_SIGMA_M if located_on else UNSAID_SIGMA_M
    ahead = not found and (day_of(located_on) or on) > on
    return KeepOut(kind, name, geometry, sigma, located_on, buffer_m(sigma, found), found, by if there else "", drawn is None, ahead)
