"""pipeline/store/points.py, points_las.py: clouds as their makers leave them, and files that are no such thing."""

from __future__ import annotations

import logging
import tracemalloc
import zipfile

import laspy
import numpy as np
import pytest
from pyproj import CRS
from support.cloud_files import all_points, coordinates, refused, write_las

from pipeline.coordinates import in_unit
from pipeline.frame import Grid
from pipeline.store.points import open_points
from pipeline.survey.reading.project import fit
from pipeline.survey.reading.reference import resolve
from pipeline.survey.reading.stated import Stated

WKT = CRS.from_user_input("EPSG:6565+6360").to_wkt("WKT1_GDAL")
HOME = np.array([1_338_208.0, 250_886.0, 1000.0])


def cloud(n: int, seed: int = 3) -> np.ndarray:
    """Points of a flat field in feet, (n, 3), whole thousandths."""
    rng = np.random.default_rng(seed)
    return HOME + np.round(rng.uniform(0, 300, (n, 3)) * [1, 1, 0.01], 3)


@pytest.mark.analytic
@pytest.mark.parametrize("name", ["june.las", "june.laz"])
def test_a_cloud_comes_back_to_the_last_digit_with_its_facts(tmp_path, name):
    xyz = cloud(5000)
    rgb, intensity = np.tile([[65535, 256, 255]], (5000, 1)), np.arange(5000)
    file = open_points(write_las(tmp_path / name, xyz, wkt=WKT, rgb=rgb, intensity=intensity))
    facts = file.facts
    assert (facts.kind, facts.n_points, facts.has_rgb, facts.has_intensity,
            facts.crs_error) == ("las", 5000, True, True, None)
    np.testing.assert_allclose(facts.bounds, (*xyz.min(axis=0), *xyz.max(axis=0)), atol=1e-9)
    chunk = all_points(file, want_rgb=True, want_intensity=True)
    assert chunk.x.dtype == np.int32
    np.testing.assert_allclose(coordinates(chunk), xyz, atol=1e-6)
    np.testing.assert_array_equal(chunk.rgb, np.tile([[255, 1, 0]], (5000, 1)))
    np.testing.assert_array_equal(chunk.intensity, intensity)
    assert file.tally.read == 5000 and not file.tally.removed() and not file.tally.remarks("june")
    reference = resolve(facts, Stated("photogrammetry"), "EPSG:6565")
    assert (reference.crs.to_epsg(), reference.vertical_unit,
            reference.height_reference) == (6565, "us-ft", "EPSG:5703")


@pytest.mark.analytic
def test_a_file_of_nothing_but_ground_is_known_from_one_that_holds_more(tmp_path):
    path = write_las(tmp_path / "june.laz", cloud(100))
    las = laspy.read(path)
    for klass, only in ((2, True), (1, False), (np.r_[1, [2] * 99], False)):
        las.classification = np.broadcast_to(klass, 100)
        las.write(path)
        file = open_points(path)
        assert not file.tally.ground_only  # nobody knows before the points were read
        all_points(file, size=30)
        assert file.tally.ground_only is only


@pytest.mark.invariant
@pytest.mark.parametrize("size", [1, 777, 100_000])
def test_the_size_of_the_chunks_does_not_matter(tmp_path, size):
    n = 2000 if size == 1 else 130_000
    rgb = np.random.default_rng(1).integers(0, 65536, (n, 3))
    file = open_points(write_las(tmp_path / "june.laz", cloud(n), rgb=rgb))
    whole = all_points(file, want_rgb=True, size=10**7)
    parts = all_points(file, want_rgb=True, size=size)
    for name in ("x", "y", "z", "klass", "rgb"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(parts, name))
    assert file.facts == open_points(tmp_path / "june.laz").facts
    assert max(len(c) for c in file.chunks(size=size)) <= size


@pytest.mark.invariant
def test_one_cloud_written_in_metres_us_feet_and_feet_is_one_cloud_on_the_field(tmp_path):
    rng = np.random.default_rng(4)
    metres = np.array([76_527.0, 174_900.0, 310.0]) + rng.uniform(0, 90, (500, 3)) * [1, 1, 0.01]
    grid = Grid.covering((76_520.0, 174_890.0, 76_620.0, 175_000.0), "EPSG:6512", 0.10)
    zone, found = CRS.from_epsg(6512), {}
    for word, foot in (("m", 1.0), ("us-ft", 1200 / 3937), ("ft", 0.3048)):
        wkt = in_unit(zone, word).to_wkt("WKT1_GDAL")
        path = write_las(tmp_path / f"{word}.laz", metres / foot, scale=1e-5, wkt=wkt)
        file = open_points(path)
        projection = fit(resolve(file.facts, Stated("lidar", None, word), "EPSG:6512"), grid)
        x, y, z = coordinates(all_points(file, size=73)).T
        found[word] = np.column_stack([*projection.apply(x, y), z * projection.z_factor])
    for word in found:
        assert np.abs(found[word] - metres).max() < 1e-4, word


@pytest.mark.independent  # laspy, everything read at once
@pytest.mark.parametrize("point_format, version", [(2, "1.2"), (3, "1.2"), (6, "1.4"), (7, "1.4"), (8, "1.4")])
def test_every_point_format_agrees_with_the_library_read_whole(tmp_path, point_format, version):
    n = 60_001
    rng = np.random.default_rng(2)
    withheld = rng.random(n) < 0.1
    rgb = rng.integers(0, 65536, (n, 3)) if point_format != 6 else None
    path = write_las(tmp_path / "june.laz", cloud(n), rgb=rgb, withheld=withheld, intensity=rng.integers(0, 9, n),
                     point_format=point_format, version=version)
    las = laspy.read(path)
    kept = ~np.asarray(las.withheld).astype(bool)
    file = open_points(path)
    chunk = all_points(file, want_rgb=True, want_intensity=True, size=7000)
    np.testing.assert_array_equal(coordinates(chunk), las.xyz[kept])
    np.testing.assert_array_equal(chunk.klass, np.asarray(las.classification)[kept])
    np.testing.assert_array_equal(chunk.intensity, np.asarray(las.intensity)[kept])
    if rgb is None:
        assert chunk.rgb is None
    else:
        np.testing.assert_array_equal(chunk.rgb, (rgb[kept] >> 8).astype(np.uint8))
    assert file.tally.removed() == {"withheld": int(withheld.sum())}


@pytest.mark.analytic
@pytest.mark.parametrize("most, expected, has", [(255, 255, True), (65535, 255, True), (0, None, False)])
def test_colours_are_eight_bit_whatever_the_file_keeps_and_all_black_is_none(tmp_path, most, expected, has):
    file = open_points(write_las(tmp_path / "june.laz", cloud(100), rgb=np.full((100, 3), most)))
    assert file.facts.has_rgb is has
    chunk = all_points(file, want_rgb=True)
    assert (chunk.rgb is None) if expected is None else (chunk.rgb == expected).all()


@pytest.mark.analytic
def test_a_deep_colour_in_a_shallow_file_is_counted(tmp_path):
    n = 200_000
    rgb = np.full((n, 3), 100)
    rgb[50_000:50_007] = 40_000  # between the places that are looked at first
    file = open_points(write_las(tmp_path / "june.laz", cloud(n), rgb=rgb))
    chunk = all_points(file, want_rgb=True)
    assert file.tally.mixed_colour == 7 and "another depth" in file.tally.remarks("june.laz")[0]
    np.testing.assert_array_equal(chunk.rgb[50_000], [40_000 >> 8] * 3)


@pytest.mark.analytic
def test_a_header_whose_box_is_wrong_is_not_believed(tmp_path):
    path = write_las(tmp_path / "june.las", cloud(1000))
    raw = bytearray(path.read_bytes())
    box = np.array([10.0, 0.0, 10.0, 0.0, 10.0, 0.0])  # LAS 1.4 R15, table 3: max x, min x, max y, ... at byte 179
    raw[179 : 179 + 48] = box.tobytes()
    path.write_bytes(raw)
    file = open_points(path)
    assert any("outside the box" in remark for remark in file.facts.remarks)
    assert file.facts.typical[0] >= HOME[0]
    list(file.chunks())
    assert file.tally.beyond_header == file.tally.read == 1000


@pytest.mark.invariant
def test_memory_stays_with_the_chunk_and_not_with_the_file(tmp_path):
    path = write_las(tmp_path / "june.laz", cloud(600_000))
    file = open_points(path)

    def peak(size: int) -> int:
        tracemalloc.start()
        for _ in file.chunks(size=size):
            pass
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return top

    assert peak(50_000) < 0.25 * peak(600_000)


@pytest.mark.invariant
@pytest.mark.parametrize("name", ["june.las", "june.laz"])
def test_a_cloud_that_breaks_off_is_refused(tmp_path, name):
    path = write_las(tmp_path / name, cloud(120_000))
    whole = path.read_bytes()
    for share in (0.001, 0.5, 0.999):
        path.write_bytes(whole[: int(len(whole) * share)])
        error = refused(path)
        assert error.code == "unreadable" and "again" in error.reason
        assert "buffer" not in error.reason and "Error" not in error.reason


@pytest.mark.invariant
def test_a_cloud_damaged_inside_is_refused_after_the_points_before(tmp_path, caplog):
    path = write_las(tmp_path / "june.laz", cloud(400_000))
    raw = bytearray(path.read_bytes())
    raw[len(raw) // 2 : len(raw) // 2 + 4000] = bytes(4000)
    path.write_bytes(raw)
    with caplog.at_level(logging.CRITICAL):
        assert refused(path).code == "unreadable"


@pytest.mark.invariant
def test_a_cloud_of_nothing_and_a_cloud_all_withheld_hold_no_points(tmp_path):
    empty = tmp_path / "empty.las"
    laspy.LasData(laspy.LasHeader(point_format=7, version="1.4")).write(empty)
    assert refused(empty).code == "no_points"
    hidden = write_las(tmp_path / "hidden.laz", cloud(50), withheld=np.ones(50, bool))
    assert refused(hidden).code == "no_points"


@pytest.mark.invariant
def test_keys_alone_an_empty_record_and_signs_of_no_alphabet_are_all_read(tmp_path):
    keyed = open_points(write_las(tmp_path / "keys.las", cloud(10), keys={1024: 1, 3072: 6565, 3076: 9003, 4099: 9003},
                                  point_format=3, version="1.2"))
    assert dict(keyed.facts.geokeys) == {1024: 1, 3072: 6565, 3076: 9003, 4099: 9003}
    assert resolve(keyed.facts, Stated("lidar"), "EPSG:6565").vertical_unit == "us-ft"
    empty = open_points(write_las(tmp_path / "empty.las", cloud(10), wkt="''"))
    assert empty.facts.crs_wkt is None and "empty" in empty.facts.crs_error
    path = write_las(tmp_path / "latin.las", cloud(10), wkt=WKT)
    raw = path.read_bytes()
    at = raw.index(b"NAD83(2011) / Pennsylvania")
    path.write_bytes(raw[: at + 6] + b"\xe9" + raw[at + 7 :])
    assert open_points(path).facts.crs_wkt is not None or open_points(path).facts.crs_error is not None


@pytest.mark.invariant
@pytest.mark.parametrize(
    "name, content, says",
    [("june.laz", b"point,e,n\n1,2,3\n", "something else under that name"), ("june.laz", b"", "an empty file"),
     ("june.csv", b"LASF" + bytes(400), "a LAS or LAZ cloud under that name"),
     ("june.csv.gz", b"e,n,z\n1,2,3\n", "something else under that name"),
     ("june.csv", b"\x1f\x8b" + bytes(40), "a gzip archive under that name"),
     ("june.tif", b"\x89PNG" + bytes(99), "something else"),
     ("june.xyz", b"1 2 3\n", "once it is called .csv"), ("june.zip", b"PK", "a name of no known kind"),
     ("june.csv", b"e,n,z\n\xff\xfe,2,3\n", "damaged")],
)  # fmt: skip
def test_a_file_that_is_not_what_its_name_says_is_refused(tmp_path, name, content, says):
    path = tmp_path / name
    path.write_bytes(content)
    error = refused(path)
    assert error.code == "unreadable" and says in error.reason and error.reason.endswith(".")


@pytest.mark.invariant
def test_a_folder_a_missing_file_and_a_zipped_cloud_are_refused(tmp_path):
    assert "a folder" in refused(tmp_path).reason
    assert "no such file" in refused(tmp_path / "gone.laz").reason
    with zipfile.ZipFile(tmp_path / "june.laz", "w") as archive:
        archive.writestr("june.las", b"LASF")
    assert "a zip archive" in refused(tmp_path / "june.laz").reason


@pytest.mark.invariant
def test_a_fault_of_the_house_is_not_dressed_up_as_a_broken_file(tmp_path, monkeypatch):
    file = open_points(write_las(tmp_path / "june.las", cloud(10)))
    monkeypatch.setattr(type(file), "_chunk", lambda *_: None.x)
    with pytest.raises(AttributeError):
        list(file.chunks())
