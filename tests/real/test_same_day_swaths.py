"""Two overlapping swaths of one flight as two surveys: nothing changed, and whatever the chain claims is false."""

from __future__ import annotations

import numpy as np
import pytest
from support.real_files import PLACES, squares, swath_change, swath_pair

OFFSET_MM = -6.0  # swath 707 minus 706 on flat ground in all three tiles, README
TIED = ("car-park-tied", "yard-tied")


@pytest.fixture(scope="module")
def chains(real_data, tmp_path_factory):
    """Place to the chain it was run in."""
    out = {}
    for tile, places in PLACES.items():
        chain, *_ = swath_pair(real_data, tmp_path_factory.mktemp("tile"), tile)
        out |= {place.name: chain for place in places}
    return out


@pytest.mark.invariant
def test_ground_is_tied_where_patches_lie_around_it_and_relative_elsewhere(chains):
    for place, chain in chains.items():
        assert chain.record(place, "swath-707")["verdict"] == ("absolute" if place in TIED else "relative_only")
        (row,) = chain.table(place, "change")
        assert row["relative"] == str(place not in TIED).lower()


@pytest.mark.independent  # README: the strip offset, found on thousands of points
@pytest.mark.parametrize("place", TIED)
def test_the_tie_finds_the_offset_between_the_strips(chains, place):
    figures = chains[place].record(place, "swath-707")["figures"]
    assert figures["tie_shift_mm"] == pytest.approx(-OFFSET_MM, abs=2.5 * figures["tie_shift_sigma_mm"])
    assert figures["tie_shift_sigma_mm"] < 10


@pytest.mark.independent  # one flight
@pytest.mark.parametrize("place", TIED)
def test_no_mean_change_and_no_volume_is_detected(chains, place):
    (row,) = chains[place].table(place, "change")
    assert row["detected"] == "false" and float(row["detected_m2"]) == 0
    assert abs(float(row["mean_mm"])) < 1.96 * float(row["mean_sigma_mm"])
    assert abs(float(row["net_m3"])) < 1.96 * float(row["net_sigma_m3"])


@pytest.mark.independent  # one flight
def test_gross_gain_and_loss_are_what_noise_alone_shows(chains):
    for place, chain in chains.items():
        (row,) = chain.table(place, "change")
        for name in ("gain_m3", "loss_m3"):
            assert float(row[name]) == pytest.approx(float(row["noise_m3"]), rel=0.40), place


@pytest.mark.independent  # one flight: 95 % of the intervals should hold zero
def test_intervals_of_cells_and_squares_hold_zero_as_often_as_they_say(chains):
    cells, zones = [], []
    for place, chain in chains.items():
        layout, change, _ = swath_change(chain, place)
        on_skin = layout.grid.mask(layout.skin) & change.measured
        cells.append((change.dz / change.sigma)[on_skin])
        zones += [z.mean_m / z.mean_sigma_m for z in squares(layout, change, 3.0)]
    cells, zones = np.concatenate(cells), np.array(zones)
    assert len(cells) > 2000 and len(zones) > 90
    assert np.mean(abs(cells) > 1.96) == pytest.approx(0.05, abs=0.02)
    assert np.mean(abs(zones) > 1.96) < 0.12
    assert np.sqrt(np.mean(zones**2)) == pytest.approx(1.0, abs=0.2)


@pytest.mark.invariant
def test_no_lip_is_claimed_to_have_grown(chains):
    for place, chain in chains.items():
        assert not any(r["detected"] == "true" for r in chain.table(place, "lip_change"))
