"""The step: one survey's files and the truth beside them, the same bytes in any process, in any order."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import laspy
import numpy as np
import pytest
import yaml

from pipeline.errors import BadInput
from pipeline.steps import simulate
from support.quiet_field import plain

ROOT = Path(__file__).resolve().parents[2]
NOISY = {"movement": 1.0, "skin_waves_mm": 3.0, "lips": [{"edge": "outer", "height_mm": 20, "wander_mm": 2}]}


@pytest.fixture
def scenario(tmp_path):
    story = plain(NOISY, {"instrument": "good", "spacing_m": 0.25, "canopy_mm": 30.0})
    walk = {"instrument": "rover", "file": "clouds/walk.csv", "file_crs": "EPSG:6550"}
    story["surveys"]["walk"] = story["surveys"]["once"] | walk
    path = tmp_path / "scenario.yaml"
    path.write_text(yaml.safe_dump(story))
    return path


def sums(folder: Path) -> dict[str, str]:
    files = sorted(p for p in folder.rglob("*.*") if p.is_file())
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


@pytest.mark.invariant
def test_same_bytes_in_another_process_with_other_threads_and_the_other_way_round(scenario, tmp_path):
    for survey in ("once", "walk"):
        simulate.run(scenario, survey, tmp_path / "here")
    call = "import sys; from pathlib import Path; from pipeline.steps import simulate\n" \
           "for s in sys.argv[3:]: simulate.run(Path(sys.argv[1]), s, Path(sys.argv[2]))"  # fmt: skip
    few = {"OMP_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1", "RAYON_NUM_THREADS": "1", "PYTHONHASHSEED": "77"}
    command = [sys.executable, "-c", call, scenario, tmp_path / "there", "walk", "once"]
    subprocess.run(command, check=True, env=os.environ | few, cwd=ROOT)
    assert sums(tmp_path / "here") == sums(tmp_path / "there")
    beside = {f"clouds/truth/{s}--quiet.{k}" for s in ("once", "walk") for k in ("json", "npz")}
    assert set(sums(tmp_path / "here")) == {"clouds/once.laz", "clouds/walk.csv"} | beside


@pytest.mark.independent  # laspy and numpy read what was written; points on the skin lie where the truth says
def test_the_truth_beside_a_cloud_is_that_clouds_truth(scenario, tmp_path):
    simulate.run(scenario, "once", tmp_path)
    las, true = laspy.read(tmp_path / "clouds/once.laz"), np.load(tmp_path / "clouds/truth/once--quiet.npz")
    plain_truth = json.loads((tmp_path / "clouds/truth/once--quiet.json").read_text())
    (col0, row0, ny, nx), cell = true["grid"], float(true["cell_m"])
    col, row = np.floor(las.x / cell - col0).astype(int), np.floor(row0 - las.y / cell).astype(int)
    held = (col >= 0) & (col < nx) & (row >= 0) & (row < ny)
    skin = np.zeros(len(las.x), bool)
    skin[held] = true["skin"][row[held], col[held]]
    off = np.asarray(las.z)[skin] - (true["z0"] + true["z"][row[skin], col[skin]])
    assert np.median(off) * 1000 == pytest.approx(plain_truth["added_by_survey"]["mean_over_skin_mm"], abs=1.0)
    assert np.percentile(np.abs(off - np.median(off)), 68) < 0.009


@pytest.mark.analytic
def test_files_are_named_before_they_are_made(scenario):
    assert simulate.files(scenario) == {"clouds/once.laz": "once", "clouds/walk.csv": "walk"}


@pytest.mark.invariant
def test_an_unknown_survey_is_refused_with_a_hint(scenario, tmp_path):
    with pytest.raises(BadInput, match="Did you mean 'once'"):
        simulate.run(scenario, "onces", tmp_path)


@pytest.mark.analytic
def test_tables_are_written_where_an_operator_keeps_them(scenario, tmp_path):
    story = yaml.safe_load(scenario.read_text())
    story["readings"] = [{"field": "quiet", "day": "2025-04-07", "edge": "outer", "count": 3}]
    story["checks"] = [{"field": "quiet", "day": "2025-04-07", "at": ["first"], "unit": "m"}]
    scenario.write_text(yaml.safe_dump(story))
    simulate.write_tables(scenario, tmp_path)
    assert len((tmp_path / "readings.csv").read_text().splitlines()) == 4
    assert (tmp_path / "control.csv").read_text().startswith("point_id,e,n,height,unit,crs,height_reference")
    drawn = json.loads((tmp_path / "features/quiet.geojson").read_text())
    assert drawn["features"][0]["properties"]["role"] == "stable"
