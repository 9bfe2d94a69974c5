"""A reader of STAC trees of our own, and the schemas of STAC 1.0.0 as they are packed in a validator's wheel: no network."""

from __future__ import annotations

import json
import posixpath
from pathlib import Path
from typing import Callable, Iterator
from urllib.parse import unquote, urljoin, urlsplit

import pystac
from jsonschema import Draft7Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT7

PACKED = Path(pystac.__file__).parent / "validation" / "jsonschemas"
KINDS = {"Feature": "item", "Collection": "collection", "Catalog": "catalog"}


def packed() -> Registry:
    """The packed schemas by their own names. A registry without a retriever: what is not in it is an error, never fetched."""
    found = [json.loads(p.read_text()) for p in sorted(PACKED.rglob("*.json"))]
    return Registry().with_resources((schema["$id"].rstrip("#"), Resource(schema, DRAFT7)) for schema in found)


def faults(record: dict, registry: Registry) -> list[str]:
    """What the schema of its kind finds wrong with a record."""
    kind = KINDS[record["type"]]
    schema = {"$ref": f"https://schemas.stacspec.org/v1.0.0/{kind}-spec/json-schema/{kind}.json"}
    return [f"{e.json_path}: {e.message}" for e in Draft7Validator(schema, registry=registry).iter_errors(record)]


def walk(start: str, fetch: Callable[[str], bytes]) -> Iterator[tuple[str, dict]]:
    """Address and record of everything that can be reached from a root by `child` and `item`, each once."""
    queue, seen = [start], set()
    while queue:
        address = queue.pop(0)
        assert address not in seen, f"{address} is reached twice"
        seen.add(address)
        record = json.loads(fetch(address))
        yield address, record
        queue += [urljoin(address, link["href"]) for link in record["links"] if link["rel"] in ("child", "item")]


def leads_to(address: str, record: dict) -> list[tuple[str, str]]:
    """Every address a record names, with what names it: links by their rel, assets by `asset`. Extensions' names are no links."""
    named = [(link["rel"], link["href"]) for link in record["links"]] + [("asset", a["href"]) for a in record.get("assets", {}).values()]
    return [(what, urljoin(address, href)) for what, href in named]


def relative(href: str) -> bool:
    """Whether a reference has neither scheme nor host nor begins at a root."""
    parts = urlsplit(href)
    return not parts.scheme and not parts.netloc and not posixpath.isabs(parts.path)


def as_file(address: str) -> Path:
    return Path(unquote(urlsplit(address).path))
