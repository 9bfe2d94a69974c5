"""One field as it is measured: its grid, skin, edges, zones, places, stable patches and keep-outs."""

from __future__ import annotations

from dataclasses import dataclass, field

import shapely
from shapely.geometry import LineString, Point, Polygon

from pipeline.diamond import places as at
from pipeline.diamond.anchors import ANCHOR, missing, name_of
from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import LAYOUTS, base_feet
from pipeline.diamond.edges import Edge, grass_on_left, oriented, started_near
from pipeline.diamond.outline import outline
from pipeline.diamond.places import Place
from pipeline.frame import Grid

GROWN_M = 3.0  # the grid reaches so far beyond what was drawn


@dataclass(frozen=True)
class Feature:
    """Something an operator drew, in the working CRS. `props` holds the role's own columns."""

    role: str
    name: str
    geometry: shapely.Geometry
    props: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Patch:
    """Ground that does not move: `kind` is `home_plate`, `pitchers_plate` or `drawn`."""

    patch_id: str
    polygon: Polygon
    kind: str


@dataclass(frozen=True)
class Mound:
    """Where the mound is and how high the rulebook wants the pitcher's plate over home plate, m."""

    e: float
    n: float
    radius_m: float
    height_m: float

    @property
    def disc(self) -> Polygon:
        return Point(self.e, self.n).buffer(self.radius_m)


@dataclass(frozen=True)
class Layout:
    """Everything later steps know of a field's geometry; all coordinates in the working CRS, m."""

    field_id: str
    grid: Grid
    skin: shapely.Geometry
    turf_infield: shapely.Geometry
    edges: tuple[Edge, ...]
    zones: dict[str, shapely.Geometry]
    places: tuple[Place, ...]
    patches: tuple[Patch, ...]
    ignore: shapely.Geometry
    keep_out: shapely.Geometry
    anchors: dict[str, tuple[float, float]]
    mound: Mound | None
    axes: Axes | None
    drawn_anchors: tuple[Feature, ...] = ()  # base anchors as somebody drew them, with what was noted of each

    @property
    def centre(self) -> tuple[float, float]:
        """Origin of shift, tilt and dome: the middle of the skin's bounds, m."""
        west, south, east, north = self.skin.bounds
        return (west + east) / 2, (south + north) / 2


@dataclass(frozen=True)
class Drawing:
    """What a field's row and features say, already in the working CRS.

    layout, other_layout : names of LAYOUTS or None
    home, second         : rear point of home plate, centre of second base, m, or None
    grass                : True, False or None for the layout's default
    arc_m                : radius of the outer arc, m, or None for the layout's
    pitch_m              : pitching distance, m, or None for the layout's
    """

    field_id: str
    crs: str
    cell_m: float
    layout: str | None = None
    other_layout: str | None = None
    home: tuple[float, float] | None = None
    second: tuple[float, float] | None = None
    grass: bool | None = None
    arc_m: float | None = None
    pitch_m: float | None = None
    features: tuple[Feature, ...] = ()


def build(drawing: Drawing) -> Layout:
    """The layout of a field: what is drawn replaces what the layout's name would give."""
    drawn = _by_role(drawing.features)
    from_name = _from_name(drawing)
    skin = _union(drawn, "skin") or from_name["skin"]
    turf = _union(drawn, "turf_infield") or from_name["turf_infield"]
    edges = _drawn_edges(drawn.get("grass_edge", ()), skin, drawing.home) or from_name["edges"] or _ring_edges(skin)
    stable = tuple(
        Patch(f.name if k == 1 else f"{f.name}-{k}", part, "drawn")
        for f in drawn.get("stable", ()) for k, part in enumerate(_parts(f.geometry), start=1)
    )  # fmt: skip
    zones = {"skin": skin, **from_name["zones"]}
    if turf is not None and not turf.is_empty:
        zones["turf_infield"] = turf
    extent = _union(drawn, "boundary") or shapely.union_all(
        [skin, *(e.line for e in edges), *(p.polygon for p in stable)]
    )
    west, south, east, north = extent.bounds
    reach = (west - GROWN_M, south - GROWN_M, east + GROWN_M, north + GROWN_M)
    return Layout(
        drawing.field_id, Grid.covering(reach, drawing.crs, drawing.cell_m), skin, turf or Polygon(), edges, zones,
        from_name["places"], from_name["patches"] + stable, _union(drawn, "ignore") or Polygon(),
        _union(drawn, "keep_out") or Polygon(), _anchors(drawn, from_name["anchors"], drawing.layout), from_name["mound"],
        from_name["axes"], drawn.get(ANCHOR, ()),
    )  # fmt: skip


def _by_role(features: tuple[Feature, ...]) -> dict[str, tuple[Feature, ...]]:
    out: dict[str, tuple[Feature, ...]] = {}
    for feature in features:
        out[feature.role] = out.get(feature.role, ()) + (feature,)
    return out


def _union(drawn: dict, role: str):
    return shapely.union_all([f.geometry for f in drawn[role]]) if role in drawn else None


def _parts(geometry) -> tuple[Polygon, ...]:
    return tuple(g for g in getattr(geometry, "geoms", (geometry,)) if isinstance(g, Polygon))


def _from_name(drawing: Drawing) -> dict:
    """What the layout's name and the two given points make; empty where there is no layout."""
    empty = {"skin": None, "turf_infield": None, "edges": (), "zones": {}, "places": (), "patches": (), "anchors": {},
             "mound": None, "axes": None}  # fmt: skip
    if drawing.layout is None:
        return empty
    size, axes = _size(drawing), Axes.through(drawing.home, drawing.second)
    shape = outline(size, size.grass if drawing.grass is None else drawing.grass, drawing.arc_m)
    zones, places = at.zones(size, axes), at.declared(size, axes)
    anchors = at.anchor_points(size, axes)
    if drawing.other_layout is not None:
        second, suffix = LAYOUTS[drawing.other_layout], f"-{base_feet(drawing.other_layout)}"
        zones |= {k: v for k, v in at.zones(second, axes, suffix).items() if not k.startswith(("home", "box"))}
        places += tuple(p for p in at.declared(second, axes, suffix) if not p.place_id.startswith(("home", "box")))
        anchors |= {k + suffix: v for k, v in at.anchor_points(second, axes).items() if k != "home"}
    mound = None
    if shape.mound is not None:
        zones["mound"] = axes.geometry(shape.mound)
        centre = zones["mound"].centroid
        mound = Mound(centre.x, centre.y, size.mound_m, size.mound_height_m)
    edges = tuple(
        Edge(name, axes.geometry(line), left, "layout") for name, (line, left) in shape.edges.items()
    )  # fmt: skip
    plates = (
        Patch("home-plate", at.home_plate(axes), "home_plate"),
        Patch("pitchers-plate", at.pitchers_plate(size, axes), "pitchers_plate"),
    )
    return {"skin": axes.geometry(shape.skin), "turf_infield": axes.geometry(shape.turf_infield), "edges": edges,
            "zones": zones, "places": places, "patches": plates,
            "anchors": {k: (p.x, p.y) for k, p in anchors.items()}, "mound": mound, "axes": axes}  # fmt: skip


def _size(drawing: Drawing):
    from dataclasses import replace

    size = LAYOUTS[drawing.layout]
    if drawing.pitch_m is None:
        return size
    return replace(size, pitch_m=drawing.pitch_m, arc_from_m=drawing.pitch_m)


def _drawn_edges(features: tuple[Feature, ...], skin, home: tuple[float, float] | None) -> tuple[Edge, ...]:
    """Drawn lines, each counter-clockwise about the skin's middle; a closed one about its own, from nearest home."""
    out = []
    for feature in features:
        for line in getattr(feature.geometry, "geoms", (feature.geometry,)):
            line = LineString(line)
            about = (line if line.is_closed else skin).envelope.centroid
            line = oriented(line, (about.x, about.y))
            if line.is_closed and home is not None:
                line = started_near(line, home)
            out.append(Edge(feature.name, line, grass_on_left(line, skin), "drawn"))
    return tuple(out)


def _ring_edges(skin) -> tuple[Edge, ...]:
    """Edges of a drawn skin without a layout and without drawn edges: its outer ring and the rings of its islands."""
    out = []
    for polygon in _parts(skin):
        rings = [("outer", polygon.exterior)] + [("infield", r) for r in polygon.interiors]
        for name, ring in rings:
            line = oriented(LineString(ring), (polygon.envelope.centroid.x, polygon.envelope.centroid.y))
            line = started_near(line, (polygon.bounds[0], polygon.bounds[1]))
            count = sum(e.edge_id.split("-")[0] == name for e in out)
            out.append(Edge(name if not count else f"{name}-{count + 1}", line, grass_on_left(line, skin), "drawn"))
    return tuple(out)


def _anchors(drawn: dict, from_name: dict, main: str | None) -> dict[str, tuple[float, float]]:
    """Base anchors: the drawn position stands over the computed one of the same name. One that was looked for and not found says
    nothing against the computed place; of two drawn for one base the last stands (`check` tells them, all are kept off)."""
    out = dict(from_name)
    for feature in drawn.get(ANCHOR, ()):
        name = name_of(feature, main)
        if name not in from_name or not missing(feature.props):
            out[name] = (feature.geometry.centroid.x, feature.geometry.centroid.y)
    return out
