"""The map of one field on its date: shape of the skin, low spots by number, edges by the height of their lip."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from typing import Mapping, NamedTuple, Sequence

import numpy as np
from shapely import Geometry, from_wkt

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.report import palette
from pipeline.report.figures import Units
from pipeline.report.findings import LOW_SKIN, Limits
from pipeline.report.raster import coarser, laid
from pipeline.report.relief import contour_step_mm, contours, shade, smoothed
from pipeline.report.svg import Frame, el, north, picture, scale_bar, words
from pipeline.surface.verdict import UNKNOWN, WORK

MARGIN_M, FOOT = 1.8, 54.0
STEPS_MM = (10.0, 20.0, 30.0)  # lip classes where the owner set no tolerance
WIDTHS = (3.0, 4.5, 6.0, 7.5)  # drawn width of an edge by class: grows with the height, for eyes and print without colour
HALF_STATION_M = 0.5
KEY = "K"  # before the number of what no blade may touch, so that it is not read as a low spot's
APART, TRIES = 31.0, 12  # drawing units between the middles of two marks, also where a narrow screen draws them larger


@dataclass(frozen=True)
class Mark:
    """A numbered or lettered place: key as printed, centre, and the verdict's word."""

    key: str
    e: float
    n: float
    word: str


def frame_of(layout: Layout) -> Frame:
    """The frame that all maps of a field share."""
    shapes = [layout.skin, *(e.line for e in layout.edges), *(p.polygon for p in layout.patches)]
    return Frame.around(layout.axes, shapes, MARGIN_M, FOOT)


def lip_steps(limits: Limits) -> tuple[float, float, float]:
    """Where the lip's shades change, mm: half the tolerance, the tolerance, the trip limit; else fixed heights."""
    if limits.lip is None:
        return STEPS_MM
    return limits.lip / 2, limits.lip, limits.lip_trip if limits.lip_trip is not None else 2 * limits.lip


def lip_class(height_mm: float, steps: Sequence[float]) -> int:
    """0 lowest to 3 highest."""
    return int(np.searchsorted(steps, height_mm, side="right"))


def field_map(
    layout: Layout, edges: Sequence[Edge], z: np.ndarray | None, lip: Sequence[dict], marks: Sequence[Mark], limits: Limits,
    units: Units, cell_m: float, title: str, about: str, north_word: str, weeds: Sequence[Geometry] = (), keep_outs: Sequence[Mapping] = (),
) -> tuple[str, float | None]:  # fmt: skip
    """The drawing, and the step between its contour lines in mm (None without heights).

    z   : elevation, (ny, nx), m; NaN where nothing was measured; None where there is no survey
    lip : rows of lip.csv of this survey
    marks : worst first
    weeds : patches of plants on the skin
    keep_outs : what no blade may touch, numbered as in its table; hidden until the page's reader asks for it
    """
    frame = frame_of(layout)
    inner, step_mm = ground(layout, frame, edges), None
    if z is not None:
        relief, step_mm = _relief(layout, frame, z, units.system, cell_m)
        inner += relief
    inner += "".join(el("path", d=frame.path(w), class_="weeds", fill_rule="evenodd") for w in weeds)
    inner += furniture(layout, frame) + drawn_edges(frame, edges, lip, lip_steps(limits))
    if keep_outs:
        inner += el("g", kept_free(frame, keep_outs) + _things(frame, keep_outs), class_="keep-outs")
    inner += drawn_marks(frame, marks) + foot(frame, units, north_word)
    return picture(frame.width, frame.height, "field-map", title, about, inner, "map"), step_mm


def ground(layout: Layout, frame: Frame, edges: Sequence[Edge]) -> str:
    """Paper, skin and grass lines, without any measurement."""
    back = el("rect", x=0, y=0, width=frame.width, height=round(frame.height, 1), class_="ground")
    skin = el("path", d=frame.path(layout.skin), class_="skin", fill_rule="evenodd")
    return back + skin + "".join(el("path", d=frame.path(e.line), class_="edge-line") for e in edges)


def kept_free(frame: Frame, keep_outs: Sequence[Mapping]) -> str:
    """All ground that no blade may touch, whole: of a cable its strip, not its ends."""
    shapes = dict.fromkeys(k["kept_free"] for k in keep_outs)
    return "".join(el("path", d=frame.path(from_wkt(shape)), class_="off") for shape in shapes)


def cleared(layout: Layout, edges: Sequence[Edge], keep_outs: Sequence[Mapping]) -> tuple[Frame, str]:
    """The frame of a field and the plan that work is drawn on: skin, what is kept free of any blade, bases and plates."""
    frame = frame_of(layout)
    return frame, ground(layout, frame, edges) + kept_free(frame, keep_outs) + furniture(layout, frame)


def numbered(frame: Frame, keep_outs: Sequence[Mapping]) -> str:
    """Marks of what is kept off, numbered as in its table: full where found this season."""
    return drawn_marks(frame, [Mark(str(k), r["e"], r["n"], WORK if r["found"] else UNKNOWN) for k, r in enumerate(keep_outs, start=1)])


def _things(frame: Frame, keep_outs: Sequence[Mapping]) -> str:
    """Each thing with its number: a square where it was found this season, an open one where not."""
    out = ""
    for k, r in enumerate(keep_outs, start=1):
        x, y = (float(v) for v in frame.xy(r["e"], r["n"]))
        out += el("rect", x=round(x - 3.5, 1), y=round(y - 3.5, 1), width=7, height=7, class_="thing" if r["found"] else "thing lost")
        out += words(round(x + 7, 1), round(y - 4, 1), f"{KEY}{k}", class_="thing-no")
    return out


def furniture(layout: Layout, frame: Frame, slabs: bool = True) -> str:
    """Bases, plates, mound, and stable ground beside the skin unless `slabs` is false."""
    patches = [p for p in layout.patches if slabs or p.kind != "drawn"]
    out = [el("path", d=frame.path(p.polygon), class_="stable" if p.kind == "drawn" else "plate") for p in patches]
    if layout.mound is not None:
        x, y = frame.xy(layout.mound.e, layout.mound.n)
        out.append(el("circle", cx=float(x), cy=float(y), r=layout.mound.radius_m * frame.k, class_="mound"))
    for name, (e, n) in sorted(layout.anchors.items()):
        if name.split("-")[0] == "home":
            continue
        x, y = frame.xy(e, n)
        half = 0.38 * frame.k
        turn = 45 if layout.axes is not None else 0
        out.append(el("rect", x=-half / 2, y=-half / 2, width=half, height=half, class_="base",
                      transform=f"translate({float(x):.1f} {float(y):.1f}) rotate({turn})"))  # fmt: skip
    return "".join(out)


def foot(frame: Frame, units: Units, north_word: str) -> str:
    """Scale bar and north."""
    y = frame.height - 32
    return scale_bar(frame, units.length.size, units.length.name, 16.0, y) + north(frame, frame.width - 30, frame.height - 40, north_word)


def _relief(layout: Layout, frame: Frame, z: np.ndarray, system: str, cell_m: float) -> tuple[str, float]:
    grid, mask = layout.grid, layout.grid.mask(layout.skin)
    mean, share, side = coarser(np.where(mask, z, np.nan), grid, cell_m)
    even = smoothed(mean, side)
    rgba = shade(even, side, 0.0 if layout.axes is None else np.degrees(layout.axes.bearing_rad))
    # A hole stays a hole: skin that was mostly not measured is covered with the colour of the paper.
    skin_share = coarser(np.where(mask, 1.0, np.nan), grid, cell_m)[1]
    rgba[(skin_share > 0) & (share < skin_share / 2)] = (*palette.rgb(palette.GROUND), 255)
    image = laid(frame, rgba, grid, side, None)
    step_mm = contour_step_mm(even, system)
    lines = contours(even, grid.west, grid.north, side, step_mm / 1000)
    d = "".join(frame.run(line[:, 0], line[:, 1]) for line in lines)
    return image + el("path", d=d, class_="contour"), step_mm


def drawn_edges(frame: Frame, edges: Sequence[Edge], lip: Sequence[dict], steps: Sequence[float]) -> str:
    """Each metre of edge in the shade of its height; consecutive ones alike as one line."""
    out = []
    for edge in edges:
        for seen, first, last in lookalikes([r for r in lip if r["edge_id"] == edge.edge_id], steps, edge.length_m):
            s = np.clip(np.linspace(first - HALF_STATION_M, last + HALF_STATION_M, max(int(4 * (last - first + 1)), 2)), 0, edge.length_m)
            d = frame.run(*edge.at(s))
            width = WIDTHS[seen.level]
            if seen.sure and seen.level > 0:
                out.append(el("path", d=d, class_="casing", stroke_width=width + 2))
            out.append(el("path", d=d, class_="lip" if seen.sure else "lip unsure", stroke=palette.LIP[seen.level], stroke_width=width))
            if seen.low_skin:
                out.append(el("path", d=_combs(frame, edge, first, last), class_="comb"))
    return "".join(out)


class Look(NamedTuple):
    """How a station of an edge is drawn. level: 0 lowest to 3 highest; sure: its kind is known; low_skin: the skin is what stands low."""

    level: int
    sure: bool
    low_skin: bool


def lookalikes(rows: Sequence[dict], steps: Sequence[float], length_m: float) -> list[tuple[Look, float, float]]:
    """Look, first and last station (m) of each run of one edge that looks alike; of a walk, which gives the mean only, all of the edge."""
    runs: list[tuple[Look, float, float]] = []
    stations = sorted((r for r in rows if r["station_m"] is not None), key=lambda r: r["station_m"])
    for row in stations:
        seen = look(row, steps)
        if seen is not None and runs and runs[-1][0] == seen and row["station_m"] - runs[-1][2] < 1.5:
            runs[-1] = (seen, runs[-1][1], row["station_m"])
        elif seen is not None:
            runs.append((seen, row["station_m"], row["station_m"]))
    if not stations and rows and (seen := look(rows[0], steps)) is not None:
        runs.append((seen, HALF_STATION_M, length_m - HALF_STATION_M))
    return runs


def look(row: dict, steps: Sequence[float]) -> Look | None:
    """Of a row of lip.csv; None where nothing was told."""
    if row["height_mm"] is None:
        return None
    return Look(lip_class(row["height_mm"], steps), row["kind"] != UNKNOWN, row["kind"] == LOW_SKIN)


def _combs(frame: Frame, edge: Edge, first: float, last: float) -> str:
    """Short strokes from the edge into the skin: the skin is what stands low."""
    s = np.arange(first, last + 0.01, 1.0)
    x0, y0 = frame.xy(*edge.at(s))
    x1, y1 = frame.xy(*edge.at(s, -0.55))
    return "".join(f"M{a:.1f} {b:.1f}L{c:.1f} {d:.1f}" for a, b, c, d in zip(x0, y0, x1, y1))


def spread(places: Sequence[tuple[float, float]], width: float, height: float) -> list[tuple[float, float]]:
    """Where marks are drawn so that none hides another: the first stay, a later one moves off the nearest, inside the drawing."""
    out: list[tuple[float, float]] = []
    for x, y in places:
        for _ in range(TRIES):
            near = min(out, key=lambda p: math.hypot(x - p[0], y - p[1]), default=None)
            away = math.inf if near is None else math.hypot(x - near[0], y - near[1])
            if away >= APART:
                break
            dx, dy = ((x - near[0]) / away, (y - near[1]) / away) if away > 0.1 else (0.0, 1.0)
            x, y = near[0] + dx * (APART + 0.5), near[1] + dy * (APART + 0.5)
            x, y = min(max(x, APART / 2), width - APART / 2), min(max(y, APART / 2), height - APART / 2)
        out.append((x, y))
    return out


def drawn_marks(frame: Frame, marks: Sequence[Mark]) -> str:
    """The marks, the worst on top; one that had to move keeps a line to its place."""
    true = [tuple(float(v) for v in frame.xy(m.e, m.n)) for m in marks]
    out = []
    for mark, (x0, y0), (x, y) in zip(marks, true, spread(true, frame.width, frame.height)):
        line = el("path", d=f"M{x0:.1f} {y0:.1f}L{x:.1f} {y:.1f}", class_="lead-line") if math.hypot(x - x0, y - y0) > 1 else ""
        out.append(line + _mark(x, y, mark))
    return "".join(out[::-1])


def _mark(x: float, y: float, mark: Mark) -> str:
    body = el("circle", cx=0, cy=0, r=10.5) + el("text", escape(mark.key), x=0, y=4.6, text_anchor="middle")
    return el("g", el("g", body, class_=f"mark {mark.word.replace('_', '-')}"), transform=f"translate({x:.1f} {y:.1f})")

