"""The command's step: a page, its tables and the walk, for a demo field; what it refuses."""

from __future__ import annotations

import csv
from pathlib import Path
from xml.etree import ElementTree

import geopandas
import numpy as np
import pytest

from pipeline.errors import BadInput
from pipeline.steps.foresee import Wanted, run
from pipeline.store.config import load
from pipeline.store.where import Where

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def project():
    return load(ROOT / "demo_inputs")[0]


def foreseen(project, tmp_path, field, wanted):
    page = Path(run(project, str(ROOT / "demo_inputs"), field, wanted, Where(str(tmp_path / "results"))))
    return page.parent


def rows(path):
    with path.open(newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.mark.analytic
def test_a_flight_is_foreseen_in_figures_and_on_a_page(project, tmp_path):
    folder = foreseen(project, tmp_path, "moth", Wanted("photogrammetry"))
    seen = rows(folder / "seen.csv")
    assert {r["what"] for r in seen} == {"skin", "lip", "low_spot"} and {r["unit"] for r in seen} == {"mm", "m3"}
    higher = rows(foreseen(project, tmp_path / "higher", "moth", Wanted("photogrammetry", height_m=45)) / "seen.csv")
    assert all(float(a["smallest_seen"]) < float(b["smallest_seen"]) for a, b in zip(seen, higher) if a["smallest_seen"])
    page = (folder / "foresee.html").read_text()
    assert "Moth Field" in page and "http" not in page.replace("http://www.w3.org/2000/svg", "")
    assert sorted(p.name for p in folder.iterdir()) == ["foresee.html", "pads.csv", "seen.csv"]


@pytest.mark.independent  # GDAL's GPX and GeoJSON drivers read the walk back, pyproj carries it to the field
def test_a_walk_is_the_same_in_all_three_files(project, tmp_path):
    folder = foreseen(project, tmp_path, "acorn", Wanted("rover"))
    table = rows(folder / "walk.csv")
    assert {r["unit"] for r in table} == {"metres"} and all("EPSG:6550" in r["crs"] for r in table)
    own = np.array([(float(r["e"]), float(r["n"])) for r in table])
    spots = geopandas.read_file(folder / "walk.geojson").to_crs(6318).set_crs(6318, allow_override=True).to_crs(6550)
    assert np.hypot(spots.geometry.x - own[:, 0], spots.geometry.y - own[:, 1]).max() < 0.005
    track = geopandas.read_file(folder / "walk.gpx", layer="track_points")
    assert len(track) == len(table)
    assert np.allclose(np.column_stack([track.geometry.x, track.geometry.y]), np.column_stack([spots.to_crs(6318).geometry.x, spots.to_crs(6318).geometry.y]), atol=2e-8)
    assert ElementTree.parse(folder / "walk.gpx").getroot().get("version") == "1.1"


@pytest.mark.analytic
def test_what_cannot_be_foreseen_is_refused_in_words(project, tmp_path):
    for wanted, says in (
        (Wanted("photogrammetry", spacing_mm=80), "at most 50 mm for cells of 0.1 m"),
        (Wanted("photogrammetry", like="moth-2026-04"), "a survey that was run"),
        (Wanted("photogrammetry", like="acorn-2026-04"), "a survey of moth in surveys.csv"),
    ):
        with pytest.raises(BadInput) as refused:
            foreseen(project, tmp_path, "moth", wanted)
        assert says in str(refused.value.problems[0])
    assert not (tmp_path / "results").exists()


@pytest.mark.independent  # pyproj carries the pads from the working CRS to the field's own, in its feet
def test_pads_are_given_in_the_fields_own_coordinates_and_say_so(project, tmp_path):
    from pyproj import Transformer

    from pipeline.change.foresight import PatchTried
    from pipeline.diamond.layout import build
    from pipeline.steps.foresee import _tables, foresee
    from pipeline.steps.layout import read
    from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY

    layout = build(read(project.fields["moth"], str(ROOT / "demo_inputs"), 0.1)[0])
    e, n = layout.anchors["second"]
    _tables(tmp_path, layout, project.fields["moth"]["crs"], foresee(layout, GOOD_PHOTOGRAMMETRY, 1000.0), [PatchTried(e, n, False, 0.004, ("one_sided_patches",))])
    (row,) = rows(tmp_path / "pads.csv")
    assert list(row) == ["pad", "e", "n", "crs", "unit", "tie_sigma_mm", "doubts"] and row["unit"] == "US survey feet" and "EPSG:6565" in row["crs"]
    own = Transformer.from_crs(6564, 6565).transform(e, n)
    assert (float(row["e"]), float(row["n"])) == pytest.approx(own, abs=0.0011)
    here = project.fields["moth"]
    assert (float(row["e"]), float(row["n"])) == pytest.approx((here["second_e"], here["second_n"]), abs=0.1)


@pytest.mark.invariant
def test_a_pad_that_helps_little_is_not_asked_for(project, tmp_path):
    folder = foreseen(project, tmp_path, "moth", Wanted("photogrammetry"))
    assert rows(folder / "pads.csv") == [] and "No pad is needed" in (folder / "foresee.html").read_text()
    two = foreseen(project, tmp_path, "two-lamps", Wanted("photogrammetry"))
    pads = rows(two / "pads.csv")
    assert pads and pads[-1]["doubts"] == "" and "with it heights can be compared" in (two / "foresee.html").read_text()
