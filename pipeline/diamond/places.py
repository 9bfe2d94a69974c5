"""Zones and declared places of an infield: where play wears it, and what people call the spot."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely.geometry import Point, Polygon

from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import BASE_SIDE_M, PLATE_WIDTH_M, RUBBER_LENGTH_M, RUBBER_WIDTH_M, Dimensions
from pipeline.diamond.outline import R2, circle
from pipeline.units import feet, inches

BASE_ZONE_M = 0.9  # radius of a base's zone
DISC_M, RING_M = 0.9, (1.5, 2.7)
LANDING_DISC_M, LANDING_RING_M = 0.6, (1.2, 2.0)
STRIDE_M = feet(5.5)  # landing spot before the pitcher's plate: common practice, no source


@dataclass(frozen=True)
class Place:
    """A spot whose depth is asked for: declared before anyone looks at the heights.

    place_id   : `first`, `landing`, `lead-off-second`, ... with `-<feet>` for a second base set
    near       : the words a person would use
    e, n       : centre, m
    disc_m     : radius of the disc whose mean height is judged
    ring_in_m, ring_out_m : the ring it is judged against
    """

    place_id: str
    near: str
    e: float
    n: float
    disc_m: float
    ring_in_m: float
    ring_out_m: float

    @property
    def disc(self) -> Polygon:
        return circle(self.e, self.n, self.disc_m)


WORDS = {
    "home": "home plate",
    "first": "first base",
    "second": "second base",
    "third": "third base",
    "landing": "pitcher's landing spot",
    "short-stop": "short stop",
    "lead-off-first": "lead-off, first",
    "lead-off-second": "lead-off, second",
    "lead-off-third": "lead-off, third",
    "slide-second": "slide into second",
    "slide-third": "slide into third",
    "box-left": "left-handed batter's box",
    "box-right": "right-handed batter's box",
}
ZONE_WORDS = {**WORDS, "skin": "whole skin", "mound": "mound", "turf_infield": "infield grass"}


def base_centres(size: Dimensions) -> dict[str, tuple[float, float]]:
    """Centres of the bases in diamond axes, m. First and third lie inside the square, second on its corner."""
    b, inset = size.base_m * R2, BASE_SIDE_M * R2  # along one side and in from it, half a bag each
    return {"first": (b - inset, b), "second": (0.0, 2 * b), "third": (-(b - inset), b)}


def spots(size: Dimensions) -> dict[str, tuple[float, float]]:
    """Centres of all declared places in diamond axes, m."""
    b = size.base_m * R2
    lead, slide = size.lead_off_m, 1.5
    plate_centre = (0.0, PLATE_WIDTH_M / 2)
    return {
        "home": plate_centre,
        **base_centres(size),
        "landing": (0.0, size.pitch_m - STRIDE_M * min(1.0, size.pitch_m / feet(60.5))),
        "short-stop": _short_stop(size),
        "lead-off-first": (b - lead * R2, b + lead * R2),
        "lead-off-second": (-lead * R2, 2 * b - lead * R2 + feet(4)),
        "lead-off-third": (-(b - lead * R2), b - lead * R2),
        "slide-second": (slide * R2, 2 * b - slide * R2),
        "slide-third": (-b + slide * R2, b + slide * R2),
        "box-left": _box_centre(+1),
        "box-right": _box_centre(-1),
    }


def _short_stop(size: Dimensions) -> tuple[float, float]:
    """18 ft behind the line from second to third, 8 ft nearer second, on 90 ft bases (common practice, no source)."""
    b, scale = size.base_m * R2, size.base_m / feet(90)
    back, toward_second = feet(18) * scale * R2, feet(8) * scale * R2
    return -0.5 * b - back + toward_second, 1.5 * b + back + toward_second


def _box_centre(side: int) -> tuple[float, float]:
    """A batter's box is 4 ft wide, 6 in off the plate; +1 is first base's side, where a left-handed batter stands."""
    return side * (PLATE_WIDTH_M / 2 + inches(6) + feet(2)), PLATE_WIDTH_M / 2


def declared(size: Dimensions, axes: Axes, suffix: str = "") -> tuple[Place, ...]:
    """All declared places of one base set in the working CRS; `suffix` "-70" marks a second set."""
    out = []
    for name, (x, y) in spots(size).items():
        disc, ring = (LANDING_DISC_M, LANDING_RING_M) if name == "landing" else (DISC_M, RING_M)
        e, n = axes.world(x, y)
        words = WORDS[name] + (f" ({suffix.lstrip('-')} ft bases)" if suffix else "")
        out.append(Place(name + suffix, words, float(e), float(n), disc, *ring))
    return tuple(out)


def zones(size: Dimensions, axes: Axes, suffix: str = "") -> dict[str, shapely.Geometry]:
    """The small zones of one base set in the working CRS: discs, and boxes of 4 by 6 ft."""
    out = {}
    for name, (x, y) in spots(size).items():
        if name.startswith("box"):
            half_w, half_l = feet(2), feet(3)
            shape = shapely.box(x - half_w, y - half_l, x + half_w, y + half_l)
        else:
            shape = circle(x, y, LANDING_DISC_M if name == "landing" else BASE_ZONE_M)
        out[name + suffix] = axes.geometry(shape)
    return out


def home_plate(axes: Axes) -> Polygon:
    """Home plate: 17 in front edge, rear point at the origin (rule 2.02)."""
    w = PLATE_WIDTH_M / 2
    return axes.geometry(Polygon([(0, 0), (w, w), (w, 2 * w), (-w, 2 * w), (-w, w)]))


def pitchers_plate(size: Dimensions, axes: Axes) -> Polygon:
    """Pitcher's plate, 24 by 6 in, its front at the pitching distance (rule 2.04)."""
    w = RUBBER_LENGTH_M / 2
    return axes.geometry(shapely.box(-w, size.pitch_m, w, size.pitch_m + RUBBER_WIDTH_M))


def anchor_points(size: Dimensions, axes: Axes) -> dict[str, Point]:
    """Where the base anchors of one set should be, m; home is the plate's centre."""
    out = {"home": (0.0, PLATE_WIDTH_M / 2), **base_centres(size)}
    return {name: Point(*(float(v) for v in axes.world(x, y))) for name, (x, y) in out.items()}
