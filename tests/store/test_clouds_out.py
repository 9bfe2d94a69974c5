"""Files that the simulator writes: readable by others, whole, and the same bytes for the same content."""

from __future__ import annotations

import gzip
import hashlib
from datetime import date
from uuid import UUID

import laspy
import numpy as np
import pytest
from pyproj import CRS

from pipeline.store import clouds_out

GUID = UUID(int=7)


def written(path, crs="EPSG:6565+6360", **more):
    rng = np.random.default_rng(1)
    x, y, z = (rng.integers(0, 90_000, 500).astype(np.int32) for _ in range(3))
    clouds_out.write_laz(path, x, y, z, (2058000.0, 275600.0, 500.0), 0.001, crs, date(2025, 4, 7), GUID, **more)
    return x, y, z


@pytest.mark.independent  # laspy reads it back
def test_a_laz_cloud_reads_back_count_for_count(tmp_path):
    rgb = np.random.default_rng(2).integers(0, 256, (500, 3)).astype(np.uint8)
    x, y, z = written(tmp_path / "a.laz", rgb=rgb)
    las = laspy.read(tmp_path / "a.laz")
    assert (np.array_equal(las.X, x), np.array_equal(las.Y, y), np.array_equal(las.Z, z)) == (True, True, True)
    assert las.x[3] == pytest.approx(2058000.0 + x[3] * 0.001)
    for channel, name in enumerate(("red", "green", "blue")):
        assert np.array_equal(np.asarray(las[name]), rgb[:, channel].astype(int) * 257)
    said = str(las.header.version), las.header.point_format.id, las.header.creation_date
    assert said == ("1.4", 7, date(2025, 4, 7))
    assert las.header.uuid == GUID and (np.asarray(las.classification) == 0).all()


@pytest.mark.independent  # PROJ reads the header's WKT
@pytest.mark.parametrize("crs, axes", [("EPSG:6565+6360", 3), ("EPSG:6550+5703", 3), ("EPSG:6550", 2)])
def test_the_headers_wkt_says_the_crs(tmp_path, crs, axes):
    written(tmp_path / "a.laz", crs)
    read = laspy.read(tmp_path / "a.laz").header.parse_crs()
    assert len(read.axis_info) == axes and read.is_compound == (axes == 3)
    wanted = CRS.from_user_input(crs)
    assert read.name == wanted.name
    assert [a.unit_conversion_factor for a in read.axis_info] == [a.unit_conversion_factor for a in wanted.axis_info]


@pytest.mark.independent
def test_lidar_keeps_intensity_strip_and_time_and_has_no_colour(tmp_path):
    time = np.linspace(0, 9, 500)
    intensity, source = np.full(500, 15000, np.uint16), np.full(500, 3, np.uint16)
    written(tmp_path / "a.laz", intensity=intensity, source=source, time_s=time)
    las = laspy.read(tmp_path / "a.laz")
    assert las.header.point_format.id == 6 and "red" not in las.point_format.dimension_names
    assert set(las.intensity) == {15000} and set(las.point_source_id) == {3} and np.array_equal(las.gps_time, time)


@pytest.mark.invariant
def test_the_same_content_gives_the_same_bytes(tmp_path):
    sums = []
    for name in ("a", "b"):
        written(tmp_path / f"{name}.laz")
        clouds_out.write_columns(tmp_path / f"{name}.csv.gz", {"e": ["1.000"], "n": ["2.000"]})
        clouds_out.write_truth(tmp_path / "truth", name, {"b": 1, "a": 2}, {"z": np.arange(5.0)})
        files = [f"{name}.laz", f"{name}.csv.gz", f"truth/{name}.json", f"truth/{name}.npz"]
        sums.append([hashlib.sha256((tmp_path / f).read_bytes()).hexdigest() for f in files])
    assert sums[0] == sums[1]


@pytest.mark.analytic
def test_columns_and_rows_become_plain_csv(tmp_path):
    clouds_out.write_columns(tmp_path / "a.csv.gz", {"e": ["1.000", "3.000"], "n": ["2.000", "4.000"]})
    assert gzip.decompress((tmp_path / "a.csv.gz").read_bytes()) == b"e,n\n1.000,2.000\n3.000,4.000\n"
    clouds_out.write_rows(tmp_path / "b.csv", [{"a": "1", "b": "x, y"}])
    assert (tmp_path / "b.csv").read_text() == 'a,b\n1,"x, y"\n'
    with pytest.raises(ValueError):
        clouds_out.write_columns(tmp_path / "c.csv", {"e": ["1"], "n": []})


@pytest.mark.invariant
def test_a_write_that_fails_leaves_nothing_behind(tmp_path):
    with pytest.raises(Exception, match="EPSG:1"):
        written(tmp_path / "a.laz", "EPSG:1")
    with pytest.raises(TypeError):
        clouds_out.write_truth(tmp_path / "truth", "a", {"a": object()}, {})
    assert list(tmp_path.rglob("*.*")) == []
