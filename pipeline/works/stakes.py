"""Where a design is staked out: on a lattice, at the bases, in each low spot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
import shapely

from pipeline.diamond.axes import Axes
from pipeline.diamond.layout import Layout
from pipeline.works.design import TOUCH_UP, Design
from pipeline.works.grading.touch_up import Hollow
from pipeline.works.keep_outs import KeepOut

REACH_CELLS = 2  # a base's plug hides its cells: the nearest designed cell so near stands for it


@dataclass(frozen=True)
class Stake:
    """One point: number from 1, place (m), heights (m, working frame), what it is, whether it lies where no blade may go, and how
    far it stands from the middle of its low spot, m."""

    point: int
    e: float
    n: float
    existing_m: float
    design_m: float
    description: str
    by_hand: bool
    away_m: float = 0.0

    @property
    def fill_m(self) -> float:
        return max(self.design_m - self.existing_m, 0.0)

    @property
    def cut_m(self) -> float:
        return max(self.existing_m - self.design_m, 0.0)

    def plain(self) -> dict:
        """All of it by name, cut and fill with it."""
        return {**vars(self), "cut_m": self.cut_m, "fill_m": self.fill_m}


def sides(axes: Axes | None) -> tuple[tuple[str, float, float], ...]:
    """Four ways to go from a spot, as people on the field say them, each with its unit vector; by the compass where home is not known."""
    if axes is None:
        return ("north side", 0.0, 1.0), ("east side", 1.0, 0.0), ("south side", 0.0, -1.0), ("west side", -1.0, 0.0)
    s, c = float(np.sin(axes.bearing_rad)), float(np.cos(axes.bearing_rad))
    return ("outfield side", s, c), ("first-base side", c, -s), ("home side", -s, -c), ("third-base side", -c, s)


def stakes(design: Design, layout: Layout, hollows: Sequence[Hollow], keep_outs: Sequence[KeepOut], every_m: float) -> list[Stake]:
    """Stakes of a design, numbered in the order: bases, low spots (middle and four around), lattice from the south-west by rows.

    every_m : between lattice points, fixed to the working CRS so that the same field keeps its points; a design that only fills
              low spots has none
    """
    staked = {h.name for h in hollows}  # their middles stand for the bases in them
    places = [(name, *layout.anchors[name], 0.0) for name in sorted(layout.anchors) if not name.startswith("home") and name not in staked]
    for h in hollows:
        away = h.inner_m / 2
        around = [(f"{h.name}, {word}", h.e + de * away, h.n + dn * away, away) for word, de, dn in sides(layout.axes)]
        places += [(f"{h.name}, middle", h.e, h.n, 0.0), *around]
    if design.variant != TOUCH_UP:
        west, south, east, north = design.grid.bounds
        for n in np.arange(np.ceil(south / every_m), np.floor(north / every_m) + 1) * every_m:
            places += [("grade", float(e), float(n), 0.0) for e in np.arange(np.ceil(west / every_m), np.floor(east / every_m) + 1) * every_m]
    kept = shapely.union_all([k.kept_free for k in keep_outs])
    out: list[Stake] = []
    for name, e, n, away in places:
        at = _designed(design, e, n, 0 if name == "grade" else REACH_CELLS)
        if at is not None:
            out.append(Stake(len(out) + 1, e, n, float(design.existing[at]), float(design.design[at]), name, bool(shapely.contains_xy(kept, e, n)), away))
    return out


def _designed(design: Design, e: float, n: float, reach: int) -> tuple[int, int] | None:
    """The designed cell nearest to a place, within so many cells of it."""
    row, col = (int(v) for v in design.grid.rows_cols(np.array(e), np.array(n)))
    rows, cols = np.ogrid[row - reach : row + reach + 1, col - reach : col + reach + 1]
    rows, cols = np.broadcast_arrays(rows, cols)
    inside = (rows >= 0) & (rows < design.grid.ny) & (cols >= 0) & (cols < design.grid.nx)
    near = [(abs(r - row) + abs(c - col), int(r), int(c)) for r, c in zip(rows[inside], cols[inside]) if np.isfinite(design.cut_fill[r, c])]
    return None if not near else min(near)[1:]
