"""Two overlapping swaths of one flight as two surveys: nothing changed, and whatever the chain claims is false."""

from __future__ import annotations

import numpy as np
import pytest
from support.real_swaths import SIDES_M, SWATHS, TILES, Held, in_sd, squares, strip_noise, swath_change, swath_pair

from pipeline.steps import surveyed

OFFSET_MM = -6.0  # swath 707 minus 706 on flat ground in all three tiles, README
TIED = ("car-park-tied", "yard-tied", "flat-77050-627755-tied", "flat-77050-627760-tied", "flat-77055-627755-tied")


@pytest.fixture(scope="module")
def chains(real_data, tmp_path_factory):
    """Place to the chain it was run in."""
    out = {}
    for tile in TILES:
        chain, *_ = swath_pair(real_data, tmp_path_factory.mktemp("tile"), tile)
        out |= {field: chain for field in chain.project.fields}
    return out


@pytest.fixture(scope="module")
def changes(chains):
    """Place to layout and change."""
    return {place: swath_change(chain, place)[:2] for place, chain in chains.items()}


def of_cells(layout, change) -> np.ndarray:
    on_skin = layout.grid.mask(layout.skin) & change.measured
    return (change.dz / change.sigma)[on_skin]


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
@pytest.mark.parametrize("side_m", SIDES_M)
@pytest.mark.parametrize("tied", [False, True], ids=["relative", "tied"])
def test_on_all_flat_ground_intervals_of_squares_hold_zero_as_often_as_they_say(changes, side_m, tied):
    fields = {name: v for name, v in changes.items() if name.startswith("flat") and name.endswith("tied") is tied}
    found = [squares(*v, side_m) for v in fields.values()]
    held = Held.of(np.concatenate([in_sd(v) for v in found]))
    assert held.total > 0.6 * sum(layout.skin.area for layout, _ in fields.values()) / side_m**2 - 20
    assert held.reaches(), held
    assert 0.5 < held.rms < 1.2
    assert not any(z.detected for v in found for z in v)


@pytest.mark.independent  # the same, all sizes together
def test_there_are_some_hundred_squares_and_they_hold_zero_in_92_to_98_of_100(changes):
    units = [in_sd(squares(*v, side)) for name, v in changes.items() if name.startswith("flat") for side in SIDES_M]
    held = Held.of(np.concatenate(units))
    assert held.total > 400 and held.reaches(), held


@pytest.mark.independent  # the same, one cell of 0.6 or 0.7 m
def test_on_flat_ground_cells_hold_zero_as_often_as_they_say(changes):
    units = np.concatenate([of_cells(*v) for name, v in changes.items() if name.startswith("flat")])
    assert len(units) > 5000
    assert np.mean(abs(units) > 1.96) == pytest.approx(0.05, abs=0.015)
    assert np.sqrt(np.mean(units**2)) == pytest.approx(1.0, abs=0.06)


@pytest.mark.independent  # the same, where there are kerbs, banks and trees
def test_among_kerbs_and_trees_cells_and_squares_hold_zero_nearly_as_often(changes):
    places = [v for name, v in changes.items() if not name.startswith("flat")]
    cells = np.concatenate([of_cells(*v) for v in places])
    zones = np.concatenate([in_sd(squares(*v, 3.0)) for v in places])
    assert len(cells) > 2000 and len(zones) > 90
    assert np.mean(abs(cells) > 1.96) == pytest.approx(0.05, abs=0.02)
    assert np.mean(abs(zones) > 1.96) < 0.10
    assert np.sqrt(np.mean(zones**2)) == pytest.approx(1.0, abs=0.2)


@pytest.mark.independent  # one flight, one ground: each swath saw another part of it
@pytest.mark.parametrize(("value", "sigma"), [("planarity_mm", "planarity_sigma_mm"), ("slope_pct", "slope_sigma_pct")])
def test_two_swaths_agree_on_evenness_and_slope_though_they_saw_different_parts(chains, value, sigma):
    apart = []
    for place, chain in chains.items():
        rows = {r["survey_id"]: r for r in chain.table(place, "zones")}
        a, b = (rows[survey] for survey in SWATHS)
        if a[value] and b[value]:
            apart.append((float(b[value]) - float(a[value])) / np.hypot(float(a[sigma]), float(b[sigma])))
    assert len(apart) >= 10
    assert np.max(np.abs(apart)) < 3.0
    assert np.sqrt(np.mean(np.square(apart))) < 1.3


@pytest.mark.independent  # one flight; 706 scatters half as much as 707
def test_low_spots_are_not_seen_to_change_more_often_than_by_chance(chains):
    """Each of the twelve places' hollows are judged at 5 %; places share points."""
    claimed = [place for place, chain in chains.items() if any(r["detected"] == "true" for r in chain.table(place, "low_spot_change"))]
    assert len(claimed) <= 1, claimed


@pytest.mark.independent  # restricted likelihood on the squares' means: numpy
def test_the_strips_do_not_contradict_the_declared_long_part(chains):
    """Strips of one flight share what a day's flight has in common: what they show is at most what two days would."""
    pairs = []
    for place, chain in chains.items():
        if place.startswith("flat") and not place.endswith("tied"):
            layout = chain.layout(place)
            pairs.append((layout, *(surveyed.read(chain.where, layout, name) for name in SWATHS)))
    part = strip_noise(pairs)
    assert part.range_m == 10.0 and part.low_mm < part.declared_mm < part.high_mm


@pytest.mark.invariant
def test_no_lip_is_claimed_to_have_grown(chains):
    for place, chain in chains.items():
        assert not any(r["detected"] == "true" for r in chain.table(place, "lip_change"))
