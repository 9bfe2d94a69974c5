"""The map of standing water: darker is deeper, where each pool spills, and the main paths water runs along."""

from __future__ import annotations

import math
from typing import Sequence

import numpy as np
from scipy.ndimage import uniform_filter1d

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.frame import Grid
from pipeline.report import palette
from pipeline.report.field_map import APART, foot, frame_of, furniture, ground, spread
from pipeline.report.figures import Units
from pipeline.report.raster import laid
from pipeline.report.svg import Frame, el, picture, words

STEPS_MM = (10.0, 20.0)  # where the shades change
SURE_SHARE = 0.8  # of noisy surfaces that leave a path where it is: below, it is dashed
WET_M = 0.0005
ARROW, RUNS = 9.0, 12  # size of an arrow, drawing units; cells of a path drawn alike at least


def water_map(
    layout: Layout, edges: Sequence[Edge], depth: np.ndarray, paths: Sequence[dict], pools: Sequence[tuple[str, dict]], units: Units, title: str,
    about: str, north_word: str,
) -> str:  # fmt: skip
    """The drawing.

    depth : of water, (ny, nx), m; 0 where dry, NaN where nothing was measured
    paths : of each e, n (m, downhill) and the share of noisy surfaces that leave it there
    pools : key as printed and row of low_spots.csv, deepest first
    """
    frame, grid = frame_of(layout), layout.grid
    rgba = shaded(depth, layout.grid.mask(layout.skin))
    image = laid(frame, rgba, grid, grid.cell_m)
    inner = ground(layout, frame, edges) + image + furniture(layout, frame) + "".join(_path(frame, p, _wet(depth, grid, p)) for p in paths)
    inner += _pools(frame, pools) + foot(frame, units, north_word)
    return picture(frame.width, frame.height, "water-map", title, about, inner, "map")


def shaded(depth: np.ndarray, skin: np.ndarray) -> np.ndarray:
    """Colours of the cells, (ny, nx, 4) uint8: a step darker at each of STEPS_MM, paper where the skin was not measured."""
    out = np.zeros((*depth.shape, 4), np.uint8)
    wet = np.nan_to_num(depth) > WET_M
    step = np.searchsorted(STEPS_MM, 1000 * np.nan_to_num(depth), side="right")
    table = np.array([(*palette.rgb(c), 255) for c in palette.WATER], np.uint8)
    out[wet] = table[step[wet]]
    out[skin & np.isnan(depth)] = (*palette.rgb(palette.GROUND), 255)
    return out


def _wet(depth: np.ndarray, grid: Grid, path: dict) -> np.ndarray:
    """Which places of a path lie under water: there it has no line of its own."""
    row, col = grid.rows_cols(np.array(path["e"]), np.array(path["n"]))
    return np.nan_to_num(depth[row, col]) > WET_M


def _path(frame: Frame, path: dict, wet: np.ndarray) -> str:
    """A path in pieces, dashed where noise could move it, none under water, an arrow at its end."""
    e, n, share = (np.array(path[k], float) for k in ("e", "n", "share"))
    if len(e) < 2:
        return ""
    sure = uniform_filter1d(share, RUNS, mode="nearest") >= SURE_SHARE
    look = np.where(wet, -1, sure)
    ends = np.flatnonzero(np.diff(look)) + 1
    out = []
    for a, b in zip([0, *ends], [*ends, len(e)]):
        piece = np.s_[a : min(b + 1, len(e))]
        if look[a] >= 0 and min(b + 1, len(e)) - a > 1:
            out.append(el("path", d=frame.run(e[piece], n[piece]), class_="runs" if look[a] else "runs unsure"))
    x, y = frame.xy(e[[max(len(e) - 6, 0), -1]], n[[max(len(n) - 6, 0), -1]])
    turn = math.degrees(math.atan2(y[1] - y[0], x[1] - x[0]))
    head = el("path", d=f"M{-ARROW} {-ARROW / 2}L0 0L{-ARROW} {ARROW / 2}", class_="runs", transform=f"translate({x[1]:.1f} {y[1]:.1f}) rotate({turn:.0f})")
    return "".join(out) + head


def _pools(frame: Frame, pools: Sequence[tuple[str, dict]]) -> str:
    """Where each pool spills, and its key beside its middle."""
    at = [tuple(float(v) for v in frame.xy(r["e"], r["n"])) for _, r in pools]
    pours = [tuple(float(v) for v in frame.xy(r["pour_e"], r["pour_n"])) for _, r in pools]
    out = [el("path", d=f"M{x - 6:.1f} {y - 5:.1f}H{x + 6:.1f}L{x:.1f} {y + 6:.1f}Z", class_="pour") for x, y in pours]
    for (key, _), (x0, y0), (x, y) in zip(pools, at, spread([(x + APART * 0.6, y - APART * 0.6) for x, y in at], frame.width, frame.height)):
        line = el("path", d=f"M{x0:.1f} {y0:.1f}L{x:.1f} {y:.1f}", class_="lead-line thin")
        out.append(line + words(x, y - 2, key, class_="figure", text_anchor="middle"))
    return "".join(out)
