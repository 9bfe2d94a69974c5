"""A plan as DXF, through a general open library: named layers of triangles, lines, outlines and points.

The library stamps clock and random numbers into a file; here the day of the survey stands in their place, so that the same plan
gives the same bytes.
"""

from __future__ import annotations

import datetime as dt
import io
import re
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Iterator, Sequence

import numpy as np

from pipeline.store.atomic import write_text

UNIT_CODES = {"m": 6, "ft": 2, "us-ft": 21}  # $INSUNITS
PLACES = 4
BLACK_OR_WHITE, GREY = 7, 8  # the format's numbers of colours: readable on paper of any ground
STROKES = {"solid": "CONTINUOUS", "dashed": "DASHED", "dotted": "DOT"}
TEXT_M = 0.25  # height of letters
JULIAN_1970 = 2440587.5  # Julian date of 1970-01-01


@dataclass
class Plan:
    """What goes on one drawing, in its own unit: easting, northing, height.

    faces  : layer -> (f, 3, 3) corners of triangles
    lines  : layer -> (k, 3) corners each, all of one height drawn as one level line
    rings  : layer -> (k, 2) corners of closed outlines
    points : layer -> (label, easting, northing, height)
    notes  : lines of text beside the plan
    strokes : layer -> solid, dashed or dotted; solid where nothing is said
    """

    faces: dict[str, np.ndarray] = field(default_factory=dict)
    lines: dict[str, list[np.ndarray]] = field(default_factory=dict)
    rings: dict[str, list[np.ndarray]] = field(default_factory=dict)
    points: dict[str, list[tuple[str, float, float, float]]] = field(default_factory=dict)
    notes: Sequence[str] = ()
    strokes: dict[str, str] = field(default_factory=dict)


def write(path: str | Path, plan: Plan, unit: str, unit_m: float, day: str) -> None:
    """One drawing. unit : `m`, `ft` or `us-ft`; unit_m : metres in one; day : ISO date stamped into it."""
    with _no_clock():
        write_text(path, _text(_drawn(plan, unit, unit_m), day))


def _drawn(plan: Plan, unit: str, unit_m: float):
    import ezdxf

    drawing = ezdxf.new("R2010", setup=["linetypes"])
    drawing.header["$INSUNITS"] = UNIT_CODES[unit]
    drawing.header["$MEASUREMENT"] = 1 if unit == "m" else 0
    drawing.header["$LTSCALE"] = 0.3 / unit_m
    space, letters = drawing.modelspace(), round(TEXT_M / unit_m, PLACES)
    for name in sorted({*plan.faces, *plan.lines, *plan.rings, *plan.points, *(["notes"] if plan.notes else [])}):
        drawing.layers.add(name, color=GREY if name in plan.faces else BLACK_OR_WHITE, linetype=STROKES[plan.strokes.get(name, "solid")])
    for name, faces in sorted(plan.faces.items()):
        for corners in np.round(faces, PLACES).tolist():
            space.add_3dface(corners, dxfattribs={"layer": name})
    for name, lines in sorted(plan.lines.items()):
        for line in lines:
            _line(space, name, np.round(line, PLACES))
    for name, rings in sorted(plan.rings.items()):
        for ring in rings:
            space.add_lwpolyline(np.round(ring[:-1], PLACES).tolist(), close=True, dxfattribs={"layer": name})
    for name, points in sorted(plan.points.items()):
        for label, e, n, z in points:
            at = tuple(round(v, PLACES) for v in (e, n, z))
            space.add_point(at, dxfattribs={"layer": name})
            space.add_text(_one_line(label), height=letters, dxfattribs={"layer": name, "insert": (round(e + letters / 2, PLACES), at[1], at[2])})
    _notes(space, plan, letters)
    return drawing


def _line(space, layer: str, line: np.ndarray) -> None:
    """A level line where the height is one, else a line in space."""
    if (line[:, 2] == line[0, 2]).all():
        space.add_lwpolyline(line[:, :2].tolist(), dxfattribs={"layer": layer, "elevation": float(line[0, 2])})
    else:
        space.add_polyline3d(line.tolist(), dxfattribs={"layer": layer})


def _notes(space, plan: Plan, letters: float) -> None:
    """Lines of text under the south-west corner of the outlines and triangles."""
    ends = [v.reshape(-1, v.shape[-1])[:, :2] for v in (*plan.faces.values(), *(r for rings in plan.rings.values() for r in rings)) if len(v)]
    if not plan.notes or not ends:
        return
    west, south = np.vstack(ends).min(axis=0)
    for k, text in enumerate(plan.notes):
        at = (round(float(west), PLACES), round(float(south) - (3 + 2 * k) * letters, PLACES))
        space.add_text(_one_line(text), height=letters, dxfattribs={"layer": "notes", "insert": at})


def _one_line(text: str) -> str:
    return " ".join(str(text).split())


@contextmanager
def _no_clock() -> Iterator[None]:
    """The library's own way to write fixed numbers and dates where it would draw or look them up."""
    from ezdxf import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _text(drawing, day: str) -> str:
    """The drawing as text, with the day where the library puts a date."""
    for name in sorted(drawing.entitydb.dxf_types_in_use()):  # the library goes through a set: its order is another in each run
        drawing.classes.add_class(name)
    stream = io.StringIO()
    drawing.write(stream)
    julian = JULIAN_1970 + (dt.date.fromisoformat(day) - dt.date(1970, 1, 1)).days
    return re.sub(r"(\$TDU?(?:CREATE|UPDATE)\n *40\n)[^\n]+", rf"\g<1>{julian}", stream.getvalue())
