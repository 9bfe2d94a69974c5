"""What can be drawn of a field before anyone has looked at it: a first guess from home plate, second base and sizes in print."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import Iterable

import numpy as np
import shapely

from pipeline.coordinates import epsg_code, read_crs, unit_m
from pipeline.diamond import places as at
from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import LAYOUTS, Dimensions, base_feet
from pipeline.diamond.layout import Feature
from pipeline.diamond.outline import outline
from pipeline.units import feet

PLACES = 3  # decimals of the field's own unit
GUESS = "first guess from a drawing of sizes in print; move it onto the survey's picture before it counts"


@dataclass(frozen=True)
class Sizes:
    """How a field is laid out: a layout's name, or a base distance with what differs from the nearest layout; m."""

    layout: str | None
    size: Dimensions
    grass: bool
    arc_m: float | None

    @classmethod
    def of(cls, layout: str | None, base_ft: float | None, pitch_ft: float | None, arc_m: float | None, infield: str | None) -> "Sizes":
        """layout or base_ft is given; sizes that nobody gave are those of the layout whose bases are nearest."""
        name = layout or min(LAYOUTS, key=lambda n: (abs(base_feet(n) - base_ft), n))
        size = LAYOUTS[name]
        grass = size.grass if infield is None else infield == "grass"
        size = replace(size, base_m=feet(base_ft) if base_ft and layout is None else size.base_m)
        if pitch_ft is not None:
            size = replace(size, pitch_m=feet(pitch_ft), arc_from_m=feet(pitch_ft))
        return cls(layout, size, grass, arc_m)


def drawn(sizes: Sizes, home: tuple[float, float], second: tuple[float, float]) -> list[tuple[str, str, shapely.Geometry]]:
    """Role, name and shape of all that sizes and two points give, in the working CRS, m. Bases, home and mound have the role ``."""
    axes, size = Axes.through(home, second), sizes.size
    shape = outline(size, sizes.grass, sizes.arc_m)
    out = [("skin", "skin", axes.geometry(shape.skin))]
    if not shape.turf_infield.is_empty:
        out.append(("turf_infield", "infield", axes.geometry(shape.turf_infield)))
    out += [("grass_edge", name, axes.geometry(line)) for name, (line, _) in shape.edges.items()]
    out += [("stable", "home-plate", at.home_plate(axes)), ("stable", "pitchers-plate", at.pitchers_plate(size, axes))]
    if shape.mound is not None:
        out.append(("", "mound", axes.geometry(shape.mound)))
    return out + [("", at.WORDS[name], point) for name, point in at.anchor_points(size, axes).items() if name != "home"]


def as_sketch(shapes: Iterable[tuple[str, str, shapely.Geometry]]) -> list[tuple[dict, shapely.Geometry]]:
    """Shapes to look at and to move: `becomes` is the role each gets once somebody has put it where it is."""
    return [({"becomes": role, "name": name, "state": GUESS}, shape) for role, name, shape in shapes]


def as_features(features: Iterable[Feature]) -> list[tuple[dict, shapely.Geometry]]:
    """Shapes somebody drew, with what was noted of each."""
    return [({**{k: v for k, v in f.props.items()}, "role": f.role, "name": f.name}, f.geometry) for f in features]


def geojson(name: str, crs: str, shapes: Iterable[tuple[dict, shapely.Geometry]]) -> str:
    """A GeoJSON in the field's own coordinates, which it names; a shape a line.

    crs    : the field's own, as fields.csv has it
    shapes : attributes, and a shape in the working CRS, m
    """
    own = read_crs(crs)
    code = epsg_code(own)
    member = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{code}" if code else crs}}
    head = json.dumps({"type": "FeatureCollection", "name": name, "crs": member})[:-1]
    lines = []
    for props, shape in shapes:
        shape = shapely.transform(shape, lambda xy: np.round(xy / unit_m(own), PLACES))
        lines.append(json.dumps({"type": "Feature", "properties": props, "geometry": json.loads(shapely.to_geojson(shape))}, default=str))
    return head + ', "features": [\n' + ",\n".join(lines) + ("\n" if lines else "") + "]}\n"
