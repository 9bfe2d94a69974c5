"""Which fields a file's box lies over, from its header and a sample of its points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import shapely

from pipeline.coordinates import lon_lat, read_crs
from pipeline.diamond.layout import Layout
from pipeline.survey.reading.facts import Facts
from pipeline.survey.reading.reference import resolve
from pipeline.survey.reading.stated import Stated
from pipeline.survey.reading.whereabouts import Offset, look


@dataclass(frozen=True)
class Over:
    """One file over one field. share : of the skin in the file's box, 0 to 1; offset : None where the box meets the field;
    per_m2 : points a square metre over the whole box; referenced : whether somebody says what the heights count from"""

    field_id: str
    share: float
    offset: Offset | None
    per_m2: float
    referenced: bool


def over(facts: Facts, stated: Stated, layout: Layout, own: str) -> Over:
    """own: the field's CRS as its table names it, for a reader who never saw the working one. raises: Refused where what the file's
    numbers are cannot be told"""
    grid = layout.grid
    place = lon_lat(read_crs(grid.crs), (grid.west + grid.east) / 2, (grid.south + grid.north) / 2)
    reference = resolve(facts, stated, own, place)
    seen = look(facts, reference, grid)
    box = shapely.box(*seen.bounds)
    share = layout.skin.intersection(box).area / layout.skin.area
    return Over(layout.field_id, share, seen.offset, facts.n_points / max(box.area, 1e-9), reference.height_reference is not None)


def nearest(found: Sequence[Over]) -> str:
    """How far the nearest field is, in words."""
    near = min(found, key=lambda o: o.offset.distance_m if o.offset else 0.0)
    return f"whose points lie {near.offset} of {near.field_id}" if near.offset else f"whose box meets the surroundings of {near.field_id} and none of its skin"
