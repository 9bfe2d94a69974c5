"""The plan of a bid: what is graded, which way it falls, control points, what is kept free."""

from __future__ import annotations

import math
from typing import Mapping, Sequence

from shapely.geometry import Point

from pipeline.report.field_input import FieldInput
from pipeline.report.field_map import cleared, foot, numbered
from pipeline.report.figures import printed
from pipeline.report.saying import Sayer
from pipeline.report.svg import Frame, barb, el, picture, words as text

ARROW_M, HEAD_PX = 9.0, 12.0


def bid_plan(given: FieldInput, control: Sequence[Mapping], fall: Mapping, sayer: Sayer) -> tuple[str, str]:
    """The drawing, and what it shows. control: with `at`, easting and northing in the working CRS."""
    words, rows = sayer.words, given.designs["keep_outs"]
    frame, inner = cleared(given.layout, given.edges, rows)
    inner += "".join(_way(frame, a) for a in given.designs.get("access", ()))
    inner += "".join(_control(frame, c) for c in control)
    if fall.get("slope_pct") is not None:
        inner += _fall(frame, given.layout.skin.centroid, fall)
    inner += numbered(frame, rows)
    about = words("bid_plan_about", keep=len(rows), control=len(control))
    return picture(frame.width, frame.height, "bid-plan", words("bid_plan"), about, inner + foot(frame, sayer.units, words("north")), "map"), about


def _way(frame: Frame, way: Mapping) -> str:
    """A gate or a route by its name."""
    x, y = (float(v) for v in frame.xy(way["e"], way["n"]))
    if not (0 <= x <= frame.width and 0 <= y <= frame.height):
        return ""
    return el("rect", x=x - 4, y=y - 4, width=8, height=8, class_="base") + text(x + 8, y + 4, way["name"].replace("-", " "), class_="figure")


def _control(frame: Frame, point: Mapping) -> str:
    """A triangle with its name; nothing where it lies off the sheet."""
    x, y = (float(v) for v in frame.xy(*point["at"]))
    if not (0 <= x <= frame.width and 0 <= y <= frame.height):
        return ""
    return el("path", d=f"M{x:.1f} {y - 6:.1f}l6 10h-12z", class_="pour") + text(x + 9, y + 4, point["point_id"], class_="figure")


def _fall(frame: Frame, at: Point, fall: Mapping) -> str:
    """An arrow downhill with the fall in percent."""
    turn = math.radians(fall["bearing_deg"])
    e, n = math.sin(turn) * ARROW_M / 2, math.cos(turn) * ARROW_M / 2
    (x0, x1), (y0, y1) = (v.tolist() for v in frame.xy([at.x - e, at.x + e], [at.y - n, at.y + n]))
    label = text((x0 + x1) / 2 + 10, (y0 + y1) / 2 - 8, f"{printed(fall['slope_pct'], 2)} %", class_="figure")
    return el("path", d=f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" + barb(x0, y0, x1, y1, HEAD_PX), class_="run") + label
