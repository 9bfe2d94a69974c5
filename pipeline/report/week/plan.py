"""A field's plan, small enough for a phone: a tap on it becomes an easting and a northing."""

from __future__ import annotations

import numpy as np
import shapely

from pipeline.report.field_map import FOOT, MARGIN_M, furniture
from pipeline.report.svg import Frame, el, north, picture, words as text
from pipeline.report.week.field_week import FieldWeek

COARSE_M = 0.08  # a line may be drawn so far off: less than a finger feels
LABELLED = ("home", "first", "second", "third")


def frame_of(field: FieldWeek) -> Frame:
    layout = field.seen.reader.placing.layout
    return Frame.around(layout.axes, [layout.skin, *(e.line for e in field.edges), *(p.polygon for p in layout.patches)], MARGIN_M, FOOT)


def phone_plan(field: FieldWeek) -> str:
    """Skin, grass lines, bases and plates, north; no measurement."""
    reader = field.seen.reader
    layout, words, frame = reader.placing.layout, reader.words, frame_of(field)
    inner = el("rect", x=0, y=0, width=frame.width, height=round(frame.height, 1), class_="ground")
    inner += el("path", d=frame.path(_coarse(layout.skin)), class_="skin", fill_rule="evenodd")
    inner += "".join(el("path", d=frame.path(_coarse(e.line)), class_="edge-line") for e in field.edges)
    inner += furniture(layout, frame) + _labels(field, frame) + north(frame, frame.width - 30, frame.height - 40, words("north"))
    name = f"plan-{field.seen.field_id}"
    return picture(frame.width, frame.height, name, words("week_plan", field=field.seen.name), words("week_plan_about"), inner + el("g", " ", class_="taps"), "map plan")


def _labels(field: FieldWeek, frame: Frame) -> str:
    """Names beside the bases, so that nobody has to guess which way up the plan is."""
    reader, out = field.seen.reader, ""
    for place in reader.placing.layout.places:
        if place.place_id in LABELLED:
            x, y = (float(v) for v in frame.xy(place.e, place.n))
            out += text(min(max(x, 60.0), frame.width - 60.0), y + 34, reader.placing.place(place.place_id), class_="figure", text_anchor="middle")
    return out


def _coarse(shape):
    return shapely.simplify(shape, COARSE_M)


def to_ground(frame: Frame, crs_m: float) -> list[float]:
    """Six numbers a, b, c, d, e, f: easting = a x + b y + c, northing = d x + e y + f of a drawing's x, y.

    crs_m : metres in a unit of the coordinates wanted, those that readings.csv is written in
    """
    x, y = np.array([0.0, 1.0, 0.0]) / frame.k + frame.left, frame.top - np.array([0.0, 0.0, 1.0]) / frame.k
    e, n = (v / crs_m for v in ((x, y) if frame.axes is None else frame.axes.world(x, y)))
    return [float(v) for v in (e[1] - e[0], e[2] - e[0], e[0], n[1] - n[0], n[2] - n[0], n[0])]
