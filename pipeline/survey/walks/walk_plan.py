"""Where to walk with a rover: a zig-zag across every grass edge, stars about the places that wear, lines over the skin; stable
ground at the beginning, in the middle and at the end.

A lip is a contrast over 2 m: walked across, the rover's drift is the same on skin, crest and turf. Walked along the edge
the drift of minutes lies between them and passes for a lip, so no line of this plan runs along one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout

ACROSS = np.linspace(-0.9, 1.1, 9)  # distances from the edge at which a leg has its points, m
LEGS = 27  # an edge: 243 points
PACE_M_S, ON_POINT_S = 1.2, 3.0  # walking with a pole, and standing on a point
LEG_EVERY_M = 3.0  # on long edges a leg at least so often
ROW_EVERY_M, LINE_EVERY_M = 1.0, 2.0  # over the skin
CLEAR_M = 1.2  # lines over the skin stay so far from the grass, where the zig-zag walks
DISC_M, RING_M = 0.5, 2.1  # radii of a star's two circles
ON_PATCH = 5


@dataclass(frozen=True)
class Planned:
    """One point of the walk, in order: `line` names what is walked, `why` says what it is for (`tie`, `edge`, `place`, `skin`)."""

    line: str
    why: str
    e: float
    n: float


def walk_plan(layout: Layout) -> list[Planned]:
    """Stable ground first, between edges and places, and last, so that a drift between shows and no one visit carries the
    whole tie; edges, places and skin in between."""
    stable = [p for patch in layout.patches for p in _on_patch(patch)]
    edges = [p for edge in layout.edges for p in zig_zag(edge)]
    places = [p for place in layout.places for p in _star(place, layout.skin)]

    def visit(name: str) -> list[Planned]:
        return [Planned(f"{p.line}-{name}", p.why, p.e, p.n) for p in stable]

    return [*stable, *edges, *visit("middle"), *places, *_lines(layout), *visit("again")]


def zig_zag(edge: Edge) -> list[Planned]:
    """Legs across an edge, each beginning on the side where the one before ended."""
    legs = max(LEGS, int(np.ceil(edge.length_m / LEG_EVERY_M)))
    step = edge.length_m / legs
    within = np.linspace(-0.5, 0.5, len(ACROSS)) * 0.8 * step
    out = []
    for k in range(legs):
        s = np.clip((k + 0.5) * step + within, 0.0, edge.length_m)
        d = ACROSS if k % 2 == 0 else ACROSS[::-1]
        out += [Planned(f"edge-{edge.edge_id}", "edge", float(e), float(n)) for e, n in zip(*edge.at(s, d))]
    return out


def _on_patch(patch) -> list[Planned]:
    """Middle of a patch and four points toward its outline."""
    centre = np.array(patch.polygon.centroid.coords[0])
    outline = patch.polygon.convex_hull.exterior
    rim = [np.array(outline.interpolate((k + 0.5) / (ON_PATCH - 1), normalized=True).coords[0]) for k in range(ON_PATCH - 1)]
    return [Planned(f"stable-{patch.patch_id}", "tie", float(e), float(n)) for e, n in [centre, *(centre + 0.7 * (r - centre) for r in rim)]]


def _star(place, skin: shapely.Geometry) -> list[Planned]:
    """The middle of a place, five points about it and eight on its ring, as far as they lie on skin."""
    at = [(place.e, place.n)]
    for radius, count in ((DISC_M, 5), (RING_M, 8)):
        angle = 2 * np.pi * np.arange(count) / count
        at += list(zip(place.e + radius * np.sin(angle), place.n + radius * np.cos(angle)))
    return [Planned(f"place-{place.place_id}", "place", float(e), float(n)) for e, n in at if shapely.contains_xy(skin, e, n)]


def _lines(layout: Layout) -> list[Planned]:
    """Parallel lines over the skin, walked up and down, along the longer side of the box about it."""
    inner = layout.skin.buffer(-CLEAR_M)
    if inner.is_empty:
        return []
    box = np.asarray(layout.skin.minimum_rotated_rectangle.exterior.coords)[:4]
    sides = [box[1] - box[0], box[2] - box[1]]
    along, across = sorted(sides, key=lambda v: -float(np.hypot(*v)))
    length, width = float(np.hypot(*along)), float(np.hypot(*across))
    u, v = along / length, across / width
    corner = box[0] if np.allclose(sides[0], along) else box[1]
    start = corner if np.allclose(along, sides[0]) else box[1]
    out = []
    for k, offset in enumerate(np.arange(LINE_EVERY_M / 2, width, LINE_EVERY_M)):
        a = start + (v if np.allclose(sides[0], along) else -v) * offset
        line = LineString([a, a + u * length])
        if k % 2:
            line = line.reverse()
        s = np.arange(0.0, length, ROW_EVERY_M)
        points = shapely.line_interpolate_point(line, s)
        e, n = shapely.get_x(points), shapely.get_y(points)
        held = shapely.contains_xy(inner, e, n)
        out += [Planned(f"skin-{k + 1:02d}", "skin", float(x), float(y)) for x, y in zip(e[held], n[held])]
    return out
