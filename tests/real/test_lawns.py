"""Real turf in feet: a crowned pitch and a park lawn, airborne laser scans. Figures from the README beside the files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from support.real_files import (
    CROWN,
    LAWN,
    LIMITS_MM,
    OVER_THE_CROWN,
    TURF,
    crown_profile,
    lawn,
    plane_of_points,
    scatter_mm,
    turf,
)  # fmt: skip


@pytest.fixture(scope="module")
def pitch(real_data, tmp_path_factory):
    return turf(real_data, tmp_path_factory.mktemp("turf"))


@pytest.fixture(scope="module")
def park(real_data, tmp_path_factory):
    return lawn(real_data, tmp_path_factory.mktemp("lawn"))


def window_of(run, window) -> dict[str, str]:
    (row,) = run[0].table(window.field, "zones")
    return row


@pytest.mark.independent  # 7.6 and 1.8 points / m2 in the README: 4 points fill cells of 0.73 and 1.5 m; on the lawn there are 2.7
@pytest.mark.parametrize(("run", "low", "high"), [("pitch", 0.7, 0.8), ("park", 1.1, 1.2)])
def test_a_tenth_of_a_metre_is_refused_and_the_cell_that_is_named_works(run, low, high, request):
    chain, refused, cell_m = request.getfixturevalue(run)
    assert all(low - 1e-9 <= proposal <= high + 1e-9 for proposal in refused.values()) and cell_m == high
    for field in chain.project.fields:
        record = chain.record(field, "flight")
        assert record["verdict"] == "relative_only" and "stable ground" in record["reason"]
        assert record["figures"]["points_median"] >= 4 and record["figures"]["covered_pct"] > 85


@pytest.mark.independent  # README: xy international feet, z foot undeclared, datum absent: the operator must say
def test_the_record_says_whose_word_was_taken_for_the_units(pitch, park):
    for chain, *_ in (pitch, park):
        notes = " ".join(chain.record(next(iter(chain.project.fields)), "flight")["notes"])
        assert "EPSG:2994" in notes and "as the file says" in notes
        assert "Heights are in international feet, as surveys.csv says." in notes
        assert "Heights are above EPSG:5703 (NAVD88 height), as surveys.csv says." in notes


@pytest.mark.independent  # README: plane fits in 60 x 60 ft windows
@pytest.mark.parametrize("window", TURF, ids=lambda w: w.field)
def test_slope_and_fall_of_the_pitch_are_those_measured(pitch, window):
    row = window_of(pitch, window)
    assert float(row["slope_pct"]) == pytest.approx(window.fall_pct, abs=0.05)
    downhill = np.degrees(np.arctan2(*(-s for s in window.slope_pct))) % 360
    assert float(row["fall_bearing_deg"]) == pytest.approx(downhill, abs=3)
    assert row["verdict"] == "good"


@pytest.mark.independent  # README: slope 0.04 % on the flattest lawn
def test_a_level_lawn_is_level(park):
    row = window_of(park, LAWN[0])
    assert abs(float(row["slope_pct"]) - LAWN[0].fall_pct) < 1.96 * float(row["slope_sigma_pct"])
    assert row["verdict"] == "good"


@pytest.mark.independent  # README: residual s.d. of the points, 18 to 21 mm
@pytest.mark.parametrize("window", [*TURF, OVER_THE_CROWN], ids=lambda w: w.field)
def test_noise_and_unevenness_make_up_the_residual_of_the_points(pitch, window):
    assert scatter_mm(pitch[0], window.field) == pytest.approx(window.residual_mm, rel=0.10)


@pytest.mark.independent  # laspy and statsmodels' Tukey plane on all points (README's 13 to 17 mm are of the lowest quarter, class 2)
@pytest.mark.parametrize("window", LAWN, ids=lambda w: w.field)
def test_the_lawn_scatters_as_all_its_points_do(real_data: Path, park, window):
    east, north, sd_mm = plane_of_points(real_data, window)
    row = window_of(park, window)
    assert float(row["slope_pct"]) == pytest.approx(np.hypot(east, north), abs=1.96 * float(row["slope_sigma_pct"]))
    assert scatter_mm(park[0], window.field) == pytest.approx(sd_mm, rel=0.10)


@pytest.mark.independent  # README: medians of 20 x 20 ft
def test_the_crown_stands_where_it_was_built(pitch):
    found = crown_profile(pitch[0])
    assert max(abs(found[y] - CROWN[y]) for y in CROWN) < 0.04
    assert max(found, key=found.get) == 852300


@pytest.mark.independent  # README: a plane is the wrong model over the crown line, 0.137 ft against 0.06
def test_over_the_crown_a_plane_does_not_pass_for_even(pitch):
    row = window_of(pitch, OVER_THE_CROWN)
    assert float(row["planarity_mm"]) > 2 * LIMITS_MM["planarity_mm"] and row["verdict"] == "work"
    assert max(float(window_of(pitch, w)["planarity_mm"]) for w in TURF) < 10


@pytest.mark.invariant
def test_mown_turf_is_not_called_unsafe_and_no_lip_is_told_on_so_wide_a_cell(pitch, park):
    for chain, *_ in (pitch, park):
        assert len(Path(chain.where.hazards).read_text().splitlines()) == 1
        for field in chain.project.fields:
            assert chain.verdict(field) != "unsafe"
            lips = chain.table(field, "lip")
            assert {r["kind"] for r in lips} == {"not_enough_evidence"}
            assert not any(r[c] for r in lips for c in ("height_mm", "crest_offset_mm", "width_mm"))


@pytest.mark.invariant
def test_the_hollows_that_noise_makes_beside_empty_cells_are_not_listed(pitch):
    """One cell in ten of the pitch is empty: a hollow cut by one has no depth, and its most possible depth is noise's."""
    spots = pitch[0].table("pitch", "low_spots")
    assert len(spots) < 25
    assert not any(r["probability"] for r in spots)
