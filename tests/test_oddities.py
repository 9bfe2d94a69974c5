"""Real files with something wrong, each to the end it deserves: a refusal, a stated choice, or a note.

The files are openly licensed test data of other projects (data/README.md beside them says which and what is odd). Two
rows are tried for each: an empty one, as an operator in a hurry leaves it, and one that says what the operator would
learn by asking. `-s` prints every sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from pipeline.coordinates import read_crs, working_crs
from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.store.points import open_points
from pipeline.survey.reading.project import fit
from pipeline.survey.reading.reference import resolve
from pipeline.survey.reading.stated import Stated
from pipeline.survey.reading.whereabouts import look
from pipeline.units import FOOT_M, US_SURVEY_FOOT_M


@dataclass(frozen=True)
class Case:
    """One file and its two ends.

    field : CRS of the field it is said to be a survey of
    empty : refusal of an empty row, or None where the file says everything
    row   : what a row that was asked for says
    ends  : refusal of that row, or None where it is read
    says  : words the sentences must hold: of the refusal of the full row, or of the empty one, or of the notes
    unit_m: metres in a unit of height as read
    """

    file: str
    field: str
    empty: str | None
    row: dict
    ends: str | None
    says: str
    unit_m: float = 1.0


CASES = [
    Case("oddities/no_crs_feet.laz", "EPSG:2994", "no_crs", {"crs": "EPSG:2994", "vertical_unit": "ft"}, None,
         "as surveys.csv says", FOOT_M),
    Case("oddities/wrong_unit.copc.laz", "EPSG:2992", "crs_does_not_fit", {"crs": "EPSG:2992"}, "crs_disagrees",
         "EPSG:2991"),
    Case("oddities/wrong_unit.copc.laz", "EPSG:2991", "crs_does_not_fit", {"vertical_unit": "us-ft"},
         "crs_does_not_fit", "international feet labelled as metres"),
    Case("oddities/feet_labelled_metre.laz", "EPSG:2255", "crs_disagrees", {"crs": "EPSG:2255"}, None,
         "surveys.csv decides for EPSG:2255", US_SURVEY_FOOT_M),
    Case("oddities/feet_labelled_metre.laz", "EPSG:2255", "crs_disagrees", {"crs": "EPSG:26995"}, "crs_does_not_fit",
         "only fit EPSG:2255"),
    Case("oddities/z_unit_unknown_utm.laz", "EPSG:26910", "no_vertical_unit", {"vertical_unit": "m"}, None,
         "metres, as surveys.csv says"),
    Case("oddities/lon_lat.laz", "EPSG:32615", "no_vertical_unit",
         {"vertical_unit": "m", "height_reference": "ellipsoidal"}, None, "above the ellipsoid"),
    Case("oddities/lat_lon_swapped.las", "EPSG:32617", "crs_does_not_fit", {"vertical_unit": "m"}, "crs_does_not_fit",
         "latitude and longitude are swapped"),
    Case("oddities/wrong_crs.copc.laz", "EPSG:32612", "crs_does_not_fit", {"crs": "EPSG:32612"}, "crs_disagrees",
         "EPSG:4978"),
    Case("oddities/wrong_crs.copc.laz", "EPSG:32612", "crs_does_not_fit", {"vertical_unit": "m"}, "crs_does_not_fit",
         "EPSG:32612 (WGS 84 / UTM zone 12N)"),
    Case("oddities/warsaw_empty_wkt.laz", "EPSG:2180", "no_crs", {"crs": "EPSG:2180", "vertical_unit": "m"}, None,
         "WKT record is there but empty"),
    Case("oddities/usft_wkt_1_4.laz", "EPSG:2903", "no_vertical_unit",
         {"vertical_unit": "us-ft", "height_reference": "EPSG:6360"}, None,
         "speaks of heights where the standard allows none", US_SURVEY_FOOT_M),
    Case("oddities/bad_geotiff_keys.las", "EPSG:32617", "no_vertical_unit", {"vertical_unit": "m"}, None, "EPSG:32617"),
    Case("oddities/no_points.las", "EPSG:32617", "no_points", {"vertical_unit": "m"}, "no_points", "no points"),
    Case("oddities/gps_time_nan.las", "EPSG:6565", "no_crs", {"crs": "EPSG:6565", "vertical_unit": "us-ft"},
         "crs_does_not_fit", "x near 0.0000"),
    Case("oddities/extra_bytes.laz", "EPSG:2994", "no_crs", {"crs": "EPSG:2994", "vertical_unit": "ft"}, None,
         "8-bit numbers in 16-bit fields", FOOT_M),
    Case("oddities/noise_unlabelled.laz", "EPSG:2994", "no_crs", {"crs": "EPSG:2994", "vertical_unit": "ft"}, None,
         "as surveys.csv says", FOOT_M),
    Case("oddities/classes_unusual.laz", "EPSG:6565", "no_crs", {"crs": "EPSG:6565", "vertical_unit": "ft"},
         "crs_does_not_fit", "outside"),
    Case("oddities/bridge_and_artefact.laz", "EPSG:2154", "no_vertical_unit",
         {"vertical_unit": "m", "height_reference": "EPSG:5720"}, None, "NGF"),
    Case("oddities/unclassified_noise65.laz", "EPSG:2975", "no_vertical_unit", {"vertical_unit": "m"}, None,
         "EPSG:2975"),
    Case("park/autzen_trim.laz", "EPSG:2994", "no_vertical_unit", {"vertical_unit": "ft"}, None, "EPSG:2994", FOOT_M),
    Case("park/athletic_field.laz", "EPSG:2994", "no_vertical_unit", {"vertical_unit": "ft"}, None, "EPSG:2994",
         FOOT_M),
    Case("park/bmx-2010.laz", "EPSG:2991", None, {}, None, "US survey feet, as the file says", US_SURVEY_FOOT_M),
    Case("park/bmx-2010.laz", "EPSG:2991", None, {"vertical_unit": "m"}, "vertical_unit_disagrees", "factor of 3.28"),
    Case("park/bmx-2023.laz", "EPSG:2991", None, {"height_reference": "EPSG:8228"}, None,
         "above EPSG:5703 (NAVD88 height)", US_SURVEY_FOOT_M),
    Case("small/rd_nap.laz", "EPSG:28992", None, {"vertical_unit": "m", "height_reference": "EPSG:5709"}, None,
         "NAP height"),
    Case("small/usft_zone5.laz", "EPSG:2229", None, {}, None, "US survey feet, as the file says", US_SURVEY_FOOT_M),
    Case("small/usft_zone5.laz", "EPSG:2229", None, {"vertical_unit": "ft"}, "vertical_unit_disagrees",
         "US survey feet in the file"),
    Case("swaths/77050_627755.laz", "EPSG:2154", "no_vertical_unit", {"vertical_unit": "m"}, None, "EPSG:2154"),
    Case("field/open_field.laz", "EPSG:2154", "no_vertical_unit", {"vertical_unit": "m"}, None, "EPSG:2154"),
    Case("city/ahn_2386_9702.laz", "EPSG:28992", "no_crs", {"crs": "EPSG:7415"}, None, "NAP height"),
    Case("ground/samp11.laz", "EPSG:32632", "no_crs", {"crs": "EPSG:32632", "vertical_unit": "m"}, None,
         "as surveys.csv says"),
    Case("ground/csite3.laz", "EPSG:32632", "no_crs", {"crs": "EPSG:32632", "vertical_unit": "m"}, None,
         "as surveys.csv says"),
    Case("evolution/points_2004.laz", "EPSG:3358", "no_vertical_unit", {"vertical_unit": "m"}, None, "EPSG:3358"),
    Case("evolution/elevation_2004.tif", "EPSG:3358", "no_sigma", {"vertical_unit": "m", "sigma_mm": 50.0}, None,
         "their centres were read as points"),
    Case("depression/dem.tif", "EPSG:26915", "no_sigma", {"vertical_unit": "m", "sigma_mm": 50.0}, None,
         "Cells are 1 by 1"),
    Case("srtm/srtm_ref.tif", "EPSG:32637", "no_sigma", {"vertical_unit": "m", "sigma_mm": 5000.0}, "crs_not_usable",
         "in degrees"),
    Case("srtm/srtm_moved.tif", "EPSG:32637", "no_sigma", {"vertical_unit": "m", "sigma_mm": 5000.0}, "crs_not_usable",
         "in degrees"),
]  # fmt: skip


def settle(path: Path, field: str, row: dict) -> tuple[str | None, str, object, object]:
    """Refusal or None, the sentences, the reference, the file."""
    source = "raster" if path.suffix == ".tif" else "lidar"
    try:
        file = open_points(path)
        reference = resolve(file.facts, Stated(source, **row), field)
    except Refused as error:
        return error.code, error.reason, None, None
    return None, " ".join(reference.notes), reference, file


@pytest.mark.invariant
@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c.file.split('/')[1]} {' '.join(map(str, c.row.values()))}")
def test_every_odd_file_ends_in_a_refusal_or_a_stated_choice(case: Case, real_data: Path):
    path = real_data / case.file
    code, sentence, _, _ = settle(path, case.field, {})
    print(f"\n{case.file}, nothing stated: {code or 'read'}\n  {sentence}")
    assert code == case.empty
    code, sentence, reference, file = settle(path, case.field, case.row)
    print(f"{case.file}, {case.row}: {code or 'read'}\n  {sentence}")
    assert code == case.ends
    assert case.says in sentence
    if code is not None:
        assert path.name in sentence and sentence.endswith(".")
        return
    assert reference.z_factor == pytest.approx(case.unit_m, rel=1e-9)
    read = sum(len(chunk) for chunk in file.chunks())
    assert read + sum(file.tally.removed().values()) == file.facts.n_points
    assert read > 0


@pytest.mark.invariant
def test_no_odd_file_is_left_out(real_data: Path):
    named = {case.file for case in CASES}
    there = {f"oddities/{path.name}" for path in (real_data / "oddities").glob("*.la?")}
    assert there <= named


def carried(path: Path, field: str, row: dict) -> np.ndarray:
    """All points of a file in its field's working coordinates and metres, (n, 3)."""
    code, sentence, reference, file = settle(path, field, row)
    assert code is None, sentence
    working = working_crs(field)
    whole = look(file.facts, reference, Grid(working, 0, 0, 1.0, 1, 1))
    projection = fit(reference, Grid.covering(whole.bounds, working, 0.5))
    out = []
    for chunk in file.chunks():
        raw = np.column_stack([chunk.x, chunk.y, chunk.z]) * chunk.scale + chunk.offset
        out.append(np.column_stack([*projection.apply(raw[:, 0], raw[:, 1]), raw[:, 2] * projection.z_factor]))
    return np.concatenate(out)


@pytest.mark.independent  # the same scene in two files of another project: feet of Oregon Lambert, and UTM metres
def test_the_scene_in_feet_and_the_scene_in_utm_metres_have_the_same_heights(real_data: Path):
    feet = carried(real_data / "oddities/no_crs_feet.laz", "EPSG:2994", {"crs": "EPSG:2994", "vertical_unit": "ft"})
    metres = carried(real_data / "oddities/z_unit_unknown_utm.laz", "EPSG:26910", {"vertical_unit": "m"})
    assert np.abs(feet[:, 2] - metres[:, 2]).max() < 0.01  # heights are stored to 0.01
    wrong = carried(real_data / "oddities/no_crs_feet.laz", "EPSG:2994", {"crs": "EPSG:2994", "vertical_unit": "m"})
    assert np.median(wrong[:, 2] / metres[:, 2]) == pytest.approx(1 / FOOT_M, rel=1e-3)


@pytest.mark.independent  # data/README.md: 194472.82..194506.92, 259222.19..259264.09, 422.93..434.51 US survey feet
def test_the_bike_track_comes_out_in_metres_all_three_ways(real_data: Path):
    xyz = carried(real_data / "park/bmx-2010.laz", "EPSG:2991", {})
    np.testing.assert_allclose(xyz.min(axis=0), (194472.82, 259222.19, 422.93 * 1200 / 3937), atol=2e-3)
    np.testing.assert_allclose(xyz.max(axis=0), (194506.92, 259264.09, 434.51 * 1200 / 3937), atol=2e-3)


@pytest.mark.independent  # data/README.md: UTM 11N E 463383..467275, N 3668429..3673838; rows, lines, share fixed
def test_a_real_walk_is_read_row_by_row_and_lands_where_its_readme_says(real_data: Path, tmp_path: Path):
    import gzip

    from pipeline.store.points import read_walk
    from pipeline.survey.walks.walk import FIXED, to_working

    text = gzip.open(real_data / "rover/walk-2025-05-29.csv.gz", "rt").read()
    header, *rows = text.splitlines()
    columns = header.replace("ellipsoidal_height_m", "h").split(",")
    kept = [i for i, column in enumerate(columns) if column != "point"]
    lines = [",".join(cells[i] for i in kept) for cells in (columns, *(row.split(",") for row in rows))]
    path = tmp_path / "walk.csv.gz"
    with gzip.open(path, "wt") as stream:
        stream.write("\n".join(lines) + "\n")
    facts = open_points(path).facts
    assert (facts.kind, facts.n_points) == ("walk", 56_661)
    with pytest.raises(Refused) as caught:
        resolve(facts, Stated("rover", "EPSG:4326", "m"), "EPSG:32611")
    assert caught.value.code == "no_height_reference"
    reference = resolve(facts, Stated("rover", "EPSG:4326", "m", "ellipsoidal"), "EPSG:32611")
    assert reference.height_reference == "ellipsoidal"
    walk = read_walk(path)
    receiver_a = walk.receiver == walk.receivers.index("a")
    assert len({walk.lines[c] for c in walk.line[receiver_a]}) == 29
    assert np.mean(walk.quality[receiver_a] == FIXED) == pytest.approx(0.954, abs=5e-4)
    grid = Grid.covering((463_300.0, 3_668_300.0, 467_300.0, 3_673_900.0), "EPSG:32611", 1.0)
    here = to_working(walk, fit(reference, grid))
    assert 463_383 - 1 <= here.x.min() and here.x.max() <= 467_275 + 1
    assert 3_668_429 - 1 <= here.y.min() and here.y.max() <= 3_673_838 + 1
    assert read_crs(grid.crs).to_epsg() == 32611


@pytest.mark.independent  # laspy, read whole: a COPC file's uneven packets come back right in any size of chunk
@pytest.mark.parametrize("size", [9_999, 200_000])
def test_a_dense_copc_cloud_is_read_in_order_whatever_the_chunks(real_data: Path, size: int):
    import laspy

    path = real_data / "oddities/wrong_crs.copc.laz"
    whole = laspy.read(path)
    parts = list(open_points(path).chunks(size=size))
    np.testing.assert_array_equal(np.concatenate([c.x for c in parts]), whole.X)
    np.testing.assert_array_equal(np.concatenate([c.z for c in parts]), whole.Z)
