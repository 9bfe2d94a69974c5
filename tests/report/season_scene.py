"""A crew's season and a day around the games, of the field that the other scenes show."""

from __future__ import annotations

import datetime as dt

from pipeline.owner import Cost
from pipeline.plan.day import Crew, Game, field_tasks, plan_day
from pipeline.plan.mix_order import Ordered
from pipeline.plan.needs import Hours
from pipeline.plan.roads import NoRoads
from pipeline.plan.season import Season, plan_season, working_days
from pipeline.report.day_page import FieldDay, day_page
from pipeline.report.season_asks import Ground, asks
from pipeline.report.season_block import season_block
from pipeline.settings import Season as Knobs
from report.scene import FIELD, WORDS, edge, field_seen, seen, spot, stood

DAYS = working_days(dt.date(2026, 4, 13), dt.date(2026, 11, 9), ("mon", "wed"))
BAD = field_seen(stood(seen([spot("second", 70.0), spot("first", 30.0)], edge({range(8, 14): 62.0, range(24, 30): 34.0}))))
SIGNED = {"set_by": "nobody", "set_on": "2026-01-01"}
COSTS = {"level": Cost(hours_fixed=1, hours_per_m2=0.02, **SIGNED), "lip_cut": Cost(hours_fixed=1.5, hours_per_m=0.15, **SIGNED), "bases": Cost(hours_fixed=1.5, **SIGNED)}
RECORDS = [{"field_id": "mill-pond", "work": w, "hours": h, "done_on": dt.date(2025, 5, 1)} for w, h in (("drag", 0.5), ("edge_clean", 2.0))]


def wanted(works=(), costs=COSTS, seen_field=BAD):
    return asks(seen_field, seen_field.plain, Ground(800.0, 120.0), Hours.of(costs, RECORDS), works, Knobs(), DAYS)


def laid(hours=8.0, days=DAYS):
    season = Season(days, hours, "", NoRoads())
    return *plan_season(wanted(), season), season


def season_said(hours: float = 1.0) -> dict:
    """What the page over all fields says of a season too short for all that is wanted."""
    done, left, season = laid(hours, DAYS[:6])
    return season_block(done, left, season, (Ordered("mill-pond", 3.0, 1.0, 5.0, 2.0, ("other",)),), {FIELD: "Mill <Pond> Field"}, {}, "us", WORDS)


def day_said() -> dict:
    """The page of a wet day with two games on two base sets, the gap between them too short for a drag."""
    games = (Game(FIELD, 540, 630, "softball-55"), Game(FIELD, 660, 750, "softball-60"), Game(FIELD, 755, 800, "softball-55"))
    crew = Crew("", 390, 1200, NoRoads())
    placed, missed = plan_day(field_tasks(games, "", {"open_up": 60, "drag": 30, "bases": 15}, crew, 5, "", True), crew)
    return day_page(dt.date(2026, 4, 18), 8.0, False, [FieldDay(BAD, games, 0.2, "", True)], placed, missed, 5, "Nowhere Parks", WORDS)
