"""Rover walks of eight dates on a beach: which are refused, which datum jumped and where, what the claimed sigma is worth."""

from __future__ import annotations

import numpy as np
import pytest
from support.real_walks import README_MM, UPPER_PATH, UPPER_PATH_M, datums, scatters, walks

from pipeline.survey.walks.crossings import crossings


@pytest.fixture(scope="module")
def walked(real_data, tmp_path_factory):
    return walks(real_data, tmp_path_factory.mktemp("walks"))


@pytest.fixture(scope="module")
def told(walked):
    return crossings(walked.cleaned, walked.white_m)


@pytest.mark.independent  # README: no row of 2025-02-22 is fixed; 8,238 of its rows appear again on 2025-03-09
def test_a_walk_without_a_fix_is_refused_and_its_rows_are_not_taken_for_a_later_date(walked):
    assert walked.refused == {"2025-02-22": "no_fixed_points"}
    march = walked.cleaned[walked.dates.index("2025-03-09")]
    assert march.removed["repeated"] == pytest.approx(8238, abs=20)


@pytest.mark.independent  # README: 2025-04-30, receiver a, -130 mm on the upper path, every row fixed
def test_the_walk_whose_datum_jumped_is_found_and_named_by_receiver_and_stretch(walked, told):
    assert [(d.date, d.receiver) for d in datums(walked, told, settled=False) if d.jumped] == [("2025-04-30", "a")]
    april = walked.dates.index("2025-04-30")
    west, south, east, north = UPPER_PATH
    walk = walked.cleaned[april].walk
    path = (walk.x > west) & (walk.x < east) & (walk.y > south) & (walk.y < north) & (walk.z > UPPER_PATH_M)
    named = {(told.stretches[k].receiver, told.stretches[k].line) for k in np.unique(told.stretch_of[april][path]) if told.stretches[k].verdict == "off"}
    assert ("a", "3") in named and not any(receiver == "b" for receiver, _ in named)
    off = [s for s in told.stretches if (s.walk, s.receiver, s.line, s.verdict) == (april, "a", "3", "off")]
    assert all(-0.35 < s.offset_m < -0.10 for s in off)


@pytest.mark.independent  # README: medians over 64 cells that at least four walks crossed
def test_without_the_stretches_that_are_off_every_walk_stands_where_readme_has_it(walked, told):
    found = datums(walked, told)
    assert not any(d.jumped for d in found)
    for d in found:
        if d.cells >= 5:
            assert 1000 * d.offset_m == pytest.approx(README_MM[d.date, d.receiver], abs=2.5e3 * d.sigma_m), d


@pytest.mark.independent  # the other walks over the same square metre
def test_stable_ground_scatters_about_as_claimed(walked, told):
    """On the upper path, a walk against the others: 1.4 times the claimed s.d.; without the one walk that drifted, 1.3."""
    found = scatters(walked, told)
    assert {(s.date, s.receiver) for s in found} >= {("2025-04-30", "b"), ("2025-05-29", "b"), ("2025-06-27", "a"), ("2025-07-13", "a")}
    steady = np.concatenate([s.in_sd for s in found if (s.date, s.receiver) != ("2025-05-29", "b")])
    assert len(steady) > 300
    assert 1.0 < 1.4826 * np.median(np.abs(steady)) < 1.4
    assert np.mean(np.abs(steady) < 1.96) > 0.82


@pytest.mark.independent  # the same
def test_a_drift_larger_than_declared_shows_in_one_walk_of_six(walked, told):
    shared = {(s.date, s.receiver): 1e6 * s.shared_m2()[0] for s in scatters(walked, told)}
    drifted = [name for name, mm2 in shared.items() if mm2 > 2 * 5.0**2 * 1.5]
    assert drifted == [("2025-05-29", "b")]
