"""What a header tells of a cloud that has too few points for the cells."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from pipeline.desk.headers import sparse


@pytest.mark.analytic
def test_only_a_cloud_that_is_surely_too_sparse_is_told_of_with_the_next_tenth_of_a_cell():
    cloud = [SimpleNamespace(n_points=8000, kind="las")]
    (said,) = sparse(cloud, "lidar", 1000.0, 0.1, 4.0)  # 8 points a m², 0.08 a cell; 4 a cell of 0.707 m
    assert "8 points a m²" in said and "0.08 in a cell of 0.1 m" in said and "some 0.8 " in said
    assert sparse(cloud, "rover", 1000.0, 0.1, 4.0) == [] and sparse([SimpleNamespace(n_points=8000, kind="walk")], "lidar", 1000.0, 0.1, 4.0) == []
    assert sparse(cloud, "lidar", 80.0, 0.1, 4.0) == []  # one a cell over the whole box: a quarter of it may be the field
    (said,) = sparse(cloud, "lidar", 8000 / 1e-4, 0.1, 4.0)  # 4 a cell of 200 m, which config.yaml does not take
    assert "0.0001 points a m²" in said and "cell_size_m" not in said and "fly lower" in said
