"""Shares with their intervals, records that survive a stop, and the same figures on any number of cores."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy.stats import binomtest

from benchmarks.accuracy.judge import Errors, Share, Table
from benchmarks.accuracy.keep import Kept
from benchmarks.accuracy.work import RECORD, simulate


@pytest.mark.independent
@pytest.mark.parametrize("hits, n", [(0, 20), (3, 41), (190, 200), (200, 200)])
def test_the_interval_is_scipys_exact_one(hits, n):
    # scipy.stats.binomtest, method "exact"
    theirs = binomtest(hits, n).proportion_ci(0.95, "exact")
    assert Share(hits, n).interval == pytest.approx((theirs.low, theirs.high), abs=1e-9)


@pytest.mark.analytic
def test_a_limit_holds_inside_or_where_the_interval_reaches_it():
    assert Share(19, 20).holds(0.92, 0.99)
    assert Share(4, 41).holds(0.0, 0.08)  # 10 % of 41: anything from 3 to 23 %
    assert not Share(40, 200).holds(0.0, 0.08)
    assert not Share(160, 200).holds(0.92, 0.99)
    assert not Share(0, 0).holds(0.0, 1.0)


@pytest.mark.analytic
def test_errors_by_hand():
    e = Errors.of([(1.0, 0.0, 1.0), (4.0, 1.0, 1.0), (-2.0, 0.0, 1.0)])
    assert (e.rmse, e.bias) == pytest.approx((np.sqrt(14 / 3), 2 / 3))
    assert e.cover == Share(1, 3)  # 2 is beyond 1.96


@pytest.mark.invariant
def test_a_missed_limit_is_remembered_and_printed():
    said = []
    table = Table(said.append)
    table.errors("edges", Errors.of([(5.0, 0.0, 1.0)] * 30), rmse=2.0, cover=(0.92, 0.99))
    assert table.missed == ["edges: rmse <= 2", "edges: cover 0.92-0.99"]
    assert "MISSED" in said[0] and "[0.000, 0.116]" in said[0]


@pytest.mark.invariant
def test_a_stopped_run_goes_on_and_half_a_line_is_dropped(tmp_path, monkeypatch):
    made = []
    monkeypatch.setitem(RECORD, "tie", lambda *key: made.append(key) or {"rows": [key[2]]})
    jobs = [("tie", ("good", "5 patches", seed)) for seed in range(4)]
    assert simulate(jobs, {"tie": Kept(tmp_path, "tie")}, 1, time.monotonic() - 1) == 4
    simulate(jobs[:2], {"tie": Kept(tmp_path, "tie")}, 1, np.inf)
    path = Kept(tmp_path, "tie").path
    whole = path.read_bytes()
    path.write_bytes(whole + b'{"condition":"good","ca')
    kept = Kept(tmp_path, "tie")
    assert path.read_bytes() == whole
    assert simulate(jobs, {"tie": kept}, 1, np.inf) == 0
    assert [key[2] for key in made] == [0, 1, 2, 3]
    assert [t["rows"] for t in kept.told("good", "5 patches", range(4))] == [[0], [1], [2], [3]]


@pytest.mark.invariant
def test_two_cores_find_what_one_finds(tmp_path):
    jobs = [("tie", ("good", "3 patches", seed)) for seed in (1, 2)]
    found = []
    for cores in (1, 2):
        kept = Kept(tmp_path / str(cores), "tie")
        simulate(jobs, {"tie": kept}, cores, np.inf)
        found.append(kept.told("good", "3 patches", range(1, 3)))
    assert found[0] == found[1]
