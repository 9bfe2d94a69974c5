"""STAC 1.0 items: one a survey, a pair of surveys, a surface, the design, a year's bid, and one for what is over all dates."""

from __future__ import annotations

import posixpath
from dataclasses import dataclass
from typing import Sequence

from pipeline.frame import Grid
from pipeline.report.catalogue.assets import Seen, asset, key
from pipeline.report.catalogue.footprint import Footprint, projection
from pipeline.report.words import Words

VERSION = "1.0.0"
EXTENSIONS = tuple(f"https://stac-extensions.github.io/{name}/schema.json" for name in ("projection/v1.1.0", "file/v2.1.0"))
OF_RASTERS = "https://stac-extensions.github.io/raster/v1.1.0/schema.json"
OF_CLASSES = "https://stac-extensions.github.io/classification/v1.1.0/schema.json"
OURS = "skinplane:"


@dataclass(frozen=True)
class Field:
    """What all items of one field share.

    own_crs   : the CRS the owner gave, in which exports leave; the grid's is the working CRS
    folder    : where the items lie; place: outline of the grid; below: whether the field's record is a collection
    """

    field_id: str
    name: str
    grid: Grid
    own_crs: str
    folder: str
    place: Footprint
    words: Words

    @property
    def in_collection(self) -> bool:
        """A collection needs a box on the earth; a field without one is a catalog."""
        return self.place.bbox is not None


def item_id(field_id: str, *parts: object) -> str:
    """Ids of fields and surveys hold no `_`, so that no two come out alike."""
    return "_".join([field_id, *map(str, parts)])


def path_of(folder: str, name: str) -> str:
    return f"{folder}/{name}.json"


def item(field: Field, name: str, about: str, days: Sequence[str], files: Sequence[Seen], said: dict, sources: Sequence[str] = (), placed: bool = True) -> dict:
    """One item.

    name    : its id; about: the key of its title and description among the phrases, filled from `said`
    days    : ISO days it speaks of, the first and the last count; not none
    files   : its assets
    said    : properties of ours, without their prefix; those that are None or empty are left out
    sources : ids of items of this field that it was made from
    placed  : False where it is not known to lie on the field
    """
    words, (first, last) = field.words, (min(days), max(days))
    place = field.place if placed else Footprint(None, None)
    said = {k: v for k, v in said.items() if v not in (None, "")}
    assets = {key(f): asset(f, field.folder, words, field.own_crs) for f in files}
    bands = [b for a in assets.values() for b in a.get("raster:bands", ())]
    filled = {"field": field.name, "first": first, "last": last, **said}
    properties = {
        "title": words(f"cat_{about}_title", **filled), "description": words(f"cat_{about}_about", **filled),
        # Only the day is known: noon, so that it is that day in every time zone between UTC-12 and UTC+12.
        "datetime": f"{first}T12:00:00Z" if first == last else None, "start_datetime": f"{first}T00:00:00Z", "end_datetime": f"{last}T23:59:59Z",
        **projection(field.grid.crs), **{f"{OURS}{k}": v for k, v in said.items()}, f"{OURS}kind": about,
    }  # fmt: skip
    if placed:
        properties["proj:bbox"] = list(field.grid.bounds)
        properties[f"{OURS}place"] = place.reason or words("cat_place_known", metres=f"{place.accuracy_m:g}")
    extensions = [*EXTENSIONS, *([OF_RASTERS] if bands else []), *([OF_CLASSES] if any("classification:classes" in b for b in bands) else [])]
    out = {
        "type": "Feature", "stac_version": VERSION, "stac_extensions": extensions, "id": name, "geometry": place.geometry,
        "properties": properties, "assets": assets, "links": _links(field, sources),
    }  # fmt: skip
    if place.bbox is not None:
        out["bbox"] = place.bbox
    if field.in_collection:
        out["collection"] = field.field_id
    return out


def _links(field: Field, sources: Sequence[str]) -> list[dict]:
    """To the root, the field's record and what it was made from; none to itself, so that the folder can be moved."""
    up = {"href": "../collection.json", "type": "application/json", "title": field.name}
    own = [{"rel": "parent", **up}, *([{"rel": "collection", **up}] if field.in_collection else [])]
    made_from = [{"rel": "derived_from", "href": posixpath.join(".", f"{s}.json"), "type": "application/geo+json"} for s in sources]
    return [{"rel": "root", "href": "../../../catalog.json", "type": "application/json"}, *own, *made_from]
