"""What each field asks of the crew, and what the page says of the season that comes of it."""

from __future__ import annotations

import datetime as dt

import pytest

from pipeline.owner import Cost
from pipeline.plan.mix_order import Ordered, Stock, Wanted
from pipeline.plan.roads import NoRoads
from pipeline.plan.needs import Hours
from pipeline.plan.season import plan_season
from pipeline.plan.season_days import OPENING, REPAIR, UNSAFE, UPKEEP, Season
from pipeline.report.season_asks import Ground, asks, opening_done
from pipeline.report.season_block import asked_block, order_rows, queue_rows, season_block
from pipeline.settings import Season as Knobs
from pipeline.store import tables as store
from report.scene import WORDS, edge, field_seen, seen, stood
from report.season_scene import BAD, COSTS, DAYS, RECORDS, SIGNED, laid, wanted

@pytest.mark.analytic
def test_what_is_unsafe_is_first_and_a_works_hours_follow_its_size():
    found = {(n.task, n.rank): n for n in wanted()}
    level, cut = found["level", UNSAFE], found["lip_cut", UNSAFE]
    area = sum(f.row["area_m2"] for f in BAD.now.newest.findings if f.kind == "low_spot" and f.word in ("unsafe", "work"))
    assert level.hours == pytest.approx(1 + 0.02 * area) and "second base" in level.why
    assert cut.earliest == DAYS[0] and 1.5 < cut.hours < 1.5 + 0.15 * 30 and cut.excess > 1
    assert found["bases", UNSAFE].hours == 1.5 and found["edge_recut", OPENING].hours is None


@pytest.mark.analytic
def test_a_lip_that_is_not_unsafe_waits_for_autumn_and_a_contractors_work_is_not_the_crews():
    high = field_seen(stood(seen([], edge({range(24, 30): 52.0}))))
    cut = {n.task: n for n in wanted(seen_field=high)}["lip_cut"]
    assert cut.rank == REPAIR and cut.earliest == dt.date(2026, 9, 1)
    calm = field_seen(stood(seen([], edge({range(24, 30): 40.0}))))
    tasks = {n.task: n for n in wanted(seen_field=calm) if n.rank == REPAIR}
    assert set(tasks) == {"edge_clean"} and tasks["edge_clean"].earliest == DAYS[0]
    given_away = {**COSTS, "lip_cut": Cost(hours_fixed=1.5, by="contractor", **SIGNED)}
    assert not [n for n in wanted(costs=given_away, seen_field=high) if n.task == "lip_cut"]


@pytest.mark.analytic
def test_upkeep_comes_round_and_the_opening_stands_for_its_first_turn():
    drags = [n for n in wanted() if n.task == "drag" and n.rank == UPKEEP]
    weeks = len({d - dt.timedelta(days=d.weekday()) for d in DAYS})
    assert len(drags) == weeks - 1 and drags[0].earliest == dt.date(2026, 4, 20)
    dragged = [{"field_id": "mill-pond", "work": "drag", "done_on": dt.date(2026, 4, 1)}]
    assert len([n for n in wanted(dragged) if n.task == "drag" and n.rank == UPKEEP]) == weeks
    assert not [n for n in wanted(dragged) if n.task == "drag" and n.rank == OPENING]


@pytest.mark.invariant
def test_every_row_of_the_queue_can_be_written_and_its_hours_are_the_days(tmp_path):
    done, left, season = laid()
    rows = queue_rows(done, left, season, WORDS)
    store.write(tmp_path / "q.csv", "season_queue", rows)
    held = store.read(tmp_path / "q.csv", "season_queue")
    assert len(held) == len(done) + len(left) and {r["done"] for r in held} == {"planned", "dropped"}
    assert sum(r["hours"] for r in held if r["done"] == "planned") == pytest.approx(sum(d.hours for d in done), abs=0.01 * len(done))
    dropped = [r for r in held if r["done"] == "dropped"]
    assert all(r["cost_in_condition"] == r["over"] for r in dropped) and any("nobody stated" in r["reason"] for r in dropped)


@pytest.mark.analytic
def test_the_page_names_what_is_left_what_it_costs_and_what_is_not_stated():
    done, left, season = laid(hours=1.2, days=DAYS[:2])
    block = season_block(done, left, season, (), {"mill-pond": "Mill Pond Field"}, {}, "metric", WORDS)
    assert any("cut the lip" in line and "hours missing" in line and "of its limit to the season’s end" in line for line in block["left"])
    assert any("re-cut the edges" in line and "nobody stated" in line for line in block["left"])
    assert block["turns"] and "turns are left out" in block["turns"][0]
    assert all(len(r) == len(block["heads"]) for r in block["rows"]) and block["opening"][0]["name"] == "Mill Pond Field"
    assert "hours" in block["lead"] and "from what is left undone" in block["cost"]


@pytest.mark.analytic
def test_without_the_crews_figures_the_owner_is_asked_and_the_order_stands():
    day = dt.date
    ordered = [Ordered("mill-pond", 3.0, 1.0, 5.0, 5.0, (Wanted("pond", "mill-pond", 5.0, 0.5, "thin"),), Stock(2.0, day(2026, 4, 1)), day(2026, 4, 3), ("acorn",)),
               Ordered("east", 0.0, 0.0, 0.0, 1.0, (Wanted("e", "east", 1.0, 0.1, "fill"),), Stock(4.0, day(2026, 4, 1))), Ordered("west", 2.0, 1.0, 3.0, 2.0, (Wanted("w", "west", 2.0, 0.5, "fill"),))]  # fmt: skip
    block = asked_block(["crew.hours_per_week"], ordered, "metric", WORDS, {"pond": "Pond Field"})
    assert "crew.hours_per_week" in block["none"] and block["order"][0].startswith("Mill Pond: order 3.0\u00a0t")
    assert "Pond Field wants 5.0" in block["order"][0] and "count again before ordering" in block["order"][0] and "What acorn wants is not known" in block["order"][0]
    assert block["order"][1].startswith("East: nothing to order.") and "4.00\u00a0t lie there" in block["order"][1] and "count again" not in block["order"][1]
    assert "has no mix for this site" in block["order"][2]
    rows = order_rows(ordered, WORDS)
    assert [r["in_stock"] for r in rows] == [2.0, 1.0, 0.0] and "pond wants" in rows[0]["reason"]
    over = Season((), 8.0, "", NoRoads())
    assert "weeks are over" in season_block([], [], over, (), {}, {}, "us", WORDS)["none"]


@pytest.mark.analytic
def test_the_anchors_are_found_before_any_blade_goes_down():
    done, _, _ = laid(hours=3.0)
    first = {}
    for d in done:
        first.setdefault(d.need.task, (d.on, d.order))
    ended = max((d.on, d.order) for d in done if d.need.task == "bases")
    assert ended < first["level"] and ended < first["lip_cut"] and min(first.values()) == first["bases"]


@pytest.mark.analytic
def test_the_opening_list_shows_what_is_behind_a_field_and_warns_where_the_first_game_is_sooner():
    dragged = [{"field_id": "mill-pond", "work": "drag", "done_on": dt.date(2026, 4, 1)}]
    assert opening_done(BAD, dragged, 2026, WORDS) == ["First full drag: done by works.csv, 1\u00a0April 2026.", f"First survey: {WORDS.date(BAD.now.newest.flown_on)}."] or BAD.now.newest.flown_on[:4] != "2026"
    assert not any("drag" in line for line in opening_done(BAD, dragged, 2025, WORDS))
    season = Season(DAYS, 2.0, "", NoRoads())
    for day, warned in ((DAYS[0], True), (DAYS[-1], False)):
        needs = asks(BAD, BAD.plain, Ground(800.0, 120.0), Hours.of({**COSTS, "edge_recut": Cost(hours_fixed=2, **SIGNED)}, RECORDS), [], Knobs(), DAYS, day)
        done, left = plan_season(needs, season)
        [field] = season_block(done, left, season, (), {"mill-pond": "Mill Pond Field"}, {}, "metric", WORDS, {"mill-pond": ["Done."]})["opening"]
        assert bool(field["late"]) == warned and field["lines"][-1] == "Done." and "clean its plug" in field["lines"][0]
