"""Faults in what a season and a day are planned by: days no week has, sites without a way, games that cannot be."""

from __future__ import annotations

import datetime as dt

import pytest

from pipeline.project import Project, check
from pipeline.settings import Config
from pipeline.store.tables import parse_rows
from pipeline.tables import TABLES, read

FIELDS = "field_id,crs,features,site,layout,other_layout,home_e,home_n,second_e,second_n\na,EPSG:6565,a.geojson,east,softball-60,softball-65,0,0,1,1\nb,EPSG:6565,b.geojson,west,,,,,,\n"


def found(config=None, **texts) -> list[tuple[str, str]]:
    rows, problems = {}, []
    for name in TABLES:
        text = {"fields": FIELDS, **texts}.get(name)
        rows[name], faults = read(name, parse_rows(text, f"{name}.csv")) if text else ((), [])
        problems += faults
    project = Project(Config(**(config or {})), rows, {"config": "config.yaml", **{n: f"{n}.csv" for n in TABLES}})
    return [(p.file, p.found) for p in problems + check(project)]


@pytest.mark.analytic
def test_sound_tables_have_no_fault():
    crew = {"working_days": ["mon", "sat"], "first_week": dt.date(2026, 4, 6), "last_week": dt.date(2026, 11, 2), "yard": "yard"}
    sites = "from_site,to_site,minutes\neast,west,10\nwest,yard,5\nyard,east,7\n"
    games = "field_id,on,starts,ends,layout\na,2026-04-18,9:00,10:30,softball-65\na,2026-04-18,10:30,12:00,\nb,2026-04-18,09:30,10:45,baseball-90\n"
    assert found({"crew": crew}, sites=sites, games=games, use="field_id,month,games,hours\na,2026-04,3,6\n") == []


@pytest.mark.analytic
def test_a_crew_that_works_on_no_such_day_or_ends_before_it_begins():
    crew = {"working_days": ["mon", "monday"], "first_week": dt.date(2026, 4, 6), "last_week": dt.date(2026, 3, 2)}
    assert found({"crew": crew}) == [("config.yaml", "'monday'"), ("config.yaml", "2026-03-02")]


@pytest.mark.analytic
def test_every_two_sites_have_a_way():
    assert found({"crew": {"yard": "yard"}}, sites="from_site,to_site,minutes\neast,west,10\n") == [("sites.csv", "no way from east to yard"), ("sites.csv", "no way from west to yard")]


@pytest.mark.analytic
def test_games_that_cannot_be():
    games = "field_id,on,starts,ends,layout\na,2026-04-18,09:00,08:00,\na,2026-04-19,09:00,10:30,softball-55\na,2026-04-20,09:00,10:30,\na,2026-04-20,10:29,11:00,\n"
    assert found(games=games) == [("games.csv", "08:00"), ("games.csv", "'softball-55'"), ("games.csv", "10:29")]


@pytest.mark.analytic
@pytest.mark.parametrize("time", ["9.30", "25:00", "9:61", "noon", "0930"])
def test_a_time_that_no_clock_shows(time):
    assert found(games=f"field_id,on,starts,ends\na,2026-04-18,{time},23:59\n") == [("games.csv", repr(time))]


@pytest.mark.analytic
def test_a_month_that_no_year_has():
    assert [f for f, _ in found(use="field_id,month,games,hours\na,2026-13,3,6\na,April,3,6\n")] == ["use.csv", "use.csv"]


@pytest.mark.analytic
def test_a_day_that_ends_before_it_begins():
    assert found({"day": {"first_at": "08:00", "last_at": "07:00"}}) == [("config.yaml", "07:00")]
