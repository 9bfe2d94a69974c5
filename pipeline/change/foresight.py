"""What a pair of surveys not yet flown would see: from the field's layout and an error model alone, no data needed.

"Seen" is what such a pair detects with 80 % power in a two-sided test at 5 %: (1.960 + 0.842) s.d. (elementary).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from pipeline.change.lip_growth import DOME_ARM_M, growth_sigma
from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.surface.lip_noise import CANOPY_M, expected
from pipeline.surface.lip_shape import LipShape, freeze
from pipeline.surface.masks import masks_of
from pipeline.surface.ring import contrast
from pipeline.surface.survey_error import SurveyError, cropped
from pipeline.survey.edges.edge_table import ACROSS_M, CLEAR_M, STATION_M, EdgeTable, columns, rows
from pipeline.survey.noise import Noise, of_difference
from pipeline.survey.stable.patches import Footprint, PatchHeight, footprint, footprints
from pipeline.survey.stable.tie import Tie, tie_over_skin
from pipeline.survey.stable.uncertainty import TieOnGrid, Uncertainty

POWER_80 = 2.80
SEGMENT_M = 5.0
PAD_M = 1.2  # a pad that a crew can pour: square, level, flush (ours to choose)
MOST_PADS = 4
TRY_EVERY_M = 6.0  # pads are tried so far apart
CLEAR_OF_SKIN_M = 1.5  # a pad outside stands so far from the grass edge, that no lip reaches it


@dataclass(frozen=True)
class EdgeSeen:
    """Smallest growth of one edge's lip that a pair sees, m: of the whole edge and of 5 m of it; NaN: none of it clear of corners."""

    edge_id: str
    clear_m: float
    whole_m: float
    segment_m: float


@dataclass(frozen=True)
class PlaceSeen:
    """Smallest depth of a declared place that one survey tells from level, and smallest change of it a pair sees, m; NaN with a reason."""

    place_id: str
    depth_m: float
    change_m: float
    reason: str


@dataclass(frozen=True)
class PatchTried:
    """A pad added at a place: one s.d. of the tie over the skin with it, m, and how many of the tie's doubts it leaves."""

    e: float
    n: float
    inside: bool
    sigma_m: float
    codes: tuple[str, ...]


@dataclass(frozen=True)
class Foresight:
    """What a pair of such surveys would see of a field.

    tie_sigma_m, codes : one s.d. of the mean height over the skin, m; why only relative figures would stand, if so
    mean_m, volume_m3  : smallest change of the skin's mean height and volume seen; relative where `codes` says so
    """

    skin_m2: float
    patches: tuple[str, ...]
    tie_sigma_m: float
    codes: tuple[str, ...]
    mean_m: float
    volume_m3: float
    edges: tuple[EdgeSeen, ...]
    places: tuple[PlaceSeen, ...]


def foresee(
    layout: Layout, noise: Noise, points_per_m2: float, canopy_m: float = CANOPY_M, row_noise: Noise | None = None
) -> Foresight:
    """What two surveys of one kind would see.

    noise         : of one survey's raster
    points_per_m2 : ground points
    row_noise     : of its points on stable ground, where that is another one (a walk's)
    """
    pair = of_difference(noise, noise)
    patches = footprints(layout)
    tie = planned_tie(layout, patches, row_noise or noise, points_per_m2)
    skin = layout.grid.mask(layout.skin)
    own = cell_sigma(noise, points_per_m2, layout.grid.cell_m)
    white = np.where(skin, np.sqrt(2.0) * own, np.nan)
    mean = skin / skin.sum()
    sigma = Uncertainty(layout.grid, pair, white, TieOnGrid(tie, layout.grid)).sigma_of(mean)
    area = float(skin.sum() * layout.grid.cell_area_m2)
    return Foresight(
        area, tuple(p.patch_id for p in patches), tie.shift_sigma_m, tie.codes, POWER_80 * sigma, POWER_80 * sigma * area,
        tuple(edge_seen(e, pair, points_per_m2, canopy_m) for e in layout.edges), places_seen(layout, noise, own),
    )  # fmt: skip


def cell_sigma(noise: Noise, points_per_m2: float, cell_m: float) -> float:
    """One s.d. of a cell's own error from its points, m."""
    return noise.white_m / float(np.sqrt(max(points_per_m2 * cell_m**2, 1.0)))


def planned_tie(layout: Layout, patches: list[Footprint], noise: Noise, points_per_m2: float) -> Tie:
    """The tie of a pair on these patches, with every misfit zero: only its uncertainty has a meaning."""
    heights = {
        p.patch_id: PatchHeight(p.patch_id, 0.0, noise.white_m / float(np.sqrt(max(p.shape.area * points_per_m2, 3.0))), 3, 0)
        for p in patches
    }  # fmt: skip
    return tie_over_skin(layout, patches, heights, heights, of_difference(noise, noise))


def pads_tried(layout: Layout, noise: Noise, points_per_m2: float, known: list[Footprint] | None = None) -> list[PatchTried]:
    """One pad more around the field, and one still place more on the infield grass: what helps most first.

    known : the patches there are; None: the layout's
    A still place inside is worth more than many around the field, since shift and dome tell apart only there; but nothing
    hard may lie where people play. Inside, only what is there already counts: the plates, swept and uncovered.
    """
    known, out = footprints(layout) if known is None else known, []
    for e, n, inside in _pad_places(layout):
        tie = planned_tie(layout, [*known, pad(e, n)], noise, points_per_m2)
        out.append(PatchTried(e, n, inside, tie.shift_sigma_m, tie.codes))
    return sorted(out, key=lambda t: (len(t.codes), t.sigma_m))


def pads_wanted(
    layout: Layout, noise: Noise, points_per_m2: float, most: int = MOST_PADS, alone: list[PatchTried] | None = None
) -> list[PatchTried]:
    """Pads around the field, one after the other, each where it helps most, until heights would be comparable.

    alone : what `pads_tried` says of one pad beside the layout's patches; None: it is asked
    At least one is named; fewer than `most` where the last of them leaves no doubt.
    """
    known, out = footprints(layout), []
    tried = pads_tried(layout, noise, points_per_m2, known) if alone is None else alone
    while around := [t for t in tried if not t.inside]:
        out.append(around[0])
        if len(out) == most or not out[-1].codes:
            break
        known.append(pad(out[-1].e, out[-1].n))
        tried = pads_tried(layout, noise, points_per_m2, known)
    return out


def pad(e: float, n: float) -> Footprint:
    """A pad with its middle at a place, sides along the coordinates."""
    return footprint(f"pad-{e:.1f}-{n:.1f}", shapely.box(e - PAD_M / 2, n - PAD_M / 2, e + PAD_M / 2, n + PAD_M / 2))


def _pad_places(layout: Layout) -> list[tuple[float, float, bool]]:
    """Places a pad could lie: never on the skin, where mix would cover it, nor near a drawn keep-out."""
    grass = layout.turf_infield.buffer(-CLEAR_OF_SKIN_M)
    ring = layout.skin.union(layout.turf_infield).convex_hull.buffer(CLEAR_OF_SKIN_M + PAD_M).exterior
    around = [ring.interpolate(s) for s in np.arange(0.0, ring.length, TRY_EVERY_M)]
    held = [(p.x, p.y, False) for p in around if layout.grid.holds(*layout.grid.rows_cols(p.x, p.y))]
    if not grass.is_empty:
        west, south, east, north = grass.bounds
        e, n = (v.ravel() for v in np.meshgrid(np.arange(west, east, TRY_EVERY_M / 2), np.arange(south, north, TRY_EVERY_M / 2)))
        held += [(float(a), float(b), True) for a, b in zip(e, n) if shapely.contains_xy(grass, a, b)]
    return [(a, b, c) for a, b, c in held if not layout.keep_out.buffer(PAD_M).contains(shapely.Point(a, b))]


def edge_seen(edge: Edge, pair: Noise, points_per_m2: float, canopy_m: float) -> EdgeSeen:
    """What a pair sees of one edge, by the same s.d. that a measured growth is given."""
    s = rows(edge)
    clear = float(edge.usable(s, CLEAR_M).sum() * STATION_M)
    if clear < SEGMENT_M:
        return EdgeSeen(edge.edge_id, clear, float("nan"), float("nan"))
    shape = usual_shape(edge)
    still = expected(pair, shape, max(points_per_m2 * STATION_M * ACROSS_M, 1.0), canopy_m)
    slope = float(np.hypot(pair.tilt, pair.dome_m / DOME_ARM_M))
    whole, part = (growth_sigma(still, shape, length, slope, canopy_m * pair.canopy_reach) for length in (clear, SEGMENT_M))
    return EdgeSeen(edge.edge_id, clear, POWER_80 * whole, POWER_80 * part)


def usual_shape(edge: Edge) -> LipShape:
    """The lip's shape that is taken before anything was seen: its priors."""
    s, d = rows(edge), columns()
    flat = np.zeros((len(s), len(d)))
    return freeze(EdgeTable(edge.edge_id, s, d, flat, np.full(flat.shape, 10, np.uint32), None, None, np.full(flat.shape, 0.004), edge.usable(s, CLEAR_M)))


def places_seen(layout: Layout, noise: Noise, own_m: float) -> tuple[PlaceSeen, ...]:
    """Ring depths: shift and tilt cancel, so what decides is the noise between disc and ring."""
    usable = masks_of(layout).ring
    error = SurveyError.of(noise, layout.centre)
    out = []
    for place in layout.places:
        w = contrast(place, usable, np.ones(usable.shape, bool), layout.grid)
        if w.reason is not None:
            out.append(PlaceSeen(place.place_id, float("nan"), float("nan"), w.reason))
            continue
        white = np.full(w.depth_weights.shape, own_m)
        sigma = error.sigma(w.depth_weights, cropped(layout.grid, w.rows, w.cols), white)
        out.append(PlaceSeen(place.place_id, POWER_80 * sigma, POWER_80 * float(np.sqrt(2.0)) * sigma, ""))
    return tuple(out)
