"""pipeline/store/points_csv.py: tables of points and walks, whole, odd and broken."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest
from support.cloud_files import all_points, coordinates, refused, write_las

from pipeline.errors import Refused
from pipeline.store.points import open_points, read_walk


def csv_file(tmp_path: Path, text: str, name: str = "walk.csv") -> Path:
    path = tmp_path / name
    if name.endswith(".gz"):
        with gzip.open(path, "wt", encoding="utf-8", newline="") as stream:
            stream.write(text)
    else:
        path.write_text(text, encoding="utf-8", newline="")
    return path


@pytest.mark.analytic
@pytest.mark.parametrize(
    "text, kind, xyz",
    [("e,n,z\n1,2,3\n4,5,6.5\n", "csv", [(1, 2, 3), (4, 5, 6.5)]), ("z,n,e\n3,2,1\n", "csv", [(1, 2, 3)]),
     ("lon,lat,h\n-80,40,250\n", "csv", [(-80, 40, 250)]), ("e,n,z,quality,line\n1,2,3,1,7\n", "walk", [(1, 2, 3)]),
     ("101,2000.5,1000.25,3.125,GND\nCP1,2001,1001,3.5,\n", "bare", [(1000.25, 2000.5, 3.125), (1001, 2001, 3.5)]),
     ("\ufeffE,N,Z\r\n1,2,3\r\n\r\n4,5,6\r\n", "csv", [(1, 2, 3), (4, 5, 6)]),
     ('7,2,1,3,"base, first"\n', "bare", [(1, 2, 3)])],
    ids=["headed", "other order", "degrees", "walk", "bare", "from a spreadsheet", "comma in quotes"],
)  # fmt: skip
@pytest.mark.parametrize("ending", ["walk.csv", "walk.CSV.gz"])
def test_tables_of_every_kind_give_easting_northing_height(tmp_path, text, kind, xyz, ending):
    file = open_points(csv_file(tmp_path, text, ending.replace("CSV", "csv")))
    assert (file.facts.kind, file.facts.n_points) == (kind, len(xyz))
    np.testing.assert_array_equal(coordinates(all_points(file)), np.array(xyz, float))
    np.testing.assert_array_equal(file.facts.bounds, (*np.min(xyz, axis=0), *np.max(xyz, axis=0)))


@pytest.mark.invariant
@pytest.mark.parametrize(
    "text, says",
    [
        ("e,n,z\n1,2,3\n4,five,6\n", ["row 3, column n", "'five'", "a number"]),
        ("e,n,z\n1,2,1_000\n", ["row 2, column z", "'1_000'"]),
        ("e,n,z\n1,2,nan\n", ["row 2, column z", "'nan'"]),
        ("e,n,z\n1,2,inf\n", ["row 2, column z", "'inf'"]),
        ("e,n,z\n1,2,3\n4,5\n", ["row 3", "2 cells", "cut short"]),
        ("e,n,z\n1,2,3,4\n", ["row 2", "4 cells"]),
        ("e,n,z\n\n1,2,3\n\n4,5,x\n", ["row 5, column z"]),
        ('e,n,z\n1,2,3\n4,5,"6\n7,8,9\n', ["row 3", "double quote"]),
        ("e;n;z\n1;2;3\n", ["without commas"]),
        ("e,n,heigth\n1,2,3\n", ["column 'heigth'"]),
        ("e,n,qualty,z\n1,2,3,4\n", ["column 'qualty'", "Did you mean 'quality'?"]),
        ("e,e,n,z\n1,1,2,3\n", ["two columns 'e'"]),
        ("e,n\n1,2\n", ["all of e,n,z"]),
        ("e,n,z,lon,lat,h\n1,2,3,4,5,6\n", ["columns e,n,z,lon,lat,h"]),
        ("e,n,z,lat\n1,2,3,4\n", ["columns e,n,z,lat"]),
        ("e,n,z,red\n1,2,3,4\n", ["all of red,green,blue"]),
        ("1000,2000,3\n", ["no header and 3 columns", "cannot be told"]),
        ("e,n,z,red,green,blue\n1,2,3,4,5,70000\n", ["row 2, column blue", "70000"]),
        ("e,n,z,quality\n1,2,3,1\n1,2,3,4\n", ["row 3, column quality", "'4'", "NMEA"]),
        ("\n\n", ["empty table"]),
    ],
)
def test_a_fault_in_a_table_is_named_with_row_and_column(tmp_path, text, says):
    error = refused(csv_file(tmp_path, text))
    assert error.code == "unreadable"
    for words in says:
        assert words in error.reason


@pytest.mark.invariant
def test_a_row_without_a_height_is_left_out_and_counted(tmp_path):
    file = open_points(csv_file(tmp_path, "e,n,z\n1,2,3\n4,5,\n,,\n7,8,9\n"))
    assert len(all_points(file).x) == 2
    assert file.tally.removed() == {"empty": 1}  # a row of nothing but commas is no row
    assert "1 of 3 rows lack a coordinate" in file.facts.remarks[0]
    assert refused(csv_file(tmp_path, "e,n,z\n1,2,\n")).code == "no_points"


@pytest.mark.invariant
@pytest.mark.parametrize("size", [1, 3, 1000])
def test_a_table_s_chunks_may_have_any_size(tmp_path, size):
    rows = "".join(f"{i},{2 * i},{3 * i},{i % 256},0,0\n" for i in range(50))
    file = open_points(csv_file(tmp_path, "e,n,z,red,green,blue\n" + rows))
    chunk = all_points(file, want_rgb=True, size=size)
    np.testing.assert_array_equal(coordinates(chunk), np.arange(50)[:, None] * [1, 2, 3])
    np.testing.assert_array_equal(chunk.rgb[:, 0], np.arange(50))


@pytest.mark.analytic
def test_a_walk_keeps_order_quality_receiver_line_and_row(tmp_path):
    rows = ("receiver,line,lon,lat,h,quality", "b,2,-117.1,33.1,-30.5,1", "b,2,-117.2,33.2,,1",
            "a,2,-117.3,33.3,-31.5,5", "b,10,-117.4,33.4,-32.5,")  # fmt: skip
    text = "\n".join(rows) + "\n"
    walk = read_walk(csv_file(tmp_path, text, "walk.csv.gz"))
    np.testing.assert_array_equal(walk.x, [-117.1, -117.3, -117.4])
    np.testing.assert_array_equal(walk.z, [-30.5, -31.5, -32.5])
    np.testing.assert_array_equal(walk.quality, [1, 5, 0])
    assert walk.receivers == ("b", "a") and walk.receiver.tolist() == [0, 1, 0]
    assert walk.lines == ("2", "10") and walk.line.tolist() == [0, 0, 1]
    assert walk.row.tolist() == [2, 4, 5]  # lines of the file, the header being the first


@pytest.mark.invariant
def test_a_walk_may_be_bare_and_a_cloud_is_no_walk(tmp_path):
    walk = read_walk(csv_file(tmp_path, "1,2000,1000,3,GND\n2,2001,1001,3.5,GND\n"))
    assert walk.quality is None and walk.receivers == ("",) and walk.x.tolist() == [1000, 1001]
    with pytest.raises(Refused) as caught:
        read_walk(write_las(tmp_path / "june.laz", np.eye(3)))
    assert caught.value.code == "source_disagrees"


@pytest.mark.independent  # pandas reads the same columns
def test_a_walk_agrees_with_a_general_table_reader(tmp_path):
    import pandas as pd

    rng = np.random.default_rng(5)
    rows = [f"{e:.4f},{n:.4f},{z:.4f},{rng.choice([1, 2, 5])},{rng.integers(9)}" for e, n,
            z in rng.uniform(1e5, 2e6, (3000, 3))]
    path = csv_file(tmp_path, "e,n,z,quality,line\n" + "\n".join(rows) + "\n")
    frame, walk = pd.read_csv(path), read_walk(path)
    for name, values in (("e", walk.x), ("n", walk.y), ("z", walk.z), ("quality", walk.quality)):
        np.testing.assert_allclose(values, frame[name], rtol=1e-15)
    assert [walk.lines[c] for c in walk.line] == frame["line"].astype(str).tolist()


@pytest.mark.invariant
def test_a_packed_table_that_breaks_off_is_refused(tmp_path):
    path = csv_file(tmp_path, "e,n,z\n" + "1.5,2.5,3.5\n" * 5000, "walk.csv.gz")
    path.write_bytes(path.read_bytes()[:-20])
    assert refused(path).code == "unreadable"
