"""Stretches of a walk that stand off while every row says fixed, found where tracks cross."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from support.rover_scene import Ground2D, as_walk, field_path, field_walk, real_table, real_walk

from pipeline.survey.walks.crossing_network import solve, weighted_median
from pipeline.survey.walks.crossing_places import pieces, places
from pipeline.survey.walks.crossings import crossings
from pipeline.survey.walks.walk import white_noise
from pipeline.survey.walks.walk_clean import Cleaned, clean


def walked(seed, off=None, path=None, ground=None, **noise):
    """A cleaned walk over the field; `off` is {(first row, last row): metres}."""
    rng = np.random.default_rng(seed)
    ground = ground or Ground2D(rng)
    x, y, z, line = field_walk(rng, ground, path or field_path(), **noise)
    z = z.copy()
    for (first, last), by in (off or {}).items():
        z[first - 1 : last] += by
    return clean(as_walk(x, y, z, line))


def told(*walks, stable=None):
    return crossings(list(walks), [white_noise(c.walk) for c in walks], stable)


def share_found(result, walk: int, rows: np.ndarray, bad: np.ndarray) -> tuple[float, float]:
    """Share of the bad rows that are left out, and of the good ones."""
    out = ~result.measures(walk)
    return out[bad].mean(), out[~bad].mean()


@pytest.mark.analytic
def test_without_noise_a_planted_offset_comes_back_to_the_tenth_of_a_millimetre():
    ground = Ground2D(np.random.default_rng(1), rough=0.0, mound=False)
    path = field_path()
    x, y = (np.concatenate([p[k] for p in path]) for k in (0, 1))
    line = np.repeat(np.arange(len(path)), [len(p[0]) for p in path])
    z = ground(x, y) + np.where(line == 27, 0.080, 0.0)
    result = crossings([clean(as_walk(x, y, z, line))], [0.001])
    for stretch in result.stretches:
        true = 0.080 if stretch.line == "28" else 0.0
        assert stretch.offset_m == pytest.approx(true, abs=1e-4)
        assert stretch.verdict == ("off" if true else "agrees")


@pytest.mark.analytic
def test_three_tracks_over_three_nodes_give_the_solution_by_hand():
    """Differences a-b 10, b-c 20, c-a -30 mm close: offsets 20, 10, -10 about their middle."""
    node = np.array([0, 0, 1, 1, 2, 2])
    unknown = np.array([0, 1, 1, 2, 0, 2])
    z = np.array([1.010, 1.000, 5.020, 5.000, 7.030, 7.000])
    network = solve(node, unknown, z, np.full(6, 1e-6), np.ones(3))
    assert network.offset == pytest.approx([0.010, 0.0, -0.020], abs=1e-6)  # the middle one is the datum
    assert network.residual == pytest.approx(np.zeros(6), abs=1e-6)
    assert network.crossings.tolist() == [2, 2, 2] and set(network.component) == {0}


@pytest.mark.analytic
def test_the_weighted_median_has_half_the_weight_on_each_side():
    assert weighted_median(np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 1.0])) == 2.0
    assert weighted_median(np.array([3.0, 1.0]), np.array([1.0, 1.0])) == 2.0
    assert weighted_median(np.array([3.0, 1.0]), np.array([1.0, 1.1])) == 1.0


@pytest.mark.analytic
def test_pieces_are_cut_at_lines_gaps_jumps_lost_fixes_and_length():
    x = np.concatenate([np.arange(0, 10, 0.5), np.arange(16, 26, 0.5), np.arange(0, 50, 0.5)])
    y = np.concatenate([np.zeros(40), np.full(100, 9.0)])
    line = np.concatenate([np.zeros(40, int), np.ones(100, int)])
    z = np.where((np.arange(140) >= 30) & (line == 0), 0.5, 0.0)
    lost = np.arange(140) == 5
    piece = pieces(as_walk(x, y, z, line), lost)
    assert np.flatnonzero(np.diff(piece)).tolist()[:4] == [4, 19, 29, 39]  # lost fix, gap, jump, line
    assert np.bincount(piece)[4:].tolist() == [33, 33, 34]  # 49.5 m in three pieces


@pytest.mark.analytic
def test_a_slope_between_tracks_side_by_side_is_taken_out():
    """Four tracks 0.3 m from cell to cell on a 5 % slope: heights differ by centimetres, offsets do not."""
    t = np.arange(0.0, 12.0, 0.4)
    path = [(t, np.full_like(t, v)) for v in (3.1, 3.4, 3.7)] + [(np.full_like(t, v), t) for v in (2.2, 8.6)]
    x, y = (np.concatenate([p[k] for p in path]) for k in (0, 1))
    line = np.repeat(np.arange(5), len(t))
    result = crossings([clean(as_walk(x, y, 50 + 0.02 * x - 0.05 * y, line))], [0.002])
    assert max(abs(s.offset_m) for s in result.stretches) < 1.5e-3


@pytest.mark.invariant
@pytest.mark.parametrize("off", [0.06, -0.13])
def test_a_stretch_that_is_off_is_named_and_nothing_else(off):
    found, spared, error = [], [], []
    for seed in range(5):
        first = 300 + 311 * seed
        cleaned = walked(seed, {(first, first + 220): off})
        result = told(cleaned)
        rows = cleaned.walk.row
        bad = (rows >= first) & (rows <= first + 220)
        hit, false = share_found(result, 0, rows, bad)
        found.append(hit)
        spared.append(false)
        error += [s.offset_m - off for s in result.stretches if s.verdict == "off"]
    assert np.mean(found) > 0.9 and np.mean(spared) < 0.01
    assert np.abs(np.mean(error)) < 0.006 and np.std(error) < 0.012


@pytest.mark.invariant
def test_a_good_walk_has_no_stretch_off_and_its_offsets_are_known_as_well_as_claimed():
    z = []
    for seed in range(4):
        result = told(walked(seed))
        assert not result.named()
        z += [s.offset_m / s.sigma_m for s in result.stretches if s.crossings]
    assert 0.5 < np.std(z) < 1.5


@pytest.mark.invariant
def test_a_drift_that_begins_in_mid_line_is_seen_from_about_where_it_begins():
    cleaned = walked(2)
    rows = cleaned.walk.row
    ramp = np.clip((rows - 1000) / 60, 0, 1) * 0.25 * (rows <= 1245)
    walk = cleaned.walk
    result = told(Cleaned(walk.at(walk.x, walk.y, walk.z - ramp), cleaned.lost_fix, {}, 0, True))
    assert share_found(result, 0, rows, ramp > 0.2)[0] > 0.95
    assert result.measures(0)[ramp < 0.02].mean() > 0.97


@pytest.mark.invariant
def test_two_stretches_that_contradict_each_other_are_disputed_and_both_stay():
    t = np.arange(0, 20, 0.3)
    path = [(t, np.full_like(t, 5.0)), (t, np.full_like(t, 5.3))]
    x, y = (np.concatenate([p[k] for p in path]) for k in (0, 1))
    line = np.repeat([0, 1], len(t))
    z = 10 + 0.1 * line + np.random.default_rng(0).normal(0, 0.004, len(x))
    result = told(clean(as_walk(x, y, z, line)))
    assert {s.verdict for s in result.stretches} == {"disputed"}
    assert result.measures(0).all()
    assert sorted(round(s.offset_m, 2) for s in result.stretches) == [-0.05, 0.05]


@pytest.mark.invariant
def test_a_track_that_meets_no_other_is_not_crossed():
    t = np.arange(0, 60, 0.3)
    result = told(clean(as_walk(t, np.zeros_like(t), np.zeros_like(t))))
    assert {s.verdict for s in result.stretches} == {"not_crossed"}
    assert all(np.isnan(s.offset_m) and np.isnan(s.sigma_m) for s in result.stretches)


@pytest.mark.invariant
def test_moving_the_field_or_its_height_changes_no_offset():
    cleaned = walked(4, {(700, 900): 0.1})
    far = cleaned.walk.at(cleaned.walk.x + 2_000_000, cleaned.walk.y + 400_000, cleaned.walk.z + 1500)
    here, there = told(cleaned), crossings([Cleaned(far, cleaned.lost_fix, {}, 0, True)], [white_noise(cleaned.walk)])
    assert [s.verdict for s in here.stretches] == [s.verdict for s in there.stretches]
    assert np.allclose([s.offset_m for s in here.stretches], [s.offset_m for s in there.stretches], atol=2e-5)


@pytest.mark.invariant
def test_a_whole_date_up_by_its_shift_is_not_off_but_a_part_of_it_is():
    """Four dates on ground that stays, each shifted as a rover's set-up is; on the last a part stands 120 mm low."""
    ground = Ground2D(np.random.default_rng(9))
    walks = [walked(20 + k, ground=ground, shift=s) for k, s in enumerate((0.0, 0.015, -0.02))]
    walks.append(walked(30, {(900, 1100): -0.120}, ground=ground, shift=0.01))
    result = told(*walks)
    assert result.stable_cells > 200
    assert {s.walk for s in result.named()} == {3}
    rows = walks[3].walk.row
    hit, false = share_found(result, 3, rows, (rows >= 900) & (rows <= 1100))
    assert hit > 0.9 and false < 0.01


@pytest.mark.invariant
def test_ground_that_moved_between_dates_is_not_taken_for_stable():
    """Half of the field rises by 60 mm a date: only the other half, and declared stable ground, tie the dates."""

    def moved(by):
        base = Ground2D(np.random.default_rng(9))
        return lambda x, y: base(x, y) + by * (y > 15)

    walks = [walked(40 + k, ground=moved(0.06 * k)) for k in range(4)]
    result = told(*walks)
    tied = result.met_n[np.abs(result.met_m) < 1.0]
    assert not result.named() and 50 < result.stable_cells
    half = told(*walks, stable=shapely.box(0, 0, 30, 12))
    assert not half.named() and half.stable_cells > result.stable_cells * 0.5 and len(tied)


@pytest.mark.independent
def test_the_network_is_the_least_squares_solution_of_numpy():
    rng = np.random.default_rng(5)
    node = np.repeat(np.arange(40), 3)
    unknown = np.concatenate([rng.permutation(7)[:3] for _ in range(40)])
    true = rng.normal(0, 0.05, 7)
    z = rng.normal(0, 1, 40)[node] + true[unknown] + rng.normal(0, 1e-5, 120)
    network = solve(node, unknown, z, np.full(120, 1e-10), np.ones(7))
    design = np.zeros((120, 47))
    design[np.arange(120), node] = 1
    design[np.arange(120), 40 + unknown] = 1
    plain = np.linalg.lstsq(design, z, rcond=None)[0][40:]
    assert network.offset - network.offset.mean() == pytest.approx(plain - plain.mean(), abs=5e-6)


@pytest.mark.independent
def test_cell_heights_are_the_means_that_pandas_finds():
    import pandas as pd

    cleaned = walked(6)
    walk = cleaned.walk
    flat = walk.at(walk.x, walk.y, np.random.default_rng(0).normal(50, 1e-3, len(walk)))
    piece = pieces(flat)
    met = places([flat], [piece], [1e-3])
    table = pd.DataFrame({"c": np.floor(flat.x), "r": np.floor(flat.y), "z": flat.z})
    mean = table.groupby(["r", "c"]).z.agg(["mean", "size"])
    total = np.bincount(met.cell, met.points)
    assert total.tolist() == mean["size"].tolist()
    alone = np.bincount(met.cell) == 1
    assert met.z[alone[met.cell]] == pytest.approx(mean["mean"].to_numpy()[alone], abs=1e-9)


UPPER = (464715, 464826, 3671985, 3672140)  # the upper path that most of the real walks cross
DATES = ("2025-04-30", "2025-05-29", "2025-06-27", "2025-07-13")


@pytest.fixture(scope="module")
def upper(real_data):
    """Fixed rows of four real walks on and about the upper path, as tables and as cleaned walks."""
    tables, walks = {}, []
    w, e, s, n = UPPER
    for date in DATES:
        table = real_table(real_data, date)
        about = table[table.e.between(w - 60, e + 60) & table.n.between(s - 60, n + 60)]
        cleaned = clean(real_walk(about))
        walks.append(cleaned)
        tables[date] = about[about.quality == 1]
    return tables, walks


@pytest.fixture(scope="module")
def agreed(upper):
    return told(*upper[1])


def receivers_on_path(result):
    """Median height of each date's receiver over the adjusted ground on the upper path, mm, by `date receiver`."""
    w, e, s, n = UPPER
    here = (result.met_e >= w) & (result.met_e <= e) & (result.met_n >= s) & (result.met_n <= n)
    names = np.array([f"{DATES[result.stretches[k].walk]} {result.stretches[k].receiver}" for k in result.met])
    return {str(k): float(np.median(result.met_m[here & (names == k)])) * 1e3 for k in np.unique(names[here])}


@pytest.mark.independent
def test_real_walks_stand_where_their_readme_has_them(agreed):
    """data/rover README: medians over 1 m cells of 04-30 b +30, 05-29 a +17, b -22, 06-27 a +2, 07-13 a 0 mm.

    Tolerance 20 mm: the NMAD printed there is 11 to 26 mm a cell, and a plain median of two walks halves what they
    differ by, which the network does not.
    """
    stand = receivers_on_path(agreed)
    readme = {"2025-04-30 b": 30, "2025-05-29 a": 17, "2025-05-29 b": -22, "2025-06-27 a": 2, "2025-07-13 a": 0}
    for name, printed in readme.items():
        assert stand[name] == pytest.approx(printed, abs=20)
    assert stand["2025-04-30 a"] < -100  # printed -130 (NMAD 149): part of the walk agrees, the rest does not


@pytest.mark.independent
def test_the_real_stretch_that_sits_decimetres_off_is_named_and_the_good_part_stays(agreed):
    """04-30 a: every row says fixed; about row 774 of line 3 its height begins to fall, by 0.2 to 0.3 m."""
    off = [s for s in agreed.named() if s.walk == 0 and s.receiver == "a" and s.verdict == "off"]
    assert min(s.first_row for s in off) == pytest.approx(774, abs=25) and off[0].line == "3"
    assert all(-0.36 < s.offset_m < -0.15 for s in off) and sum(s.rows for s in off) > 80
    good = [s for s in agreed.stretches if s.walk == 0 and s.line in "23" and s.verdict == "agrees" and s.crossings > 5]
    assert good and all(abs(s.offset_m) < 0.06 for s in good)
    assert all(s.verdict != "off" for s in agreed.stretches if s.walk == 0 and s.receiver == "b")


@pytest.mark.independent
def test_differences_between_real_walks_are_the_plain_medians_of_pandas(upper, agreed):
    """Cell medians of each walk, differenced pair by pair where both stand, against the network's offsets: 20 mm."""
    import pandas as pd

    w, e, s, n = UPPER
    parts = []
    for date, table in upper[0].items():
        on = table[table.e.between(w, e) & table.n.between(s, n) & (table.h > -29.4)]
        parts.append(on.assign(who=[f"{date} {r}" for r in on.receiver], c=np.floor(on.e), r=np.floor(on.n)))
    cells = pd.concat(parts).groupby(["c", "r", "who"]).h.median().unstack() * 1e3
    stand = receivers_on_path(agreed)
    compared = 0
    for a in cells.columns:
        for b in cells.columns:
            both = (cells[a] - cells[b]).dropna()
            if a < b and len(both) >= 40 and "2025-04-30 a" not in (a, b):
                assert stand[a] - stand[b] == pytest.approx(both.median(), abs=20)
                compared += 1
    assert compared >= 5


@pytest.mark.independent
def test_the_plain_cell_median_of_the_readme_is_reproduced(upper):
    """The README's own figures on this path, by its own rule: 04-30 a -130 on 112 cells, b +30 on 218 ..."""
    import pandas as pd

    w, e, s, n = UPPER
    parts = []
    for date, table in upper[0].items():
        on = table[table.e.between(w, e) & table.n.between(s, n) & (table.h > -29.4)]
        parts.append(on.assign(who=[date[5:] + r for r in on.receiver], c=np.floor(on.e), r=np.floor(on.n)))
    cells = pd.concat(parts).groupby(["c", "r", "who"]).h.median().unstack()
    cells = cells[cells.notna().sum(axis=1) >= 2]
    off = cells.sub(cells.median(axis=1), axis=0) * 1e3
    printed = {"04-30a": -130, "04-30b": 30, "05-29a": 17, "05-29b": -22, "06-27a": 2, "07-13a": 0}
    for who, mm in printed.items():
        assert off[who].median() == pytest.approx(mm, abs=1.0)
