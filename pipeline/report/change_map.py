"""The map of a change: orange lost and hatched, violet gained and dotted, grey where nothing was detected."""

from __future__ import annotations

from typing import Sequence

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.report import palette
from pipeline.report.figures import Units, figure
from pipeline.report.field_map import foot, frame_of, furniture, ground
from pipeline.report.raster import laid
from pipeline.report.svg import Frame, el, picture, words

FINE = 3  # picture cells to a field cell: hatching finer than a cell
HATCH, DOTS = 12, 9  # picture cells between lines, between dots
TOP_PCT, LEAST_TOP_M = 98.0, 0.010  # the darkest shade: what all but 2 % of the detected cells stay below
SEGMENT_M = 2.5  # half a segment of lip_change
APART = 17.0  # drawing units between two labels that would lie on one another


def change_map(
    layout: Layout, edges: Sequence[Edge], change: np.ndarray, detected: np.ndarray, zones: Sequence[dict],
    lip_change: Sequence[dict], units: Units, title: str, about: str, north_word: str,
) -> tuple[str, float]:  # fmt: skip
    """The drawing, and the change at its darkest shade, m.

    change     : later minus earlier, (ny, nx), m; NaN where either date has none
    detected   : 1 gained, -1 lost, 0 not, -128 no data
    zones      : rows of change.csv of this pair: each detected one carries its signed figure
    lip_change : rows of lip_change.csv of this pair
    """
    frame = frame_of(layout)
    rgba, top = coloured(change, detected, layout.grid.mask(layout.skin))
    image = laid(frame, rgba, layout.grid, layout.grid.cell_m / FINE)
    inner = ground(layout, frame, edges) + image + furniture(layout, frame)
    inner += _grown(frame, edges, lip_change) + _labels(layout, frame, zones, units) + foot(frame, units, north_word)
    return picture(frame.width, frame.height, "change-map", title, about, inner, "map"), top


def coloured(change: np.ndarray, detected: np.ndarray, skin: np.ndarray) -> tuple[np.ndarray, float]:
    """Colours of the cells, (FINE ny, FINE nx, 4) uint8, and the change at the darkest shade, m."""
    moved = (detected == 1) | (detected == -1)
    size = np.abs(change[moved & np.isfinite(change)])
    top = max(float(np.percentile(size, TOP_PCT)), LEAST_TOP_M) if len(size) else LEAST_TOP_M
    share = np.clip(np.nan_to_num(np.abs(change)) / top, 0, 1)
    small = np.zeros((*change.shape, 4), np.uint8)
    small[(detected == 0) & skin] = (*palette.rgb(palette.STILL), 255)
    small[skin & (detected == -128)] = (*palette.rgb(palette.GROUND), 255)
    for way, colours in ((-1, palette.LOST), (1, palette.GAINED)):
        table = np.array([(*palette.ramp(colours, k / 255), 255) for k in range(256)], np.uint8)
        cells = detected == way
        small[cells] = table[np.round(share[cells] * 255).astype(int)]
    big = small.repeat(FINE, axis=0).repeat(FINE, axis=1)
    rows, cols = np.ogrid[: big.shape[0], : big.shape[1]]
    hatch = (rows + cols) % HATCH < 2
    dots = ((rows % DOTS) < 3) & (((cols + (rows // DOTS % 2) * (DOTS // 2)) % DOTS) < 3)
    for way, sign, colours in ((-1, hatch, palette.LOST), (1, dots, palette.GAINED)):
        where = (detected == way).repeat(FINE, axis=0).repeat(FINE, axis=1) & sign
        pale = share.repeat(FINE, axis=0).repeat(FINE, axis=1) < 0.7
        big[where & pale] = (*palette.rgb(colours[-1]), 255)
        big[where & ~pale] = (*palette.rgb(colours[0]), 255)
    return big, top


def _grown(frame: Frame, edges: Sequence[Edge], rows: Sequence[dict]) -> str:
    """Segments of edge whose lip grew or came down, as broad strokes in the grass."""
    lines = {e.edge_id: e for e in edges}
    out = []
    for row in rows:
        edge = lines.get(row["edge_id"])
        if edge is None or not row["detected"] or row["station_m"] is None:
            continue
        s = np.linspace(max(row["station_m"] - SEGMENT_M, 0), min(row["station_m"] + SEGMENT_M, edge.length_m), 12)
        out.append(el("path", d=frame.run(*edge.at(s, 0.35)), class_="grew" if row["growth_mm"] > 0 else "fell"))
    return "".join(out)


def _labels(layout: Layout, frame: Frame, zones: Sequence[dict], units: Units) -> str:
    """The signed figure of each detected zone, the skin's in the middle; moved apart where they would touch."""
    placed: list[tuple[float, float]] = []
    out = []
    rows = [r for r in zones if r["detected"] and r["zone"] in layout.zones]
    for row in sorted(rows, key=lambda r: (r["zone"] != "skin", r["zone"])):
        if row["zone"] == "skin":
            x, y = (float(v) for v in frame.xy(*layout.centre))
        else:
            at = layout.zones[row["zone"]].centroid
            x, y = (float(v) for v in frame.xy(at.x, at.y))
            out.append(el("path", d=frame.path(layout.zones[row["zone"]]), class_="zone"))
            y += 0.9 * frame.k + 15
        while any(abs(y - b) < APART and abs(x - a) < 120 for a, b in placed):
            y += APART
        placed.append((x, y))
        text = figure(row["mean_mm"], row["mean_sigma_mm"], units.height, signed=True)
        out.append(words(x, y, text, class_="figure", text_anchor="middle"))
    return "".join(out)
