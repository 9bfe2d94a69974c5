"""Where plants on the skin are looked for, and which turf they are held against: well clear of the grass edge on both sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt

from pipeline.diamond.edges import Edge
from pipeline.frame import Grid
from pipeline.survey.edges.edge_frame import edge_frame

CLEAR_M = 0.30  # skin so near the edge is the edge's: its ragged line, its lip
TURF_M = (0.75, 2.8)  # turf is read so far from the edge
RUN_ON_M = 0.05  # a patch is followed up to here from the edge
OFF_EDGE_M = 0.5  # turf stands at least so far from every edge, whoever drew the skin


@dataclass(frozen=True)
class PlantGround:
    """Cells of a field, each (ny, nx) bool: skin to be asked, turf to hold it against, skin between the two and the edge."""

    clear: np.ndarray
    turf: np.ndarray
    beside: np.ndarray


def plant_ground(grid: Grid, skin: np.ndarray, edges: tuple[Edge, ...], apart: np.ndarray) -> PlantGround:
    """Where to look.

    skin  : (ny, nx) bool
    edges : the lines the series is measured along: a layout's skin may end decimetres beyond the grass
    apart : (ny, nx) bool, cells that are no mix and no turf: plates, slabs, keep-outs, what is to be ignored
    """
    inside, outside = ((distance_transform_edt(m) - 0.5) * grid.cell_m for m in (skin, ~skin))  # of a cell's middle from the rim
    across = edge_distance(grid, edges)
    near = np.isfinite(across)

    def within(clear_m: float) -> np.ndarray:
        return skin & (inside > clear_m) & ~(near & (across > -clear_m)) & ~apart

    clear = within(CLEAR_M)
    turf = ~skin & (outside > TURF_M[0]) & (outside < TURF_M[1]) & ~(near & (across < OFF_EDGE_M)) & ~apart
    return PlantGround(clear, turf, within(RUN_ON_M) & ~clear)


def edge_distance(grid: Grid, edges: tuple[Edge, ...]) -> np.ndarray:
    """Distance of each cell from its nearest edge, positive in the grass, (ny, nx), m; NaN beyond 3 m of all."""
    e, n = grid.mesh()
    out = np.full(grid.shape, np.nan)
    for edge in edges:
        across = edge_frame(edge).project(e, n)[1]
        nearer = np.isfinite(across) & ~(np.abs(out) <= np.abs(across))
        out[nearer] = across[nearer]
    return out
