"""Which cells of a field may be used for what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Point

from pipeline.frame import Grid

ANCHOR_M = 0.25  # an anchor and its plug lie in a disc 0.5 m across
BUFFER_M = 0.3  # skin so near the grass is not used: 20 mm of turf leaking in past a wrong edge moves a ring depth
BAND_M = 0.5  # ground beyond the skin that stays in the flood: a lip in it dams, flush turf drains


@dataclass(frozen=True)
class Masks:
    """Cells of a field, each (ny, nx) bool.

    skin      : bare ground, mound included
    band      : BAND_M beyond the skin: grass
    near_edge : skin within BUFFER_M of the grass
    keep_out  : drawn keep-outs and base anchors
    mound     : the mound
    """

    skin: np.ndarray
    band: np.ndarray
    near_edge: np.ndarray
    keep_out: np.ndarray
    mound: np.ndarray

    @property
    def ring(self) -> np.ndarray:
        """Ground for ring depths: the landing spot lies on the mound."""
        return self.skin & ~self.keep_out & ~self.near_edge

    @property
    def even(self) -> np.ndarray:
        """Ground for planes and straightedges."""
        return self.ring & ~self.mound

    @property
    def flood(self) -> np.ndarray:
        """Ground that water runs over."""
        return self.skin | self.band | self.mound

    @property
    def grass(self) -> np.ndarray:
        """The grass that water runs over."""
        return self.band & ~self.skin & ~self.mound

    @property
    def ponds(self) -> np.ndarray:
        """Ground on which ponds are reported, up to the very edge: a lip dams there."""
        return self.skin & ~self.keep_out & ~self.mound


def masks_of(layout) -> Masks:
    """Masks of a layout: it has grid, skin, edges (each with a line), keep_out, anchors, drawn_anchors and mound."""
    grid: Grid = layout.grid
    anchors = [Point(*at).buffer(ANCHOR_M) for at in layout.anchors.values()] + [f.geometry.buffer(ANCHOR_M) for f in layout.drawn_anchors]
    lines = shapely.union_all([edge.line for edge in layout.edges])
    skin = grid.mask(layout.skin)
    mound = layout.mound
    return Masks(
        skin,
        grid.mask(layout.skin.buffer(BAND_M)) & ~skin,
        skin & grid.mask(lines.buffer(BUFFER_M)),
        grid.mask(shapely.union_all([layout.keep_out, *anchors])),
        grid.mask(None if mound is None else mound.disc),
    )
