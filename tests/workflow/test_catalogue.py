"""The catalogue of a whole run: valid against STAC's own schemas, every reference leads somewhere, and nothing is left out."""

from __future__ import annotations

import hashlib
import http.server
import json
import threading
import urllib.parse
import urllib.request
from functools import partial
from pathlib import Path

import numpy as np
import pystac
import pytest
import rasterio
import shapely
from pystac.extensions.classification import ClassificationExtension
from pystac.extensions.file import FileExtension
from pystac.extensions.projection import ProjectionExtension
from pystac.extensions.raster import RasterExtension
from support.stac_tree import as_file, faults, leads_to, packed, relative, walk

from pipeline.coordinates import lon_lat, read_crs
from pipeline.diamond.carry import from_plain
from pipeline.report.catalogue.assets import MEDIA
from pipeline.store import records
from pipeline.store.where import Where

WHERE = Where("results")
FIELDS = ("moth", "two-lamps")


@pytest.fixture(scope="module")
def tree(ran) -> dict[str, dict]:
    """Every record by its address, read from the folder."""
    return dict(walk((ran.root / WHERE.catalogue).as_uri(), lambda address: as_file(address).read_bytes()))


@pytest.fixture(scope="module")
def items(tree) -> dict[str, dict]:
    return {r["id"]: r for r in tree.values() if r["type"] == "Feature"}


@pytest.mark.independent
def test_every_record_is_valid_against_the_schemas_of_stac_1_0(tree):
    """Those packed in pystac's wheel, read without any way to fetch more; a spoilt record is found out."""
    registry = packed()
    assert len(tree) >= 18 and {r["type"] for r in tree.values()} == {"Catalog", "Collection", "Feature"}
    assert not [f"{address}: {fault}" for address, record in tree.items() for fault in faults(record, registry)]
    good = next(r for r in tree.values() if r["type"] == "Feature" and r["geometry"])
    for spoilt in ({**good, "bbox": [0, 0, 1]}, {k: v for k, v in good.items() if k != "links"}, {**good, "geometry": None}, {**good, "stac_version": "1.1.0"}):
        assert faults(spoilt, registry)


@pytest.mark.invariant
def test_every_reference_is_relative_and_leads_to_a_file_and_back_to_the_root(tree, ran):
    root = (ran.root / WHERE.catalogue).as_uri()
    for address, record in tree.items():
        named = [link["href"] for link in record["links"]] + [a["href"] for a in record.get("assets", {}).values()]
        assert all(map(relative, named)) and not [link for link in record["links"] if link["rel"] == "self"]
        for what, there in leads_to(address, record):
            assert as_file(there).is_file(), f"{address}: {what} {there}"
            assert what != "root" or there == root
            assert what != "collection" or tree[there]["id"] == record["collection"]
            assert what != "derived_from" or there in tree
            if what == "parent":
                assert address in {t for rel, t in leads_to(there, tree[there]) if rel in ("child", "item")}


@pytest.mark.invariant
def test_every_product_is_an_asset_of_one_record_and_every_asset_is_a_product(tree, ran):
    """All files of the results but the catalogue's own and what the engine hides."""
    there = {p for p in ran.results.rglob("*") if p.is_file() and not p.name.startswith(".")}
    products = there - {as_file(address) for address in tree}
    named = [as_file(address) for a, record in tree.items() for what, address in leads_to(a, record) if what == "asset"]
    assert {p for p in products if p.suffix in MEDIA} == products
    assert sorted(named) == sorted(products)  # so that none is named twice either


@pytest.mark.independent
def test_checksums_and_sizes_are_those_of_the_files(tree):
    """Multihash: 0x12 for sha2-256, 0x20 bytes, the digest."""
    for address, record in tree.items():
        for asset in record.get("assets", {}).values():
            body = as_file(urllib.parse.urljoin(address, asset["href"])).read_bytes()
            assert asset["file:size"] == len(body) and asset["file:checksum"] == "1220" + hashlib.sha256(body).hexdigest()


@pytest.mark.independent
def test_a_library_reads_rasters_there_as_the_rasters_are(ran):
    """pystac's extensions beside what rasterio reads from the file."""
    seen = set()
    for item in pystac.Catalog.from_file(str(ran.root / WHERE.catalogue)).get_items(recursive=True):
        for name, asset in item.assets.items():
            file = FileExtension.ext(asset)
            assert file.size > 0 and len(file.checksum) == 68
            if asset.media_type != pystac.MediaType.COG:
                continue
            on, (band,) = ProjectionExtension.ext(asset), RasterExtension.ext(asset).bands
            with rasterio.open(asset.get_absolute_href()) as source:
                values = source.read(1, masked=True)
                assert on.epsg == source.crs.to_epsg() and on.shape == list(source.shape) and on.transform == list(source.transform)[:6]
                assert ProjectionExtension.ext(item).bbox == pytest.approx(list(source.bounds), abs=1e-6)
                assert band.data_type == source.dtypes[0] and band.spatial_resolution == source.res[0]
                assert band.nodata == ("nan" if source.nodata is not None and np.isnan(source.nodata) else source.nodata)
                assert source.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
            held = np.ma.masked_invalid(values).compressed().astype(float)
            told = band.properties["statistics"]
            assert told["valid_percent"] == pytest.approx(100 * held.size / values.size)
            if held.size:
                assert [told[n] for n in ("minimum", "maximum", "mean", "stddev")] == pytest.approx([held.min(), held.max(), held.mean(), held.std()], abs=1e-6)
            if name == "detected":
                assert {c.value for c in ClassificationExtension.ext(RasterExtension.ext(asset).bands[0]).classes} == {-1, 0, 1, -128} >= set(np.unique(values.data))
            seen.add(name)
    assert seen >= {"elevation", "sigma", "count", "change", "change_sigma", "detected", "pond_depth", "mix_depth", "design", "cut_fill"}


@pytest.mark.independent
@pytest.mark.parametrize("name", FIELDS)
def test_the_footprint_holds_the_field(items, ran, name):
    """The skin's own corners, by the projection's formula on its own datum (NAD83, within 2 m of WGS 84; the grid reaches 3 m farther)."""
    layout = from_plain(records.read(ran.root / WHERE.layout(name)))
    crs = read_crs(layout.grid.crs)
    skin = shapely.MultiPoint([lon_lat(crs, e, n) for e, n in shapely.get_coordinates(layout.skin)])
    for item in (i for i in items.values() if i["collection"] == name and i["geometry"]):
        west, south, east, north = item["bbox"]
        assert shapely.geometry.shape(item["geometry"]).contains(skin)
        assert item["geometry"]["type"] == "Polygon" and (east - west) * 111320 < 400 and (north - south) * 111320 < 400


@pytest.mark.analytic
def test_a_refused_survey_is_listed_with_its_reason_and_without_a_place(items):
    refused = items["two-lamps_survey_two-lamps-2025-07"]
    assert refused["geometry"] is None and "bbox" not in refused and list(refused["assets"]) == ["survey.json"]
    assert refused["properties"]["skinplane:verdict"] == "refused" and "165 m east" in refused["properties"]["description"]
    assert refused["properties"]["datetime"].startswith("2025-07-10")


@pytest.mark.analytic
def test_items_speak_of_the_days_that_were_flown(items, ran):
    for name in FIELDS:
        for record in (ran.root / WHERE.field(name) / "surveys").glob("*/survey.json"):
            made = json.loads(record.read_text())
            item = items[f"{name}_survey_{made['survey_id']}"]
            assert item["properties"]["datetime"][:10] == made["flown_on"] and item["properties"]["skinplane:verdict"] == made["verdict"]
    pair = items["moth_change_moth-2025-04_moth-2026-04"]["properties"]
    assert (pair["datetime"], pair["start_datetime"][:10], pair["end_datetime"][:10]) == (None, "2025-04-08", "2026-04-07")
    assert items["two-lamps_change_two-lamps-2025-04_two-lamps-2026-04"]["properties"]["skinplane:relative"] is True  # not tied to stable ground


@pytest.fixture
def served(ran):
    """The results by a plain web server of the standard library, on this machine alone, below no folder of its own."""
    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *_):
            """Nothing."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=str(ran.results))) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        thread.join()


@pytest.mark.independent
def test_the_same_tree_is_found_over_a_web_server_and_in_another_folder(tree, served, ran, tmp_path):
    def got(address: str) -> bytes:
        with urllib.request.urlopen(address) as answer:
            return answer.read()

    over_http = dict(walk(f"{served}/catalog.json", got))
    assert sorted(r["id"] for r in over_http.values()) == sorted(r["id"] for r in tree.values())
    sizes = [(len(got(there)), record["assets"][name]["file:size"]) for address, record in over_http.items() if "moth_survey_moth-2026-04" in address
             for name in record["assets"] for there in [urllib.parse.urljoin(address, record["assets"][name]["href"])]]  # fmt: skip
    assert len(sizes) == 4 and all(a == b for a, b in sizes)
    (tmp_path / "moved here").symlink_to(ran.results)
    assert len(list(pystac.Catalog.from_file(str(tmp_path / "moved here" / "catalog.json")).get_items(recursive=True))) == sum(r["type"] == "Feature" for r in tree.values())


@pytest.mark.independent
def test_a_library_that_reads_and_writes_the_tree_again_changes_nothing_it_says(ran, tmp_path):
    """Round trip by pystac, without its own migration of extensions."""
    catalog = pystac.Catalog.from_file(str(ran.root / WHERE.catalogue))
    for item in catalog.get_items(recursive=True):
        source = json.loads(Path(item.get_self_href()).read_text())
        again = pystac.Item.from_dict(source, migrate=False).to_dict(include_self_link=False, transform_hrefs=False)
        assert {k: v for k, v in again.items() if k != "links"} == {k: v for k, v in source.items() if k != "links"}
        assert pystac.Item.from_dict(again, migrate=False).datetime == item.datetime
