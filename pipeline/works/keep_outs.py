"""What no blade may touch: anchors of every base set, plates, heads, boxes, cables and whatever else was drawn as one."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Iterable

import shapely
from shapely.geometry import Point

from pipeline.diamond.layout import Feature, Layout
from pipeline.units import MM_PER_M

ANCHOR, PLATE, HEAD, BOX, CABLE, DRAWN = "base_anchor", "plate", "irrigation_head", "valve_box", "cable", "keep_out"
KINDS = (ANCHOR, PLATE, HEAD, BOX, CABLE, DRAWN)
FREE_M, FREE_LOCATED_M, SIGMAS = 0.5, 0.3, 2.0  # kept free beside a place not located this season, and beside a located one
# One s.d. on each axis where nobody stated it (assumptions): an anchor or a plate as a layout's sizes put it, a thing
# somebody located, a thing drawn without a word of how.
COMPUTED_SIGMA_M, LOCATED_SIGMA_M, UNSAID_SIGMA_M = 0.05, 0.010, 0.10
SAME_M = 1e-3
NOT_THERE = ("missing", "not_found")


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

    @property
    def kept_free(self) -> shapely.Geometry:
        """The ground that no blade may touch."""
        return self.geometry.buffer(self.buffer_m)


def buffer_m(sigma_m: float, found: bool) -> float:
    """Ground kept free about a thing, m. Not a code's figure: ours, wider where its place is not known."""
    return (FREE_LOCATED_M if found else FREE_M) + SIGMAS * sigma_m


def in_season(located_on: str, on: dt.date) -> bool:
    """Whether a date lies in the season of `on`: its calendar year. What cannot be read as a date lies in none."""
    try:
        return dt.date.fromisoformat(str(located_on)[:10]).year == on.year
    except ValueError:
        return False


def keep_outs_of(layout: Layout, features: Iterable[Feature], on: dt.date) -> tuple[KeepOut, ...]:
    """Everything to keep off on one field, in the order of KINDS, each kind by name.

    features : what was drawn of the field, in the working CRS
    on       : the day asked about; its calendar year is the season
    A drawn anchor stands for the computed one of the same base; one whose `state` says that it is missing stays, as a
    place that was not located.
    """
    features = tuple(features)
    drawn_anchors = [f for f in features if f.role == ANCHOR] or list(layout.drawn_anchors)
    plates = {str(f.props.get("base") or f.name): f for f in drawn_anchors}
    out = [_kept(PLATE, p.patch_id, p.polygon, plates.get(p.patch_id), on) for p in layout.patches if p.kind in ("home_plate", "pitchers_plate")]
    for name, (e, n) in layout.anchors.items():
        if name.split("-")[0] not in ("home", "pitchers"):
            out.append(_kept(ANCHOR, name, Point(e, n), _drawn_at(drawn_anchors, e, n), on))
    out += [_kept(f.role, f.name, f.geometry, f, on) for f in features if f.role in (HEAD, BOX, CABLE, DRAWN)]
    if not any(f.role == DRAWN for f in features) and not layout.keep_out.is_empty:
        out.append(_kept(DRAWN, "keep-out", layout.keep_out, None, on))
    return tuple(sorted(out, key=lambda k: (KINDS.index(k.kind), k.name)))


def _drawn_at(anchors: list[Feature], e: float, n: float) -> Feature | None:
    return next((f for f in anchors if math.hypot(f.geometry.centroid.x - e, f.geometry.centroid.y - n) < SAME_M), None)


def _kept(kind: str, name: str, geometry, drawn: Feature | None, on: dt.date) -> KeepOut:
    props = {} if drawn is None else drawn.props
    there = str(props.get("state", "")).replace(" ", "_") not in NOT_THERE
    located_on = str(props.get("located_on") or "")[:10] if there else ""
    stated, by = props.get("sigma_mm"), str(props.get("located_by") or "")
    if stated is not None:
        sigma = float(stated) / MM_PER_M
    elif drawn is None:
        sigma = COMPUTED_SIGMA_M
    else:
        sigma = LOCATED_SIGMA_M if located_on else UNSAID_SIGMA_M
    found = in_season(located_on, on)
    return KeepOut(kind, name, geometry, sigma, located_on, buffer_m(sigma, found), found, by if there else "", drawn is None)
