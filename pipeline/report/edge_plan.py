"""The plan that is the key to the edges unrolled: each edge by the height of its lip, with the distances along it that the charts carry."""

from __future__ import annotations

import math
from typing import Sequence

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.report.field_map import Mark, drawn_edges, drawn_marks, foot, furniture, ground, lip_steps
from pipeline.report.figures import NBSP, Unit, Units
from pipeline.report.findings import Limits
from pipeline.report.svg import Frame, el, picture, words

EVERY = {"ft": (10, 20, 50, 100), "m": (5, 10, 20, 50)}  # between two marks along an edge, in the reader's unit
USUAL = 1  # of EVERY: twenty feet, ten metres
SHORT, MOST = 2.0, 14  # an edge of fewer usual steps takes the finer one, one of more marks a coarser one
MARGIN_M, FOOT = 4.4, 54.0
TICK_M, FIGURE_M, NAME_M = 0.9, 2.1, -1.9  # from the edge into the grass, and into the skin
LETTER, ROOM = 11.0, 1.05  # drawing units of a letter of a name, and how much longer than its name an edge must be
CURLED = 0.85  # of the way along the middle half of an edge: what its ends lie apart where it turns back on itself
LINE = 17.0  # drawing units of a line of figures
CLEAR_M = 3.5  # of a closed edge's end: a figure there would lie on the first


def marked_stations(length_m: float, unit: Unit) -> list[tuple[float, str]]:
    """Stations (m) and labels that both the plan and the charts of an edge carry: every 20 ft or 10 m, from its beginning on."""
    steps = EVERY[unit.name]
    long = length_m / unit.size
    step = steps[0] if long < SHORT * steps[USUAL] else next((s for s in steps[USUAL:] if long / s < MOST), steps[-1])
    return [(k * step * unit.size, f"{k * step}" if k else f"0{NBSP}{unit.name}") for k in range(int(long / step + 1e-9) + 1)]


def edge_plan(
    layout: Layout, edges: Sequence[Edge], lip: Sequence[dict], marks: Sequence[Mark], limits: Limits, units: Units,
    names: Sequence[tuple[Edge, str]], title: str, about: str, north_word: str,
) -> str:  # fmt: skip
    """The drawing.

    lip   : rows of lip.csv of the newest survey
    marks : of edges, worst first
    names : the edges that are drawn out below, with their names
    """
    shapes = [layout.skin, *(e.line for e in edges)]
    frame = Frame.around(layout.axes, shapes, MARGIN_M, FOOT)
    inner = ground(layout, frame, edges) + furniture(layout, frame, slabs=False) + drawn_edges(frame, edges, lip, lip_steps(limits))
    inner += _stations([e for e, _ in names], frame, units)
    for edge, name in names:
        inner += _name(edge, name, frame)
    inner += drawn_marks(frame, marks) + foot(frame, units, north_word)
    return picture(frame.width, frame.height, "edge-plan", title, about, inner, "map edge-plan")


def _stations(edges: Sequence[Edge], frame: Frame, units: Units) -> str:
    """A tick at each station, and its figure where none lies already: where two edges meet, the beginning of a tape comes first."""
    out, wanted, set_down = "", [], []
    for edge in edges:
        for s, label in marked_stations(edge.length_m, units.length):
            if edge.closed and edge.length_m - s < CLEAR_M:
                continue
            at = np.array(min(s, edge.length_m))
            (x0, y0), (x1, y1), (x2, y2) = ((float(v) for v in frame.xy(*edge.at(at, d))) for d in (0.0, TICK_M, FIGURE_M))
            out += el("path", d=f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}", class_="station")
            wanted.append((s > 0, x2, y2, label))
    for _, x, y, label in sorted(wanted, key=lambda w: w[0]):
        if all(abs(x - p) > LETTER * (len(label) + len(other)) / 2 or abs(y - q) > LINE for p, q, other in set_down):
            set_down.append((x, y, label))
            out += words(round(x, 1), round(y + 5.5, 1), label, class_="station-no", text_anchor="middle")
    return out


def _name(edge: Edge, name: str, frame: Frame) -> str:
    """Along the middle of the edge, in the skin; of one that is shorter than its name, or curls about it, level with the page, in the grass."""
    middle, ahead = edge.length_m / 2, min(2.0, edge.length_m / 4)
    half_way = np.hypot(*np.diff(frame.xy(*edge.at(np.array([edge.length_m / 4, 3 * edge.length_m / 4])))).ravel()) / (frame.k * edge.length_m / 2)
    needed = ROOM * LETTER * len(name) * (2 if half_way < CURLED else 1)
    if edge.length_m * frame.k < needed:
        x, y = (float(v) for v in frame.xy(*edge.at(np.array(middle), 2 * FIGURE_M)))
        half = LETTER * len(name) / 2
        x = min(max(x, half), frame.width - half)
        return words(round(x, 1), round(y + 6.0, 1), name, class_="edge-name", text_anchor="middle")
    x, y = (float(v) for v in frame.xy(*edge.at(np.array(middle), NAME_M)))
    (x0, x1), (y0, y1) = frame.xy(*edge.at(np.array([middle - ahead, middle + ahead])))
    turn = math.degrees(math.atan2(float(y1 - y0), float(x1 - x0)))
    turn -= 180.0 * round(turn / 180.0)  # never upside down
    return words(0.0, 6.0, name, class_="edge-name", text_anchor="middle", transform=f"translate({x:.1f} {y:.1f}) rotate({turn:.1f})")
