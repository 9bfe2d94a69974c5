"""A crew's season and a day around the games, of the field that the other scenes show."""

from __future__ import annotations

import datetime as dt

from pipeline.owner import Cost
from pipeline.plan.day import plan_day
from pipeline.plan.day_asks import Asked, Crew, Game
from pipeline.plan.mix_order import Ordered, Stock, Wanted
from pipeline.plan.needs import Hours
from pipeline.plan.roads import NoRoads
from pipeline.plan.season import plan_season
from pipeline.plan.season_days import Season, working_days
from pipeline.report.day_page import Day, FieldDay, day_page
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
    return season_block(done, left, season, (Ordered("mill-pond", 3.0, 1.0, 5.0, 5.0, (Wanted(FIELD, "mill-pond", 5.0, 0.5, "thin"),), Stock(2.0, DAYS[0]), DAYS[1], ("other",)),), {FIELD: "Mill <Pond> Field"}, {}, "us", WORDS)


def day_said() -> dict:
    """The page of a wet day with three games on two base sets, the second gap too short for a swap."""
    games = (Game(FIELD, 600, 660, "softball-55"), Game(FIELD, 690, 780, "softball-60"), Game(FIELD, 785, 830, "softball-55"))
    crew = Crew("", 390, 1200, NoRoads(), 60, 5)
    laid = plan_day([Asked(FIELD, "", games, {"open_up": 60, "drag": 30, "bases": 15}, "", True, True)], crew)
    return day_page(Day(dt.date(2026, 4, 18), 8.0, False, True, (FieldDay(BAD, games, 0.2, "", True, True),), laid, crew), "Nowhere Parks", WORDS)
