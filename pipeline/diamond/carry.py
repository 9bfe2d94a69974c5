"""A layout as plain values that JSON can hold, and back, to the last bit."""

from __future__ import annotations

from dataclasses import asdict

import shapely

from pipeline.diamond.axes import Axes
from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Feature, Layout, Mound, Patch
from pipeline.diamond.places import Place
from pipeline.frame import Grid


def _hex(geometry) -> str:
    return shapely.to_wkb(geometry, hex=True, output_dimension=2, byte_order=1)


def _value(noted):
    """What was noted of a shape, as JSON holds it: a day becomes its ISO words."""
    return noted if isinstance(noted, (int, float, str)) else str(noted)


def to_plain(layout: Layout) -> dict:
    """Dicts, lists, strings and numbers; geometries as hexadecimal WKB."""
    return {
        "field_id": layout.field_id,
        "grid": asdict(layout.grid),
        "skin": _hex(layout.skin),
        "turf_infield": _hex(layout.turf_infield),
        "edges": [
            {"edge_id": e.edge_id, "line": _hex(e.line), "grass_left": e.grass_left, "source": e.source}
            for e in layout.edges
        ],
        "zones": {k: _hex(v) for k, v in layout.zones.items()},
        "places": [asdict(p) for p in layout.places],
        "patches": [{"patch_id": p.patch_id, "polygon": _hex(p.polygon), "kind": p.kind} for p in layout.patches],
        "ignore": _hex(layout.ignore),
        "keep_out": _hex(layout.keep_out),
        "anchors": {k: list(v) for k, v in layout.anchors.items()},
        "mound": None if layout.mound is None else asdict(layout.mound),
        "axes": None if layout.axes is None else asdict(layout.axes),
        "drawn_anchors": [{"name": f.name, "at": _hex(f.geometry), "props": {k: _value(v) for k, v in sorted(f.props.items())}} for f in layout.drawn_anchors],
    }


def from_plain(plain: dict) -> Layout:
    """The layout that `to_plain` made."""
    wkb = shapely.from_wkb
    return Layout(
        plain["field_id"],
        Grid(**plain["grid"]),
        wkb(plain["skin"]),
        wkb(plain["turf_infield"]),
        tuple(Edge(e["edge_id"], wkb(e["line"]), e["grass_left"], e["source"]) for e in plain["edges"]),
        {k: wkb(v) for k, v in plain["zones"].items()},
        tuple(Place(**p) for p in plain["places"]),
        tuple(Patch(p["patch_id"], wkb(p["polygon"]), p["kind"]) for p in plain["patches"]),
        wkb(plain["ignore"]),
        wkb(plain["keep_out"]),
        {k: (v[0], v[1]) for k, v in plain["anchors"].items()},
        None if plain["mound"] is None else Mound(**plain["mound"]),
        None if plain["axes"] is None else Axes(**plain["axes"]),
        tuple(Feature("base_anchor", f["name"], wkb(f["at"]), f["props"]) for f in plain["drawn_anchors"]),
    )
