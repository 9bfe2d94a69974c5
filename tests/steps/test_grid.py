"""The step: points that wait on disk between two looks give the same bytes as in memory."""

from __future__ import annotations

import laspy
import numpy as np
import pytest
from support.chain import Shape, run, square, write_project

from pipeline.steps import grid


def cloud(path, count=500_000):
    rng = np.random.default_rng(3)
    header = laspy.LasHeader(point_format=3, version="1.2")
    header.scales, header.offsets = (0.001,) * 3, (507000.0, 175000.0, 300.0)
    las = laspy.LasData(header)
    las.x, las.y = (start + rng.uniform(0, 30, count) for start in (507000.0, 175000.0))
    las.z = 300.0 + 0.01 * (np.asarray(las.x) - 507000.0) + rng.normal(0, 0.004, count)
    las.write(path)


@pytest.mark.invariant
def test_points_kept_on_disk_give_the_same_bytes_as_in_memory(tmp_path, monkeypatch):
    found = {}
    for name, most in (("memory", grid.IN_MEMORY), ("disk", 0)):
        monkeypatch.setattr(grid, "IN_MEMORY", most)
        row = {"survey_id": "once", "flown_on": "2026-04-07", "path": "once.laz", "crs": "EPSG:6550", "vertical_unit": "m", "height_reference": "EPSG:5703"}
        folder = write_project(tmp_path / name, "EPSG:6550", {"lot": [Shape("skin", square(507015.0, 175015.0, 20.0))]}, [row])
        cloud(folder / "once.laz")
        chain = run(folder, "grid")
        found[name] = (folder / chain.where.gridded("once", "lot")).read_bytes()
    assert found["memory"] == found["disk"] and len(found["disk"]) > 100_000
