"""STAC 1.0 collections: one a field, one over all fields, and the catalog that holds them."""

from __future__ import annotations

from typing import Sequence

from pipeline.report.catalogue.assets import Seen, asset, href, key
from pipeline.report.catalogue.footprint import union_box
from pipeline.report.catalogue.items import EXTENSIONS, VERSION, Field
from pipeline.report.words import Words
from pipeline.settings import Catalogue

NOT_STATED = "proprietary"  # STAC 1.0's word for all that is neither an SPDX licence nor several
ROOT, OVER_ALL = "field_catalogue", "all_fields"  # no field's id holds `_`
JSON = "application/json"


def of_field(field: Field, items: Sequence[dict], owner: Catalogue) -> dict:
    """A field's collection; a plain catalog where its place on the earth is not known, since a collection needs one."""
    words = field.words
    about = [words("cat_field_about", field=field.name), *([] if field.in_collection else [words("cat_no_place", reason=field.place.reason)])]
    up = {"href": "../../catalog.json", "type": JSON}
    links = [{"rel": "root", **up}, {"rel": "parent", **up}]
    links += [{"rel": "item", "href": f"./items/{i['id']}.json", "type": "application/geo+json", "title": i["properties"]["title"]} for i in items]
    days = [i["properties"][end] for i in items for end in ("start_datetime", "end_datetime")]
    out = {"id": field.field_id, "title": field.name}
    if not field.in_collection:
        return _catalog(out, about, links)
    return _collection(out, about, links, [field.place.bbox], days, owner, words)


def over_all(fields: Sequence[dict], files: Sequence[Seen], folder: str, owner: Catalogue, words: Words) -> dict:
    """What is over all fields: a collection with the files as its assets; where no field's place is known a catalog that links them.

    fields : the fields' records; files: pages and tables over all of them
    """
    placed = [f for f in fields if "extent" in f]
    assets = {key(f): asset(f, folder, words) for f in files}
    up = {"href": "./catalog.json", "type": JSON}
    links = [{"rel": "root", **up}, {"rel": "parent", **up}]
    out, about = {"id": OVER_ALL, "title": words("cat_all_title")}, [words("cat_all_about")]
    if not placed:
        links += [{"rel": "related", **{part: made[part] for part in ("href", "type", "title")}} for made in assets.values()]
        return _catalog(out, [*about, words("cat_all_no_place")], links)
    days = [day for f in placed for day in f["extent"]["temporal"]["interval"][0] if day]
    boxes = [f["extent"]["spatial"]["bbox"][0] for f in placed]
    return _collection({**out, "assets": assets, "stac_extensions": [EXTENSIONS[1]]}, about, links, boxes, days, owner, words)


def root(title: str, children: Sequence[tuple[str, dict]], folder: str, words: Words) -> dict:
    """The root.

    title    : the owner's line over every page; empty = none
    children : path and record of what is over all fields and of each field
    """
    links = [{"rel": "root", "href": "./catalog.json", "type": JSON}]
    links += [{"rel": "child", "href": href(path, folder), "type": JSON, "title": record["title"]} for path, record in children]
    return _catalog({"id": ROOT, "title": title or words("cat_root_title")}, [words("cat_root_about")], links)


def _catalog(out: dict, about: list[str], links: list[dict]) -> dict:
    return {"type": "Catalog", "stac_version": VERSION, "description": " ".join(about), "links": links, **out}


def _collection(out: dict, about: list[str], links: list[dict], boxes: list[list[float]], days: list[str], owner: Catalogue, words: Words) -> dict:
    """boxes : the whole is put first, then each where there are several, as STAC has it."""
    if not owner.licence:
        about = [*about, words("cat_no_licence")]
    if owner.licence_url:
        links = [*links, {"rel": "license", "href": owner.licence_url}]
    whole = [union_box(boxes), *(boxes if len(boxes) > 1 else [])]
    extent = {"spatial": {"bbox": whole}, "temporal": {"interval": [[min(days), max(days)] if days else [None, None]]}}
    named = {"providers": [{"name": owner.provider}]} if owner.provider else {}
    return {"type": "Collection", "stac_version": VERSION, "description": " ".join(about), "license": owner.licence or NOT_STATED, "extent": extent, "links": links, **named, **out}
