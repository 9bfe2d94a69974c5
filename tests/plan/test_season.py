"""A crew's season: hours are never counted twice, nothing is lost, the worst comes first."""

from __future__ import annotations

import datetime as dt
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.crew import KINDS, cost, drawn, optimum
from pipeline.plan.roads import NoRoads, Roads
from pipeline.plan.season import plan_season
from pipeline.plan.season_days import NO_HOURS_STATED, NO_ROAD, NO_ROOM, OPENING, REPAIR, TOO_LATE, UNSAFE, UPKEEP, Need, Season, waited, week_of, working_days  # fmt: skip

MONDAY = dt.date(2026, 4, 13)
FIVE = ("mon", "tue", "wed", "thu", "fri")
ROADS = Roads({("yard", "east"): 30, ("yard", "west"): 15, ("east", "west"): 20}, {"yard": 15})


def need(hours, rank=REPAIR, site="east", task="level", excess=1.0, field="a", start=MONDAY, end=None, stage=0):
    return Need(field, site, task, hours, rank, excess, start, end, stage=stage)


def season(weeks=2, hours=6.0, roads=ROADS, names=FIVE):
    return Season(working_days(MONDAY, MONDAY + dt.timedelta(weeks=weeks - 1), names), hours, "yard", roads)


@pytest.mark.analytic
def test_weeks_run_from_monday_and_begin_after_the_newest_day():
    days = working_days(dt.date(2026, 4, 15), dt.date(2026, 4, 27), ("tue", "mon"))
    assert days == tuple(MONDAY + dt.timedelta(days=k) for k in (0, 1, 7, 8, 14, 15))
    assert working_days(MONDAY, dt.date(2026, 4, 27), ("mon",), after=dt.date(2026, 4, 14)) == (dt.date(2026, 4, 20), dt.date(2026, 4, 27))
    assert working_days(MONDAY, dt.date(2026, 4, 12), FIVE) == () and week_of(dt.date(2026, 4, 19)) == MONDAY


@pytest.mark.analytic
def test_a_way_one_way_is_the_way_back_and_loading_is_where_it_is_loaded():
    assert ROADS.hours("yard", "east") == 0.75 and ROADS.hours("east", "yard") == 0.5 and ROADS.hours("east", "east") == 0.0
    assert ROADS.hours("yard", "north") is None


@pytest.mark.analytic
def test_a_day_by_hand():
    """6 h: 0.75 out to the east, 2 there, 1/3 on to the west, 1 there, 0.25 home: 4.33 h, and no third site."""
    done, left = plan_season([need(2.0, excess=5.0), need(1.0, site="west", field="b")], season(1))
    assert [(d.need.site, d.hours, d.on) for d in done] == [("east", 2.0, MONDAY), ("west", 1.0, MONDAY)] and not left
    assert [d.travel_hours for d in done] == pytest.approx([0.75, 20 / 60 + 0.25])


def firsts(done):
    out = {}
    for d in done:
        out.setdefault(d.need.field_id, (d.on, d.order))
    return sorted(out, key=out.get)


@pytest.mark.analytic
def test_unsafe_before_opening_and_a_worthier_repair_first_while_upkeep_can_wait():
    wanted = [need(6.0, UNSAFE, field="d"), need(6.0, OPENING, field="c"), need(6.0, UPKEEP, field="b"), need(6.0, excess=3.0, field="z"), need(6.0, excess=2.0, field="a")]
    assert firsts(plan_season(wanted[::-1], season(2, roads=NoRoads()))[0]) == ["d", "c", "z", "a", "b"]


@pytest.mark.analytic
def test_upkeep_whose_turn_would_else_be_missed_comes_before_repairs():
    week = MONDAY + dt.timedelta(days=6)
    wanted = [need(6.0, UPKEEP, field="b", end=week), need(6.0, UPKEEP, field="c", end=week), *(need(6.0, excess=2.0, field=f) for f in "wxyz")]
    done, left = plan_season(wanted, season(1, roads=NoRoads()))
    assert {"b", "c"} <= set(firsts(done)) and [x.need.rank for x in left] == [REPAIR] and firsts(done)[0] in "wxyz"


@pytest.mark.analytic
def test_what_is_begun_is_ended_before_the_next_is_begun():
    done, _ = plan_season([need(8.0, excess=2.0, field="a"), need(8.0, excess=1.4, field="b"), need(8.0, excess=1.3, field="c")], season(2, roads=NoRoads()))
    assert [(d.need.field_id, d.hours) for d in done] == [("a", 6.0), ("a", 2.0), ("b", 4.0), ("b", 4.0), ("c", 2.0), ("c", 6.0)]


@pytest.mark.independent
def test_a_small_season_is_near_the_best_there_is():
    """The optimum by a mixed-integer programme (benchmarks/crew.py), whose hours may be cut as finely as wanted."""
    over = {kind: [] for kind in ("repair", "unsafe", "upkeep")}
    for kind, found in over.items():
        for k in range(4):
            wanted, whole = drawn(np.random.default_rng([7, k, KINDS.index(kind)]), kind)
            done, left = plan_season(wanted, whole)
            found.append(cost(wanted, done, whole) / optimum(wanted, whole))
            assert not any(x.need.rank == UPKEEP for x in left)
        assert min(found) >= 0.999
    assert np.mean(over["repair"]) < 1.2 and np.mean(over["unsafe"]) < 1.1 and np.mean(over["upkeep"]) < 1.25


@pytest.mark.analytic
def test_a_long_work_goes_on_on_later_days_and_what_is_left_of_it_is_said():
    [big] = [need(11.0)]
    done, left = plan_season([big], season(1))
    assert [d.hours for d in done] == pytest.approx([4.75, 4.75, 1.5]) and [d.last for d in done] == [False, False, True] and not left
    done, left = plan_season([need(40.0)], season(1))
    assert sum(d.hours for d in done) == pytest.approx(23.75) and left[0].hours == pytest.approx(16.25) and left[0].why == NO_ROOM


@pytest.mark.analytic
def test_each_reason_for_not_being_done():
    later = MONDAY + dt.timedelta(weeks=9)
    wanted = [need(None), need(1.0, site="north", field="b"), need(1.0, field="c", start=later), need(9.0, UPKEEP, field="d", end=MONDAY + dt.timedelta(days=6))]
    done, left = plan_season(wanted, season(2))
    assert not done and {x.need.field_id: x.why for x in left} == {"a": NO_HOURS_STATED, "b": NO_ROAD, "c": TOO_LATE, "d": NO_ROOM}


@pytest.mark.analytic
def test_an_opening_goes_by_its_stages_even_where_a_later_one_would_fit():
    done, _ = plan_season([need(5.5, OPENING, task="bases", stage=0), need(0.5, OPENING, task="drag", stage=2), need(9.0, OPENING, task="edge_recut", stage=1)], season(2, roads=NoRoads()))
    assert [d.need.task for d in done] == ["bases", "edge_recut", "edge_recut", "drag"]


@pytest.mark.analytic
def test_the_share_of_the_season_waited():
    whole = season(2)
    assert waited(whole.days[0], whole) == pytest.approx(1 / 12) and waited(whole.days[-1], whole) == 1.0 and waited(None, whole) == 1.0


SITES = ("east", "west", "yard", "north")
NEEDS = st.lists(
    st.builds(
        lambda h, r, s, t, x, f, k, w: need(h, r, s, t, x, f, MONDAY + dt.timedelta(days=k), None if w is None else MONDAY + dt.timedelta(days=k + w)),
        st.one_of(st.none(), st.floats(0.05, 30)), st.sampled_from((UNSAFE, OPENING, UPKEEP, REPAIR)), st.sampled_from(SITES), st.sampled_from(("level", "drag", "weed")),
        st.one_of(st.none(), st.floats(0, 5)), st.sampled_from("abcdef"), st.integers(0, 30), st.one_of(st.none(), st.integers(0, 14)),
    ),
    max_size=25, unique=True,
)  # fmt: skip


@pytest.mark.invariant
@settings(max_examples=120, deadline=None)
@given(NEEDS, st.floats(0.5, 10), st.integers(1, 4), st.sets(st.sampled_from(FIVE), min_size=1))
def test_hours_are_never_booked_twice_and_no_need_is_lost(wanted, hours, weeks, names):
    whole = season(weeks, hours, names=names)
    done, left = plan_season(wanted, whole)
    by_day = Counter()
    for d in done:
        by_day[d.on] += d.hours + d.travel_hours
        assert d.on in whole.days and d.hours > 0 and d.travel_hours >= 0
        assert d.need.earliest <= d.on and (d.need.latest is None or d.on <= d.need.latest)
    assert all(v <= hours + 1e-6 for v in by_day.values())
    by_week = Counter()
    for day, worked in by_day.items():
        by_week[week_of(day)] += worked
    assert all(v <= hours * len(names) + 1e-6 for v in by_week.values())
    for n in wanted:
        worked = sum(d.hours for d in done if d.need == n)
        remains = sum(x.hours or 0.0 for x in left if x.need == n)
        assert n.hours is None and not worked or worked + remains == pytest.approx(n.hours)
        assert sum(d.last for d in done if d.need == n) == (not any(x.need == n for x in left))
    for day in by_day:
        route = sorted((d for d in done if d.on == day), key=lambda d: d.order)
        assert [d.order for d in route] == list(range(1, len(route) + 1))
        stops = ["yard", *(d.need.site for d in route), "yard"]
        driven = sum(ROADS.hours(a, b) for a, b in zip(stops, stops[1:]))
        assert sum(d.travel_hours for d in route) == pytest.approx(driven)


@pytest.mark.invariant
@settings(max_examples=60, deadline=None)
@given(NEEDS, st.randoms())
def test_the_order_in_which_needs_are_told_does_not_matter(wanted, rng):
    mixed = list(wanted)
    rng.shuffle(mixed)
    one, two = (plan_season(w, season(2)) for w in (wanted, mixed))
    keyed = lambda done: sorted((d.on, d.order, d.need.field_id, d.need.task, round(d.hours, 9)) for d in done)
    assert keyed(one[0]) == keyed(two[0])
