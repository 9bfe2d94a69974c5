"""A whole complex in one file, a file whose header says everything, and one in US survey feet far from any origin."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Transformer
from support.real_files import COMPLEX, COMPLEX_FIELDS, COMPLEX_SIDE_M, US_FOOT_M, carried, complex_of_two, dutch_corner, hillside

from pipeline.coordinates import working_crs
from pipeline.store.points_las import LasFile


@pytest.fixture(scope="module")
def complex_run(real_data, tmp_path_factory):
    """The run of both cells, and how often the file's points were decoded."""
    reads, chunks = [], LasFile.chunks

    def counted(self, *args, **kwargs):
        reads.append(self.facts.name)
        return chunks(self, *args, **kwargs)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(LasFile, "chunks", counted)
        run = complex_of_two(real_data, tmp_path_factory.mktemp("complex"))
    return run, reads


@pytest.mark.invariant
def test_a_file_that_covers_two_fields_is_decoded_once(complex_run):
    (chain, _, cell_m), reads = complex_run
    assert reads == ["open_field.laz"] * 2  # once on 0.10 m, once on the cell that was named
    assert cell_m == pytest.approx(0.7, abs=0.1)
    assert all(chain.record(field, "flight")["verdict"] == "relative_only" for field in COMPLEX_FIELDS)


@pytest.mark.independent  # laspy and numpy's least squares on the points the producer calls ground
@pytest.mark.parametrize("field", COMPLEX_FIELDS)
def test_each_field_gets_its_own_ground(real_data, complex_run, field):
    import laspy

    chain = complex_run[0][0]
    las = laspy.read(real_data / COMPLEX)
    x, y, z, klass = (np.asarray(v) for v in (las.x, las.y, las.z, las.classification))
    east, north = COMPLEX_FIELDS[field]
    half = COMPLEX_SIDE_M / 2
    here = (abs(x - east) < half) & (abs(y - north) < half) & (klass == 2)
    design = np.column_stack([np.ones(here.sum()), x[here] - east, y[here] - north])
    level, rise_e, rise_n = np.linalg.lstsq(design, z[here], rcond=None)[0]
    (row,) = chain.table(field, "zones")
    assert float(row["slope_pct"]) == pytest.approx(100 * np.hypot(rise_e, rise_n), abs=0.06)
    assert float(row["fall_bearing_deg"]) == pytest.approx(np.degrees(np.arctan2(-rise_e, -rise_n)) % 360, abs=2)
    elevation = chain.raster(chain.where.raster(field, "flight", "elevation"), field)
    assert np.nanmean(elevation[chain.layout(field).grid.mask(chain.layout(field).skin)]) == pytest.approx(level, abs=0.01)


@pytest.mark.independent  # README: class 65 is the producer's artefact class and must not be gridded; two of its ten points lie on each field
def test_the_producers_artefacts_are_left_out(complex_run):
    chain = complex_run[0][0]
    assert [chain.record(field, "flight")["removed"]["class_noise"] for field in COMPLEX_FIELDS] == [2, 2]


@pytest.mark.independent  # README: compound CRS EPSG:7415, metres above NAP
def test_a_complete_header_needs_no_word_from_the_operator(real_data, tmp_path):
    import laspy

    chain, _, cell_m = dutch_corner(real_data, tmp_path)
    record = chain.record("corner", "flight")
    assert record["verdict"] == "relative_only" and record["height_reference"] == "EPSG:5709" and cell_m <= 0.5
    notes = " ".join(record["notes"])
    assert "Heights are in metres, as the file says." in notes and "EPSG:28992" in notes
    las = laspy.read(real_data / "small/rd_nap.laz")
    x, y, z, klass = (np.asarray(v) for v in (las.x, las.y, las.z, las.classification))
    skin = chain.layout("corner").skin
    west, south, east, north = skin.bounds
    ground = (x > west) & (x < east) & (y > south) & (y < north) & (klass == 2)
    elevation = chain.raster(chain.where.raster("corner", "flight", "elevation"), "corner")
    assert np.nanmedian(elevation[chain.layout("corner").grid.mask(skin)]) == pytest.approx(np.median(z[ground]), abs=0.03)


@pytest.mark.independent  # pyproj, and README's bounds: x 6326726.54.., y 2068062.39.., z 2700.53..2975.71 US survey feet
def test_us_survey_feet_far_from_the_origin_come_out_in_metres(real_data):
    reference, xyz = carried(real_data / "small/usft_zone5.laz", "EPSG:2229")
    assert reference.z_factor == pytest.approx(US_FOOT_M, rel=1e-12)
    np.testing.assert_allclose((xyz[:, 2].min(), xyz[:, 2].max()), (2700.53 * US_FOOT_M, 2975.71 * US_FOOT_M), atol=0.005)
    metre = Transformer.from_crs("EPSG:2229", working_crs("EPSG:2229"), always_xy=True)
    corners = metre.transform((6326726.54, 6330162.95), (2068062.39, 2071932.24))
    for axis in (0, 1):
        np.testing.assert_allclose((xyz[:, axis].min(), xyz[:, axis].max()), corners[axis], atol=0.005)
    international = np.array((6326726.54, 2068062.39)) * 0.3048
    assert np.hypot(*(xyz[:, :2].min(axis=0) - international)) > 3.9  # 12.7 ft and 4.1 ft: the wrong foot would show


@pytest.mark.invariant
def test_a_cloud_far_too_sparse_is_refused_and_its_page_is_written_all_the_same(real_data, tmp_path):
    chain = hillside(real_data, tmp_path)
    record = chain.record("hillside", "flight")
    assert (record["verdict"], record["reason_code"]) == ("refused", "covers_too_little")
    assert "ground points on" in chain.page("hillside")
