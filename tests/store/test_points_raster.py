"""pipeline/store/points_raster.py: rasters of heights as points."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.errors import NotGeoreferencedWarning
from support.cloud_files import all_points, coordinates, refused

from pipeline.store.points import open_points
from pipeline.survey.reading.reference import resolve
from pipeline.survey.reading.stated import Stated


def write_tif(path: Path, z: np.ndarray, crs: str | None = "EPSG:6564", unit: str | None = None, **more) -> Path:
    profile = {"driver": "GTiff", "height": z.shape[-2], "width": z.shape[-1], "count": 1 if z.ndim == 2 else len(z),
               "dtype": z.dtype,
               "crs": crs, "transform": rasterio.Affine(0.5, 0.0, 407_886.0, 0.0, -0.5, 76_500.0), **more}  # fmt: skip
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(z, 1) if z.ndim == 2 else raster.write(z)
        if unit:
            raster.units = (unit,)
    return path


@pytest.mark.analytic
@pytest.mark.parametrize("size", [1, 7, 12, 1000])
def test_a_raster_gives_the_centres_of_its_cells(tmp_path, size):
    z = np.arange(20, dtype=np.float32).reshape(4, 5) + 100
    file = open_points(write_tif(tmp_path / "dem.tif", z))
    assert file.facts.kind == "raster" and file.facts.pixel == (0.5, 0.5)
    x, y, h = coordinates(all_points(file, size=size)).T
    np.testing.assert_array_equal(x, np.tile(407_886.25 + 0.5 * np.arange(5), 4))
    np.testing.assert_array_equal(y, np.repeat(76_499.75 - 0.5 * np.arange(4), 5))
    np.testing.assert_array_equal(h, z.ravel())
    assert max(len(c) for c in file.chunks(size=size)) <= size


@pytest.mark.analytic
@pytest.mark.parametrize("dtype, nodata, hole",
                         [("float32", -9999.9, -9999.9), ("float32", None, np.nan),
                          ("float32", -3.4028230607370965e38, -3.4028235e38),
                                                  ("int16", -32768, -32768), ("float64", -9999, -9999)])  # fmt: skip
def test_cells_without_a_height_are_left_out_however_they_are_marked(tmp_path, dtype, nodata, hole):
    z = np.full((3, 4), 120).astype(dtype)
    z[1, 2] = hole
    file = open_points(write_tif(tmp_path / "dem.tif", z, nodata=nodata))
    assert len(all_points(file).x) == 11 and file.tally.removed() == {"empty": 1}
    assert file.facts.typical[2] == file.facts.typical[5] == 120


@pytest.mark.analytic
def test_a_mask_and_a_scale_kept_beside_the_numbers_count(tmp_path):
    path = write_tif(tmp_path / "dem.tif", np.full((3, 4), 1200, np.int16))
    with rasterio.open(path, "r+") as raster:
        raster.scales, raster.offsets = (0.1,), (5.0,)
        raster.write_mask(np.arange(12).reshape(3, 4) != 5)
    chunk = all_points(open_points(path))
    assert len(chunk.x) == 11
    np.testing.assert_allclose(chunk.z, 125.0)


@pytest.mark.analytic
@pytest.mark.parametrize("unit, word",
                         [("metre", "m"), ("US survey foot", "us-ft"), ("foot", "ft"), ("ft", None), ("feet", None),
                          (None, None)])
def test_a_band_s_unit_is_used_only_where_it_is_one_unit(tmp_path, unit, word):
    facts = open_points(write_tif(tmp_path / "dem.tif", np.full((3, 4), 120.0, np.float32), unit=unit)).facts
    assert facts.height_unit == word
    assert any("more than one thing" in remark for remark in facts.remarks) == (unit in ("ft", "feet"))


@pytest.mark.independent  # rasterio's own cell centres, on a turned raster
def test_a_turned_raster_keeps_its_places(tmp_path):
    turned = rasterio.Affine(0.4, 0.3, 407_886.0, 0.3, -0.4, 76_500.0)
    path = write_tif(tmp_path / "dem.tif", np.full((3, 4), 120.0, np.float32), transform=turned)
    with rasterio.open(path) as raster:
        rows, cols = np.indices(raster.shape)
        x, y = raster.xy(rows.ravel(), cols.ravel())
    found = coordinates(all_points(open_points(path)))
    np.testing.assert_allclose(found[:, :2], np.column_stack([x, y]), atol=1e-9)


@pytest.mark.invariant
def test_pictures_empty_rasters_and_rasters_of_nowhere_are_refused(tmp_path):
    picture = write_tif(tmp_path / "photo.tif", np.full((3, 3, 4), 9, np.uint8))
    assert "3 bands" in refused(picture).reason
    with pytest.warns(NotGeoreferencedWarning):
        nowhere = write_tif(tmp_path / "scan.tif", np.full((3, 4), 9.0, np.float32), crs=None, transform=None)
    assert "without a place" in refused(nowhere).reason
    hollow = write_tif(tmp_path / "hollow.tif", np.full((3, 4), np.nan, np.float32))
    assert refused(hollow).code == "no_points"
    broken = write_tif(tmp_path / "broken.tif", np.random.default_rng(1).random((300, 300), np.float32))
    broken.write_bytes(broken.read_bytes()[:40_000])
    assert refused(broken).code == "unreadable"


@pytest.mark.independent  # EPSG registry: 8774 is NAD83 / Pennsylvania South (ftUS) + NAVD88 height (ftUS)
def test_a_raster_whose_header_says_its_heights_needs_no_unit_in_the_table(tmp_path):
    z = np.full((3, 4), 980.0, np.float32)
    corner = rasterio.Affine(1.0, 0.0, 1_338_208.0, 0.0, -1.0, 250_886.0)
    facts = open_points(write_tif(tmp_path / "dem.tif", z, crs="EPSG:8774", transform=corner)).facts
    found = resolve(facts, Stated("raster", sigma_mm=8.0), "EPSG:2272")
    assert (found.crs.to_epsg(), found.vertical_unit, found.height_reference) == (2272, "us-ft", "EPSG:5703")
