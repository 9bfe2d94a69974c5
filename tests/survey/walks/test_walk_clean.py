"""Which rows of a walk measure: fixed, once a stand, not logged before, no spike."""

from __future__ import annotations

import numpy as np
import pytest
from support.rover_scene import Ground2D, as_walk, field_path, field_walk, real_table, real_walk

from pipeline.errors import Refused
from pipeline.survey.walks.walk_clean import clean, repeated, spikes, stands


def field(seed=3, **given):
    rng = np.random.default_rng(seed)
    x, y, z, line = field_walk(rng, Ground2D(rng), field_path())
    return as_walk(x, y, z, line, **given)


def with_height(walk, rows, by):
    z = walk.z.copy()
    z[rows] += by
    return walk.at(walk.x, walk.y, z)


@pytest.mark.analytic
def test_every_row_is_kept_or_counted_once():
    n = len(field())
    quality = np.ones(n, int)
    quality[100:140], quality[500:503], quality[900] = 2, 5, 4
    walk = with_height(field(quality=quality), [1200, 1201, 2000], [25.0, 25.0, -0.6])
    walk = with_height(walk, 1500, np.nan)
    result = clean(walk)
    assert result.removed == {"float": 40, "height_spike": 3, "not_finite": 1, "other_quality": 1, "single": 3}
    assert len(result.walk) + sum(result.removed.values()) == result.rows_read == n
    gone = {*range(101, 141), 501, 502, 503, 901, 1201, 1202, 1501, 2001}
    assert set(result.walk.row) == set(range(1, n + 1)) - gone


@pytest.mark.analytic
def test_a_stand_becomes_the_median_of_its_rows():
    x = np.concatenate([np.arange(10) * 0.5, np.full(7, 5.0), 5.5 + np.arange(10) * 0.5])
    z = np.zeros(27)
    z[10:17] = [0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 9.0]
    x[10:17] += np.arange(7) * 0.0015  # creeps 9 mm in all
    result = clean(as_walk(x, np.zeros(27), z))
    assert result.removed == {"standing_still": 6}
    stood = result.walk.row == 11
    assert result.walk.z[stood].item() == 0.04 and result.walk.x[stood].item() == pytest.approx(5.0045)


@pytest.mark.analytic
def test_a_creeping_pole_is_not_one_stand_for_ever():
    x = np.arange(100) * 0.004
    stand = stands(as_walk(x, np.zeros(100), np.zeros(100)))
    for k in range(stand.max() + 1):
        assert np.ptp(x[stand == k]) <= 0.02 + 1e-12
    assert stand.max() > 10


@pytest.mark.invariant
@pytest.mark.parametrize("seed", range(4))
def test_lips_mounds_kerbs_and_banks_are_no_spikes(seed):
    walk = field(seed)
    assert not spikes(walk).any()
    x = np.arange(0, 40, 0.3)
    lip = 0.06 * np.exp(-(((x - 10) / 0.15) ** 2))
    kerb = 0.15 * ((x > 20) & (x < 20.4))
    bank = 1.2 * np.clip(1 - np.abs(x - 30) / 3, 0, 1)
    assert not spikes(as_walk(x, np.zeros_like(x), lip + kerb + bank)).any()


@pytest.mark.invariant
def test_a_step_up_is_no_spike_and_a_lifted_pole_is():
    x = np.arange(0, 40, 0.5)
    step = as_walk(x, np.zeros_like(x), np.where(x > 20, 0.8, 0.0))
    assert not spikes(step).any()
    lifted = with_height(step, slice(30, 34), 0.9)
    assert np.flatnonzero(spikes(lifted)).tolist() == [30, 31, 32, 33]
    at_the_start = with_height(step, slice(0, 3), 25.0)
    assert np.flatnonzero(spikes(at_the_start)).tolist() == [0, 1, 2]


@pytest.mark.invariant
def test_a_ledge_with_a_bank_above_it_is_no_spike():
    """Up 0.6 m onto a ledge, 0.3 m down behind it, and then a bank that climbs past the ledge."""
    x = np.arange(0, 30, 0.25)
    z = np.select([x < 10, x < 11], [0.0, 0.6], 0.3 + 0.4 * np.clip(x - 11, 0, 5))
    assert not spikes(as_walk(x, np.zeros_like(x), z)).any()


@pytest.mark.invariant
def test_a_fixed_row_25_m_up_goes_whatever_the_height_of_the_field():
    for level in (-32.0, 0.0, 1500.0):
        walk = with_height(field(), slice(None), level)
        assert np.flatnonzero(spikes(with_height(walk, [700, 1300], 25.0))).tolist() == [700, 1300]


@pytest.mark.invariant
def test_a_second_cleaning_finds_nothing():
    n = len(field())
    quality = np.where(np.arange(n) % 50 == 7, 2, 1)
    once = clean(with_height(field(quality=quality), 640, 3.0))
    assert once.removed["height_spike"] == 1
    twice = clean(once.walk)
    assert twice.removed == {}
    assert np.array_equal(twice.walk.z, once.walk.z)


@pytest.mark.invariant
def test_a_lost_fix_is_remembered_at_the_next_row_that_stays():
    n = len(field())
    quality = np.ones(n, int)
    quality[400:410] = 2
    result = clean(with_height(field(quality=quality), 410, 5.0))  # the first row after the loss is a spike as well
    assert result.walk.row[result.lost_fix].tolist() == [412]


@pytest.mark.invariant
def test_rows_exported_again_are_found_in_the_later_walk():
    earlier, later = field(1), field(2)
    joined = as_walk(*(np.concatenate([getattr(later, a), getattr(earlier, a)[:300]]) for a in "xyz"),
                     line=np.concatenate([later.line, earlier.line[:300] + later.line.max() + 1]))  # fmt: skip
    assert np.flatnonzero(repeated(joined, [earlier])).tolist() == list(range(len(later), len(later) + 300))
    result = clean(joined, [earlier])
    assert result.removed == {"repeated": 300}
    assert np.array_equal(result.walk.z, later.z)


@pytest.mark.invariant
def test_a_block_of_rows_logged_twice_in_one_walk_counts_once():
    walk = field(1)
    joined = as_walk(*(np.concatenate([getattr(walk, a), getattr(walk, a)[50:90]]) for a in "xyz"),
                     line=np.concatenate([walk.line, walk.line[50:90] + walk.line.max() + 1]))  # fmt: skip
    assert clean(joined).removed == {"repeated": 40}


@pytest.mark.invariant
def test_a_walk_without_a_fixed_row_is_refused():
    with pytest.raises(Refused) as refusal:
        clean(field(quality=np.where(np.arange(len(field())) % 3, 2, 5)))
    assert refusal.value.code == "no_fixed_points"
    assert "none of them fixed" in refusal.value.reason and "walk again" in refusal.value.reason


@pytest.mark.invariant
def test_a_file_that_does_not_tell_quality_says_so():
    assert clean(field()).says_quality is False
    assert clean(field(quality=np.ones(len(field()), int))).says_quality is True


@pytest.mark.independent
def test_the_real_walk_without_a_fix_is_refused(real_data):
    """2025-02-22 of the open beach walks: 7,582 rows float, 755 single; no fixed point (data/rover README)."""
    with pytest.raises(Refused) as refusal:
        clean(real_walk(real_table(real_data, "2025-02-22")))
    assert refusal.value.code == "no_fixed_points"
    assert "8,337 rows" in refusal.value.reason and "7,582 float" in refusal.value.reason


@pytest.mark.independent
def test_real_rows_exported_again_are_the_rows_a_join_finds(real_data):
    """Of 2025-02-22, lines 2 and 3 (8,247 rows) stand again in 2025-03-09: found by joining the text columns."""
    first, second = (real_table(real_data, date) for date in ("2025-02-22", "2025-03-09"))
    keys = ["lon", "lat", "h"]
    merged = second[keys].merge(first[keys].drop_duplicates(), how="left", indicator=True)
    joined = merged["_merge"].eq("both").to_numpy()
    assert joined.sum() == 8247
    assert np.array_equal(repeated(real_walk(second), [real_walk(first)]), joined)
    assert clean(real_walk(second), [real_walk(first)]).removed["repeated"] == 8247


@pytest.mark.independent
def test_real_walks_keep_what_the_file_calls_fixed_less_a_few_spikes(real_data):
    table = real_table(real_data, "2025-02-08")
    result = clean(real_walk(table))
    counts = table.quality.value_counts()
    assert result.removed["float"] == counts[2] and result.removed["single"] == counts[5]
    step = np.hypot(table.e.diff(), table.n.diff()).where(table.line.diff() == 0)
    assert result.removed["standing_still"] == pytest.approx(((step < 0.005) & (table.quality == 1)).sum(), abs=10)
    assert result.removed["height_spike"] <= 10  # a beach has steps and banks: of 14,573 fixed rows a handful
