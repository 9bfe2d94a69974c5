"""Where a grid lies on the earth, boxes, and the words of records: against formulas and against another engine."""

from __future__ import annotations

import pytest
import shapely
from rasterio.warp import transform as gdal_transform
from pyproj import CRS

from pipeline.frame import Grid
from pipeline.report.catalogue import collections
from pipeline.report.catalogue.assets import Seen, asset, href, known
from pipeline.report.catalogue.footprint import footprint, projection, union_box
from pipeline.report.catalogue.items import Field, item, item_id
from pipeline.settings import Catalogue
from report.scene import WORDS
from support.site_plan import LOCAL

AT_180 = CRS.from_proj4("+proj=tmerc +lat_0=0 +lon_0=180 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m").to_wkt("WKT2_2019")


def grid(crs: str, west: float, north: float, metres: float = 60.0) -> Grid:
    return Grid.covering((west, north - metres, west + metres, north), crs, 0.5)


def field(made: Grid, name: str = "Moth Field") -> Field:
    return Field("moth", name, made, made.crs, "results/fields/moth/items", footprint(made), WORDS)


@pytest.mark.independent
@pytest.mark.parametrize(("crs", "west", "north"), [("EPSG:6564", 627452.0, 84081.0), ("EPSG:6550", 507200.0, 176000.0), ("EPSG:32718", 500000.0, 7000000.0)])
def test_the_footprint_is_where_another_engine_puts_the_corners(crs, west, north):
    """GDAL's own transformation of the four corners, to 2 mm of an arc; both hemispheres."""
    made = grid(crs, west, north)
    found = footprint(made)
    lons, lats = gdal_transform(crs, "EPSG:4326", [west, west + 60, west + 60, west], [north - 60, north - 60, north, north])
    ring = found.geometry["coordinates"][0]
    for lon, lat in zip(lons, lats):
        assert min(abs(x - lon) + abs(y - lat) for x, y in ring) < 2e-8
    assert ring[0] == ring[-1] and shapely.LinearRing(ring).is_ccw  # RFC 7946: outer rings counter-clockwise
    assert found.bbox == pytest.approx([min(x for x, _ in ring), min(y for _, y in ring), max(x for x, _ in ring), max(y for _, y in ring)], abs=0)
    assert 0 <= found.accuracy_m <= 5 and shapely.Polygon(ring).is_valid


@pytest.mark.analytic
def test_a_field_across_180_degrees_is_cut_there_and_its_box_begins_in_the_west():
    """30 m on either side of the meridian, at the equator of WGS 84: 30 / 6378137 rad each."""
    found = footprint(grid(AT_180, -30.0, 30.0))
    half = 30 / 6378137 * 180 / 3.141592653589793
    assert found.geometry["type"] == "MultiPolygon" and len(found.geometry["coordinates"]) == 2
    assert found.bbox[0] == pytest.approx(180 - half, abs=2e-8) and found.bbox[2] == pytest.approx(-180 + half, abs=2e-8)
    for part in found.geometry["coordinates"]:
        (ring,) = part
        assert shapely.LinearRing(ring).is_ccw and max(x for x, _ in ring) - min(x for x, _ in ring) < 1
    assert union_box([found.bbox, [179.0, 0.0, 179.5, 1.0]]) == pytest.approx([179.0, found.bbox[1], found.bbox[2], 1.0])


@pytest.mark.analytic
def test_boxes_join():
    assert union_box([]) is None and union_box([[1.0, 2.0, 3.0, 4.0]]) == [1.0, 2.0, 3.0, 4.0]
    assert union_box([[-3.0, 2.0, -1.0, 4.0], [0.5, 1.0, 2.0, 3.0]]) == [-3.0, 1.0, 2.0, 4.0]


@pytest.mark.invariant
def test_a_field_whose_datum_nobody_knows_gets_no_place_and_says_so():
    """STAC 1.0: without geometry there is no bbox; a collection needs one, so the field is a catalog and its items are in none."""
    made = field(grid(LOCAL, 1200.0, 1300.0))
    assert made.place.geometry is None and made.place.bbox is None and "no exact step" in made.place.reason
    one = item(made, item_id("moth", "survey", "a"), "survey", ["2026-04-07"], [], {"survey_id": "a", "source": "lidar", "verdict": "absolute"})
    assert one["geometry"] is None and "bbox" not in one and "collection" not in one
    assert one["properties"]["skinplane:place"] == made.place.reason and not [link for link in one["links"] if link["rel"] == "collection"]
    assert one["properties"]["proj:epsg"] is None and "Unknown site datum" in one["properties"]["proj:wkt2"] and one["properties"]["proj:bbox"] == [1200, 1240, 1260, 1300]
    whole = collections.of_field(made, [one], Catalogue())
    assert whole["type"] == "Catalog" and "extent" not in whole and made.place.reason in whole["description"]
    over = collections.over_all([whole], [Seen("results/hazards.csv", "hazards.csv", 3, "0" * 64)], "results", Catalogue(), WORDS)
    assert over["type"] == "Catalog" and [link["href"] for link in over["links"] if link["rel"] == "related"] == ["./hazards.csv"]


@pytest.mark.analytic
def test_what_the_owner_states_is_said_and_what_not_is_not_invented():
    """STAC 1.0, collection spec: `proprietary` for all that is neither an SPDX licence nor `various`; providers may be left out."""
    made = field(grid("EPSG:6564", 627452.0, 84081.0))
    none = collections.of_field(made, [], Catalogue())
    assert none["license"] == "proprietary" and "stated no licence" in none["description"] and "providers" not in none
    assert none["extent"]["temporal"]["interval"] == [[None, None]]
    said = collections.of_field(made, [], Catalogue(provider="Quillmarsh", licence="CC-BY-4.0", licence_url="https://example.org/licence"))
    assert said["license"] == "CC-BY-4.0" and "stated no licence" not in said["description"] and said["providers"] == [{"name": "Quillmarsh"}]
    assert {"rel": "license", "href": "https://example.org/licence"} in said["links"]
    with pytest.raises(ValueError, match="licence"):
        Catalogue(licence="all rights reserved")


@pytest.mark.invariant
def test_ids_that_look_like_others_joined_stay_apart():
    """Ids may hold `--` and the words of items, never `_`: no two triples come out alike."""
    words = ["a", "b", "a--b", "b--c", "c", "-", "--", "survey", "change-a", "record"]
    made = [item_id(f, kind, *rest) for f in words for kind, rest in [("record", ())] + [("survey", (s,)) for s in words] + [("change", (s, t)) for s in words for t in words]]
    assert len(set(made)) == len(made)


@pytest.mark.analytic
def test_days_are_days_and_the_hour_is_not_claimed():
    made = field(grid("EPSG:6564", 627452.0, 84081.0))
    one = item(made, "x", "survey", ["2026-04-07"], [], {"survey_id": "a", "source": "lidar", "verdict": "absolute"})["properties"]
    two = item(made, "y", "change", ["2026-04-07", "2025-07-01"], [], {"from_survey": "a", "to_survey": "b", "relative": False})["properties"]
    assert (one["datetime"], one["start_datetime"], one["end_datetime"]) == ("2026-04-07T12:00:00Z", "2026-04-07T00:00:00Z", "2026-04-07T23:59:59Z")
    assert (two["datetime"], two["start_datetime"], two["end_datetime"]) == (None, "2025-07-01T00:00:00Z", "2026-04-07T23:59:59Z")
    assert two["skinplane:relative"] is False and "updated" not in one and "created" not in one


@pytest.mark.analytic
def test_references_are_relative_and_hold_no_sign_that_means_something():
    assert href("results/fields/a/surveys/s/sigma.tif", "results/fields/a/items") == "../surveys/s/sigma.tif"
    assert href("results/hazards.csv", "results") == "./hazards.csv" and href("results/a b#c?.csv", "results") == "./a%20b%23c%3F.csv"


@pytest.mark.analytic
def test_what_a_gis_leaves_beside_a_file_is_no_product():
    beside = ("design.tif.aux.xml", "field.gpkg-wal", "~$workbook.xlsx", ".hidden.csv", "design.tif.ovr", "notes", "field.qgz")
    assert not [name for name in beside if known(name)]
    assert all(map(known, ("workbook.xlsx", "week.pdf", "plans/2026-2026-04-09-01.csv", "styles/lip.sld", "design.dxf")))


@pytest.mark.analytic
def test_exports_in_another_unit_say_so_and_a_name_without_words_is_its_own_title():
    own = asset(Seen("results/fields/a/grade/design.xml", "design.xml", 1, "ab" * 32), "results/fields/a/items", WORDS, "EPSG:6565")
    assert own["proj:epsg"] == 6565 and own["file:checksum"] == "1220" + "ab" * 32 and own["type"] == "application/xml"
    assert asset(Seen("r/passes.gpx", "passes.gpx", 1, "0" * 64), "r", WORDS, "EPSG:6565")["proj:epsg"] == 4326
    assert "proj:epsg" not in asset(Seen("r/lip_work.csv", "lip_work.csv", 1, "0" * 64), "r", WORDS, "EPSG:6565")
    assert asset(Seen("r/new_thing.pdf", "new_thing.pdf", 1, "0" * 64), "r", WORDS)["title"] == "new_thing.pdf"
    assert projection("EPSG:6565") == {"proj:epsg": 6565}
