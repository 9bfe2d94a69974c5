"""Plants on the skin of one survey, looked for once its points lie where they belong."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import Point

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.survey.cells.plant_ground import plant_ground
from pipeline.survey.cells.plants import Plants, plants, unseen
from pipeline.survey.points import Ground
from pipeline.units import inches

AROUND_M = 0.15  # of a plate, a slab or an anchor: its rim, what was raked beside it


def plants_on(layout: Layout, edges: tuple[Edge, ...], ground: Ground, z: np.ndarray, source: str) -> Plants:
    """Where plants stand on the skin; a rover's pole stands between them."""
    grid = layout.grid
    if source == "rover":
        return unseen(grid.shape)
    where = plant_ground(grid, grid.mask(layout.skin), edges, grid.mask(_no_mix(layout)))
    mound = layout.mound
    raised = None if mound is None else grid.mask(mound.disc)
    return plants(ground, grid, z, where.clear, where.turf, where.beside, raised)


def _no_mix(layout: Layout) -> shapely.Geometry:
    """Plates, slabs, bases, keep-outs and what is to be ignored."""
    bases = [Point(*at).buffer(inches(18)) for at in layout.anchors.values()]
    shapes = [p.polygon for p in layout.patches] + [layout.keep_out, *bases]
    return shapely.union_all([shapely.union_all(shapes).buffer(AROUND_M), layout.ignore])
