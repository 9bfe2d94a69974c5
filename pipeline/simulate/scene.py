"""One invented field as it lies there: its real edges and stable ground, and the layout an operator would give.

The two differ as they do in life: an arc's centre is not where a chart puts it, a drawn line is off by an inch.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon

from pipeline.diamond import places as at
from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import LAYOUTS, Dimensions, base_feet
from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Drawing, Feature, Layout, Patch, build
from pipeline.diamond.outline import outline
from pipeline.simulate import draws
from pipeline.simulate.nearest import Lines, lines
from pipeline.simulate.scenario import Anchor, FieldTruth, Scenario, Slab, Spot

CELL_M = 0.10
FLOWN_BEYOND_M = 2.0  # a flight reaches this far past the field's grid
WANDER_M, WANDER_RANGE_M = 0.025, 3.0  # real edges leave the chart, and drawn lines the real edge, by this (one s.d.)
VERTEX_M = 0.5
END_M = 1.5  # over which an open edge's wander dies out, so that edges still meet


@dataclass(frozen=True)
class Scene:
    """edges: the real ones, in the working CRS. layout: what the pipeline will make of the operator's tables.
    patches: stable ground as it really lies. flown: the box a survey covers (west, south, east, north, m)."""

    seed: int
    field_id: str
    truth: FieldTruth
    size: Dimensions
    axes: Axes
    edges: tuple[Edge, ...]
    lines: Lines
    patches: tuple[Patch, ...]
    features: tuple[Feature, ...]
    layout: Layout
    flown: tuple[float, float, float, float]

    def rng(self, *words: str) -> np.random.Generator:
        return draws.rng(self.seed, self.field_id, *words)

    def spot(self, where: str | Spot) -> tuple[float, float]:
        """Easting and northing of a declared place's id or of diamond coordinates, m."""
        if not isinstance(where, str):
            return tuple(float(v) for v in self.axes.world(*where))
        found = {p.place_id: (p.e, p.n) for p in self.layout.places}
        if where not in found:
            raise ValueError(f"{self.field_id} has no place {where!r}; it has {', '.join(sorted(found))}")
        return found[where]


def build_scene(scenario: Scenario, field_id: str) -> Scene:
    """Everything about a field that does not depend on the date."""
    truth = scenario.fields[field_id]
    unit = unit_m(truth.table_crs)
    size = LAYOUTS[truth.layout]
    grass = size.grass if truth.grass is None else truth.grass
    home, second = ends(truth)
    axes = Axes.through(home, second)
    shape = outline(replace(size, arc_from_m=size.arc_from_m + truth.arc_off_m), grass)
    edges = tuple(
        Edge(name, wandered(axes.geometry(line), draws.rng(scenario.seed, field_id, "edge", name)), left, "layout")
        for name, (line, left) in shape.edges.items()
    )
    slabs = tuple(Patch(s.name, rectangle(axes, s), "drawn") for s in truth.slabs)
    features = _features(scenario.seed, field_id, truth, axes, edges, slabs, unit)
    layout = build(Drawing(field_id, truth.crs, CELL_M, truth.layout, truth.other_layout, home, second, truth.grass,
                           features=features))  # fmt: skip
    plates = tuple(p for p in layout.patches if p.kind != "drawn")
    west, south, east, north = layout.grid.bounds
    m = FLOWN_BEYOND_M
    flown = (west - m, south - m, east + m, north + m)
    found = lines([(e.line, e.grass_left) for e in edges], flown)
    return Scene(scenario.seed, field_id, truth, size, axes, edges, found, plates + slabs, features, layout, flown)


def unit_m(crs: str) -> float:
    """Metres in the unit of a projected CRS."""
    from pyproj import CRS

    return float(CRS.from_user_input(crs).axis_info[0].unit_conversion_factor)


def ends(truth: FieldTruth) -> tuple[Spot, Spot]:
    """Home and second base as the operator's table gives them: three decimals of its CRS, carried to metres."""
    unit, bearing = unit_m(truth.table_crs), np.radians(truth.bearing_deg)
    reach = LAYOUTS[truth.layout].home_to_second_m
    second = (truth.home[0] + reach * np.sin(bearing), truth.home[1] + reach * np.cos(bearing))
    return tuple(tuple(round(float(v) / unit, 3) * unit for v in point) for point in (truth.home, second))


def rectangle(axes: Axes, slab: Slab) -> Polygon:
    """A slab's outline in the working CRS."""
    x, y = np.array([-0.5, 0.5, 0.5, -0.5]) * slab.across_m, np.array([-0.5, -0.5, 0.5, 0.5]) * slab.along_m
    a = np.radians(slab.turned_deg)
    u, v = x * np.cos(a) + y * np.sin(a), -x * np.sin(a) + y * np.cos(a)
    return Polygon(np.column_stack(axes.world(slab.at[0] + u, slab.at[1] + v)))


def inside(polygon: Polygon, e: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Indices of the points (n,) that lie inside a polygon, which may be empty."""
    if polygon.is_empty:
        return np.empty(0, np.int64)
    west, south, east, north = polygon.bounds
    near = np.flatnonzero((e >= west) & (e <= east) & (n >= south) & (n <= north))
    return near[shapely.contains_xy(polygon, e[near], n[near])]


def wandered(shape: LineString, generator: np.random.Generator) -> LineString:
    """The line with vertices at most VERTEX_M apart, each moved along its normal by a correlated amount."""
    dense = shapely.segmentize(shape, VERTEX_M)
    xy = np.asarray(dense.coords)[:, :2]
    closed = bool(dense.is_closed)
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    off = draws.line(generator, s[-1], closed, WANDER_M, WANDER_RANGE_M, 0.25)
    off = np.interp(s, np.linspace(0, s[-1], len(off)) if closed else np.arange(len(off)) * 0.25, off)
    if not closed:
        off = off * np.clip(np.minimum(s, s[-1] - s) / END_M, 0.0, 1.0)
    ahead, behind = (np.roll(xy[:-1], k, axis=0) if closed else None for k in (-1, 1))
    along = np.vstack([ahead - behind, (ahead - behind)[:1]]) if closed else np.gradient(xy, axis=0)
    along /= np.hypot(*along.T)[:, None]
    return LineString(xy + off[:, None] * np.column_stack([-along[:, 1], along[:, 0]]))


def _features(seed, field_id, truth, axes, edges, slabs, unit) -> tuple[Feature, ...]:
    """What the operator drew: slabs, what to ignore, on some fields the edges; to three decimals of the table's CRS."""
    drawn = [Feature("stable", p.patch_id, p.polygon) for p in slabs]
    drawn += [Feature("ignore", s.name, rectangle(axes, s)) for s in truth.ignore]
    if truth.drawn_edges:
        drawn += [
            Feature("grass_edge", e.edge_id, wandered(e.line, draws.rng(seed, field_id, "drawn", e.edge_id)))
            for e in edges
        ]
    drawn += [_anchor(seed, field_id, a, axes) for a in truth.anchors]

    def rounded(xy: np.ndarray) -> np.ndarray:
        return np.round(xy / unit, 3) * unit

    return tuple(replace(f, geometry=shapely.transform(f.geometry, rounded)) for f in drawn)


def _anchor(seed, field_id, anchor: Anchor, axes) -> Feature:
    """A located base anchor: where it really is, and what the instrument made of it."""
    x, y = at.base_centres(LAYOUTS[anchor.layout])[anchor.base]
    off = np.array(anchor.off_mm) + draws.rng(seed, field_id, "anchor", anchor.layout, anchor.base).normal(0.0, anchor.sigma_mm, 2)
    point = Point(*axes.world(x + off[0] / 1000.0, y + off[1] / 1000.0))
    noted = {"layout": anchor.layout, "base": anchor.base, "located_on": anchor.located_on.isoformat(), "located_by": anchor.located_by,
             "sigma_mm": anchor.sigma_mm}  # fmt: skip
    return Feature("base_anchor", f"{anchor.base}-{base_feet(anchor.layout)}", point, noted)


def other_size(truth: FieldTruth) -> tuple[Dimensions, str] | None:
    """Sizes and id suffix of the second base set, or None."""
    if truth.other_layout is None:
        return None
    return LAYOUTS[truth.other_layout], f"-{base_feet(truth.other_layout)}"


def spots(truth: FieldTruth) -> dict[str, Spot]:
    """Diamond coordinates of every declared place, both base sets, m."""
    out = dict(at.spots(LAYOUTS[truth.layout]))
    other = other_size(truth)
    if other is not None:
        out |= {name + other[1]: xy for name, xy in at.spots(other[0]).items()}
    return out
