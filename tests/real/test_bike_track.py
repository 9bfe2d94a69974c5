"""An earth bike track thirteen years apart: xy metres, z US survey feet, 1.1 points / m2, nothing known to be stable."""

from __future__ import annotations

import re

import numpy as np
import pytest
from support.page_text import without_links
from support.real_files import DATES, bike_track, compare_track, track_along_normals


@pytest.fixture(scope="module")
def track(real_data, tmp_path_factory):
    return bike_track(real_data, tmp_path_factory.mktemp("track"))


@pytest.fixture(scope="module")
def compared(real_data, track):
    return compare_track(real_data, track[0])


@pytest.mark.independent  # README: 1.1 points per occupied m2, so that 4 fill a cell of 2 m where they lie evenly
def test_the_cell_that_is_named_works_for_both_dates(track):
    chain, refused, cell_m = track
    assert all(1.9 < proposal < 3.0 for proposal in refused.values()) and cell_m == max(refused.values())
    for name in DATES:
        assert chain.record("track", name)["figures"]["covered_pct"] > 90


@pytest.mark.independent  # README: every point of both files is of class 2
def test_points_classed_as_ground_are_not_taken_for_objects_on_so_wide_a_cell(track):
    for name in DATES:
        record = track[0].record("track", name)
        assert record["removed"] == {}
        assert any("classes every point as ground" in note for note in record["notes"])
        assert any("US survey feet, as the file says" in note for note in record["notes"])


@pytest.mark.invariant
def test_without_stable_ground_the_pair_is_relative_and_says_why(track):
    chain = track[0]
    record = chain.record("track", "y2023")
    assert (record["verdict"], record["reason_code"], record["tie"]["model"]) == ("relative_only", "too_few_patches", "none")
    assert "one side" not in record["reason"]


@pytest.mark.independent  # scipy's LinearNDInterpolator on both clouds, statsmodels' Tukey plane taken off
def test_the_change_map_has_the_sign_and_size_of_two_delaunay_surfaces(compared):
    ours, theirs = compared.ours, compared.theirs
    assert len(ours) > 100
    assert np.corrcoef(ours, theirs)[0, 1] > 0.97
    assert np.polyfit(theirs, ours, 1)[0] == pytest.approx(1.0, abs=0.05)
    beyond = abs(ours) > 1.96 * compared.sigma
    assert beyond.mean() > 0.5 and (np.sign(ours) == np.sign(theirs))[beyond].all()
    assert np.sqrt(np.mean(((ours - theirs) / compared.sigma) ** 2)) < 1.1


@pytest.mark.independent  # distance of the clouds along the same normals in cylinders as large as the cells: scipy's tree, numpy's SVD
def test_the_change_map_is_the_distance_of_the_clouds_along_the_grounds_normals(real_data, track):
    found = track_along_normals(real_data, track[0])
    assert len(found.ours) > 90 and np.median(found.steepness) > 0.1  # one place in two on ground steeper than 16 %
    assert np.corrcoef(found.ours, found.theirs)[0, 1] > 0.97
    assert np.polyfit(found.theirs, found.ours, 1)[0] == pytest.approx(1.0, abs=0.06)
    apart = found.ours - found.theirs
    assert abs(np.median(apart)) < 0.025
    assert np.sqrt(np.mean((apart / found.sigma) ** 2)) < 1.1
    beyond = abs(found.ours) > 1.96 * found.sigma
    assert (np.sign(found.ours) == np.sign(found.theirs))[beyond].all()


@pytest.mark.independent  # scipy and statsmodels, as above
def test_gross_gain_and_loss_are_those_of_two_delaunay_surfaces(track, compared):
    (row,) = track[0].table("track", "change")
    for name, sign in (("gain_m3", 1), ("loss_m3", -1)):
        theirs = np.maximum(sign * compared.theirs, 0).sum() * compared.cell_m2
        assert float(row[name]) == pytest.approx(theirs, rel=0.06)
        assert float(row[name]) > 3 * float(row["noise_m3"])


@pytest.mark.invariant
def test_no_absolute_figure_leaves_in_a_table(track):
    (row,) = track[0].table("track", "change")
    assert (row["relative"], row["detected"]) == ("true", "false")
    for column in ("mean_mm", "mean_sigma_mm", "pair_tie_mm", "net_m3", "net_sigma_m3", "p_holm"):
        assert row[column] == "", column


@pytest.mark.invariant
def test_no_absolute_figure_stands_on_the_page(track, compared):
    """The plane taken off stands near 0.45 m: neither it nor its volume may be printed."""
    text = re.sub(r"<(style|script|svg).*?</\1>|<[^>]+>", " ", without_links(track[0].page("track")), flags=re.S).replace("\u00a0", " ")
    assert "against the skin’s own plane" in text
    shift_mm, volume_m3 = abs(compared.shift) * 1000, abs(compared.shift) * compared.cell_m2 * len(compared.ours)
    printed_mm = [float(v) for v in re.findall(r"([0-9.]+) mm", text)]
    printed_m3 = [float(v) for v in re.findall(r"([0-9.]+) m³", text)]
    assert printed_mm and printed_m3
    assert not any(abs(v - shift_mm) < 25 for v in printed_mm)
    assert not any(abs(v - volume_m3) < 0.1 * volume_m3 for v in printed_m3)
    assert not re.search(r"\bNet\b", text)
