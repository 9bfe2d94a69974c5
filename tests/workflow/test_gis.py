"""What a GIS department is handed, after a whole run: held against open standards by validators that are not ours."""

from __future__ import annotations

import json
import sqlite3
import warnings
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas
import pyogrio
import pytest
import rasterio

from pipeline.diamond.carry import from_plain
from pipeline.store import records
from pipeline.store.where import Where

WHERE = Where("results")
FIELDS = ("moth", "two-lamps")
OGC, SLD = "{http://www.opengis.net/ogc}", "{http://www.opengis.net/sld}"
HOLDS = {"PolygonSymbolizer": {"Polygon", "MultiPolygon"}, "LineSymbolizer": {"LineString", "MultiLineString", "Polygon", "MultiPolygon"}, "PointSymbolizer": {"Point", "MultiPoint"}}


@pytest.mark.independent
def test_every_raster_is_a_cloud_optimized_geotiff_that_says_where_and_what_it_is(ran):
    """By `rio-cogeo`, strictly: no error and no warning."""
    from rio_cogeo.cogeo import cog_validate

    for field in FIELDS:
        crs = rasterio.CRS.from_user_input(from_plain(records.read(ran.root / WHERE.layout(field))).grid.crs)
        paths = sorted((ran.root / WHERE.field(field)).rglob("*.tif"))
        assert len(paths) > 10
        for path in paths:
            assert cog_validate(path, strict=True) == (True, [], []), path
            with rasterio.open(path) as raster:
                assert raster.crs == crs and raster.descriptions[0] and (raster.nodata is not None or raster.dtypes[0] == "uint32") and raster.tags()


@pytest.mark.independent
def test_the_cube_of_surveys_keeps_to_cf(ran, tmp_path):
    """By `compliance-checker`, CF-1.8, strictly: nothing is left to correct."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from compliance_checker.runner import CheckSuite, ComplianceChecker

        CheckSuite.load_all_available_checkers()
        for field in FIELDS:
            said = tmp_path / f"{field}.json"
            ComplianceChecker.run_checker(str(ran.root / WHERE.field(field) / "elevation.nc"), ["cf:1.8"], 0, "strict", output_filename=str(said), output_format="json")
            found = json.loads(said.read_text())["cf:1.8"]
            assert found["scored_points"] == found["possible_points"] > 50, found["all_priorities"]


@pytest.mark.independent
@pytest.mark.parametrize("field", FIELDS)
def test_the_geopackage_keeps_to_its_standard(ran, field):
    """By the statements of OGC 12-128r15, annex A (1.1.1 to 1.1.3 and 2.1), asked of the file in plain SQL."""
    with closing(sqlite3.connect(ran.root / WHERE.field(field) / "field.gpkg")) as file:
        ask = lambda sql: file.execute(sql).fetchall()
        assert ask("PRAGMA application_id") == [(0x47504B47,)] and ask("PRAGMA user_version")[0][0] >= 10200
        assert ask("PRAGMA integrity_check") == [("ok",)] and ask("PRAGMA foreign_key_check") == []
        assert {-1, 0, 4326} < {row[0] for row in ask("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        tables = {row[0] for row in ask("SELECT name FROM sqlite_master WHERE type = 'table'")}
        contents = dict(ask("SELECT table_name, data_type FROM gpkg_contents"))
        assert set(contents) <= tables and set(contents.values()) == {"features"} and len(contents) > 8
        columns = ask("SELECT table_name, column_name, srs_id FROM gpkg_geometry_columns")
        assert {row[0] for row in columns} == set(contents)
        for table, column, srs in columns:
            blobs = [row[0] for row in ask(f'SELECT "{column}" FROM "{table}" WHERE "{column}" IS NOT NULL')]
            assert all(b[:2] == b"GP" and b[2] == 0 and int.from_bytes(b[4:8], "little" if b[3] & 1 else "big", signed=True) == srs for b in blobs), table
            about = json.loads(ask(f"SELECT description FROM gpkg_contents WHERE table_name = '{table}'")[0][0])
            assert about, table


@pytest.mark.independent
@pytest.mark.parametrize("field", FIELDS)
def test_every_style_fits_its_layer_and_draws_all_of_it(ran, field):
    """Styles as OGC SLD 1.0 (02-070), layers as `geopandas` reads them: every rule asks for a column that is there, with a symbol for
    its kind of shape, and no shape is left without a rule."""
    folder = ran.root / WHERE.field(field)
    layers = {name for name, _ in pyogrio.list_layers(folder / "field.gpkg")}
    styles = {p.stem: ET.parse(p).getroot() for p in sorted(Path(ran.root / WHERE.styles(field)).glob("*.sld"))}
    assert set(styles) == layers
    for name, style in styles.items():
        frame = geopandas.read_file(folder / "field.gpkg", layer=name)
        frame = frame[~frame.geometry.isna()]
        assert style.tag == f"{SLD}StyledLayerDescriptor" and style.attrib["version"] == "1.0.0" and style.findtext(f"{SLD}NamedLayer/{SLD}Name") == name
        drawn = frame.geometry.isna()
        for rule in style.iter(f"{SLD}Rule"):
            assert {p.text for p in rule.iter(f"{OGC}PropertyName")} <= set(frame.columns), (name, rule.findtext(f"{SLD}Name"))
            mine = holds(rule.find(f"{OGC}Filter"), frame)
            kinds = next(HOLDS[e.tag.removeprefix(SLD)] for e in rule if e.tag.removeprefix(SLD) in HOLDS)
            assert set(frame.geometry[mine].geom_type) <= kinds, name
            drawn = drawn | mine
        assert drawn.all(), (name, frame[~drawn])


def holds(where: ET.Element | None, frame):
    """Which rows an OGC filter takes; only what the styles use of Filter Encoding 1.0."""
    if where is None:
        return frame.geometry.notna()
    (test,) = where
    return _test(test, frame)


def _test(test: ET.Element, frame):
    kind = test.tag.removeprefix(OGC)
    if kind == "And":
        out = frame.geometry.notna()
        for inner in test:
            out = out & _test(inner, frame)
        return out
    if kind == "PropertyIsNull":
        return frame[test.findtext(f"{OGC}PropertyName")].isna()
    column, value = frame[test.findtext(f"{OGC}PropertyName")], test.findtext(f"{OGC}Literal")
    if kind == "PropertyIsEqualTo":
        return column.astype(str).str.lower() == value.lower()
    number = float(value)
    return column < number if kind == "PropertyIsLessThan" else column >= number
