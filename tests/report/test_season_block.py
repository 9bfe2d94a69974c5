"""What each field asks of the crew, and what the page says of the season that comes of it."""

from __future__ import annotations

import datetime as dt

import pytest

from pipeline.owner import Cost
from pipeline.plan.mix_order import Ordered
from pipeline.plan.roads import NoRoads
from pipeline.plan.season import OPENING, REPAIR, UNSAFE, UPKEEP, Season
from pipeline.report.season_block import asked_block, queue_rows, season_block
from pipeline.store import tables as store
from report.scene import WORDS, edge, field_seen, seen, stood
from report.season_scene import BAD, COSTS, DAYS, SIGNED, laid, wanted

@pytest.mark.analytic
def test_what_is_unsafe_is_first_and_a_works_hours_follow_its_size():
    found = {(n.task, n.rank): n for n in wanted()}
    level, cut = found["level", UNSAFE], found["lip_cut", UNSAFE]
    area = sum(f.row["area_m2"] for f in BAD.now.newest.findings if f.kind == "low_spot" and f.word in ("unsafe", "work"))
    assert level.hours == pytest.approx(1 + 0.02 * area) and "second base" in level.why
    assert cut.earliest == DAYS[0] and 1.5 < cut.hours < 1.5 + 0.15 * 30 and cut.excess > 1
    assert found["bases", OPENING].hours == 1.5 and found["edge_recut", OPENING].hours is None


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
    assert any("cut the lip" in line and "hours missing" in line and "of condition all season" in line for line in block["left"])
    assert any("re-cut the edges" in line and "nobody stated" in line for line in block["left"])
    assert block["turns"] and "turns are left out" in block["turns"][0]
    assert all(len(r) == len(block["heads"]) for r in block["rows"]) and block["opening"][0]["name"] == "Mill Pond Field"
    assert "hours" in block["lead"] and "from what is left undone" in block["cost"]


@pytest.mark.analytic
def test_without_the_crews_figures_the_owner_is_asked_and_the_order_stands():
    block = asked_block(["crew.hours_per_week"], [Ordered("mill-pond", 3.0, 1.0, 5.0, 2.0, ("acorn",)), Ordered("east", 0.0, 0.0, 0.0, 1.0, ())], "metric", WORDS)
    assert "crew.hours_per_week" in block["none"] and block["order"][0].startswith("Mill Pond: 3.00\u00a0t") and "acorn" in block["order"][0]
    assert block["order"][1] == "East: nothing; what lies there, 1.00\u00a0t of it, will do."
    over = Season((), 8.0, "", NoRoads())
    assert "weeks are over" in season_block([], [], over, (), {}, {}, "us", WORDS)["none"]
