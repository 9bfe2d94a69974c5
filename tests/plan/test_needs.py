"""Excess over tolerance, hours of a visit, turns of upkeep, the opening list, mix to order."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from pipeline.owner import Cost
from pipeline.plan.mix_order import Stock, Wanted, orders, stock_of
from pipeline.plan.needs import Hours, expected_over, from_month, opening_left, windows

SIGNED = {"set_by": "nobody", "set_on": "2026-01-01"}
DAY = dt.date


@pytest.mark.analytic
@pytest.mark.parametrize(("value", "sigma", "limit"), [(30, 5, 25), (20, 6, 25), (25, 3, 25), (60, 1, 25)])
def test_expected_excess_is_the_integral_over_the_limit(value, sigma, limit):
    exact = quad(lambda x: (x - limit) / limit * norm.pdf(x, value, sigma), limit, value + 12 * sigma, epsabs=1e-12)[0]
    assert expected_over(value, sigma, limit) == pytest.approx(exact, abs=1e-9)
    assert expected_over(2 * limit - value, sigma, limit, under=True) == pytest.approx(exact, abs=1e-9)


@pytest.mark.analytic
def test_without_scatter_the_excess_is_plain():
    assert expected_over(30, 0, 25) == pytest.approx(0.2) and expected_over(20, 0, 25) == 0.0 and expected_over(60, 0, 80, under=True) == pytest.approx(0.25)


@pytest.mark.analytic
def test_hours_by_the_owners_figures_then_the_fields_records_then_all_fields():
    works = [{"field_id": f, "work": "drag", "hours": h, "by": by} for f, h, by in (("a", 0.5, "crew"), ("a", 1.5, "crew"), ("a", 2.5, "crew"), ("b", 4.0, "crew"), ("b", 90.0, "contractor"))]
    hours = Hours.of({"level": Cost(hours_fixed=1, hours_per_m2=0.02, by="crew", **SIGNED), "laser_grade": Cost(fixed=1, by="contractor", **SIGNED)}, works)
    assert hours.of_task("a", "level", area_m2=100.0) == pytest.approx(3.0)
    assert hours.of_task("a", "drag") == 1.5 and hours.of_task("b", "drag") == 4.0 and hours.of_task("c", "drag") == 2.0
    assert hours.of_task("a", "weed") is None and hours.contracted("laser_grade") and not hours.contracted("level")


@pytest.mark.analytic
def test_turns_of_upkeep_follow_on_each_other_without_gap():
    days = [DAY(2026, 4, 13) + dt.timedelta(days=k) for k in (0, 1, 7, 8, 14, 15, 21)]
    found = windows(days, 2)
    assert found == [(DAY(2026, 4, 13), DAY(2026, 4, 26)), (DAY(2026, 4, 27), DAY(2026, 5, 10))] and len(windows(days, 1)) == 4


@pytest.mark.analytic
def test_the_opening_list_is_what_the_years_works_do_not_record():
    works = [{"work": "drag", "done_on": DAY(2026, 3, 30)}, {"work": "bases", "done_on": DAY(2025, 3, 30)}]
    assert opening_left(2026, works) == ("bases", "edge_recut") and opening_left(2027, works) == ("bases", "edge_recut", "drag")


@pytest.mark.analytic
def test_heavy_work_waits_for_autumn_unless_the_season_ends_before():
    assert from_month(DAY(2026, 4, 13), 9, DAY(2026, 11, 9)) == DAY(2026, 9, 1)
    assert from_month(DAY(2026, 4, 13), 9, DAY(2026, 8, 9)) == DAY(2026, 4, 13) and from_month(DAY(2026, 10, 5), 9, DAY(2026, 11, 9)) == DAY(2026, 10, 5)


@pytest.mark.analytic
def test_an_order_is_what_is_needed_less_what_lies_there():
    stock = stock_of([
        {"site": "east", "material": "infield mix", "tonnes": 9.0, "on": DAY(2025, 4, 1)}, {"site": "east", "material": "Infield mix", "tonnes": 3.0, "on": DAY(2026, 4, 1)},
        {"site": "east", "material": "mound mix", "tonnes": 1.0, "on": DAY(2026, 3, 1)}, {"site": "east", "material": "sand", "tonnes": 50.0, "on": DAY(2026, 4, 2)},
    ])  # fmt: skip
    assert stock == {"east": Stock(4.0, DAY(2026, 3, 1))}
    wanted = [Wanted("a", "east", 10.0, 1.0, "fill"), Wanted("b", "east", 5.0, 0.5, "thin"), Wanted("c", "west", 0.0, 0.0), Wanted("d", "north", None, 0.0)]
    found = {o.site: o for o in orders(wanted, stock, {"east": DAY(2026, 3, 20), "north": DAY(2026, 3, 20)})}
    east = found["east"]
    assert (east.tonnes, east.low95, east.high95) == pytest.approx((11.0, 15 - 1.96 * 1.5 - 4, 15 + 1.96 * 1.5 - 4)) and (east.in_stock, east.needed) == (4.0, 15.0)
    assert [w.field_id for w in east.wanted] == ["a", "b"] and east.added_on == DAY(2026, 3, 20) and found["north"].added_on is None
    assert "west" not in found and found["north"].untold == ("d",) and found["north"].tonnes == 0.0 and found["north"].stock is None


@pytest.mark.invariant
@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from(("east", "west")), st.one_of(st.none(), st.floats(0, 50)), st.floats(0, 5))), st.floats(0, 40))
def test_an_order_is_never_under_none_and_its_range_holds_it(needed, held):
    for o in orders([Wanted(*n) for n in needed], {"east": Stock(held, DAY(2026, 4, 1))}):
        assert 0 <= o.low95 <= o.tonnes <= o.high95 and o.in_stock <= o.needed
