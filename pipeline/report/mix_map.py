"""The map of the mix: its depth by shades, hatched where it is surely thin, the cores with what they read."""

from __future__ import annotations

from typing import Sequence

import numpy as np
from scipy.special import ndtr

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.report import palette
from pipeline.report.change_map import FINE, HATCH
from pipeline.report.field_map import foot, frame_of, furniture, ground
from pipeline.report.figures import Units, printed
from pipeline.report.raster import coarser, laid
from pipeline.report.svg import Frame, el, picture, words
from pipeline.surface.verdict import SURE

SHARES = (0.75, 1.0, 1.25)  # of the owner's least depth: where the shades change
STEPS_MM = (50.0, 75.0, 100.0)  # where the owner set none
SIDE_M = 0.25


def steps_mm(least_mm: float | None) -> tuple[float, float, float]:
    """Where the shades change, mm."""
    return STEPS_MM if least_mm is None else tuple(s * least_mm for s in SHARES)


def mix_map(
    layout: Layout, edges: Sequence[Edge], depth: np.ndarray | None, sigma: np.ndarray | None, least_mm: float | None,
    cores: Sequence[dict], wanted: Sequence[tuple[float, float]], units: Units, title: str, about: str, north_word: str,
) -> str:  # fmt: skip
    """The drawing.

    depth, sigma : (ny, nx), m; NaN where no core speaks; None: nothing is known
    cores  : those that speak, with e, n, depth_mm
    wanted : eastings and northings of places to take a core, numbered from 1
    """
    frame = frame_of(layout)
    inner = ground(layout, frame, edges)
    if depth is not None and sigma is not None and np.isfinite(depth).any():
        inner += _shades(layout, frame, depth, sigma, least_mm)
    inner += furniture(layout, frame) + "".join(_core(frame, c, units) for c in cores)
    inner += "".join(_wanted(frame, k, e, n) for k, (e, n) in enumerate(wanted, start=1)) + foot(frame, units, north_word)
    return picture(frame.width, frame.height, "mix-map", title, about, inner, "map")


def _shades(layout: Layout, frame: Frame, depth: np.ndarray, sigma: np.ndarray, least_mm: float | None) -> str:
    mean, _, side = coarser(depth, layout.grid, SIDE_M)
    spread = coarser(sigma, layout.grid, SIDE_M)[0]
    held = np.isfinite(mean)
    small = np.zeros((*mean.shape, 4), np.uint8)
    shade = np.searchsorted(steps_mm(least_mm), np.where(held, mean, 0.0) * 1000, side="right")
    small[held] = np.array([(*palette.rgb(c), 255) for c in palette.MIX], np.uint8)[shade[held]]
    big = small.repeat(FINE, axis=0).repeat(FINE, axis=1)
    if least_mm is not None:
        with np.errstate(invalid="ignore"):
            thin = held & (ndtr((least_mm / 1000 - mean) / spread) >= SURE)
        rows, cols = np.ogrid[: big.shape[0], : big.shape[1]]
        big[thin.repeat(FINE, axis=0).repeat(FINE, axis=1) & ((rows + cols) % HATCH < 2)] = (*palette.rgb(palette.INK), 255)
    return laid(frame, big, layout.grid, side / FINE)


def _core(frame: Frame, core: dict, units: Units) -> str:
    x, y = (float(v) for v in frame.xy(core["e"], core["n"]))
    figure = printed(core["depth_mm"] / units.height.size, min(units.height.finest, 1))
    return el("circle", cx=x, cy=y, r=4.0, class_="core") + words(x, y - 8.0, figure, class_="figure", text_anchor="middle")


def _wanted(frame: Frame, number: int, e: float, n: float) -> str:
    x, y = (float(v) for v in frame.xy(e, n))
    return el("rect", x=x - 10.0, y=y - 10.0, width=20.0, height=20.0, class_="core-wanted") + words(x, y + 4.6, str(number), text_anchor="middle", class_="small")
