"""The demo's tables and its truth tell one story, and the story is the one the demo is for."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from pipeline.simulate import crew
from pipeline.simulate.aging import pit_depth_m, state_at
from pipeline.simulate.scenario import Scenario, parse
from pipeline.simulate.scene import build_scene, ends, unit_m
from pipeline.store import scenario_file
from pipeline.units import SHORT_TON_T

DEMO = Path(__file__).resolve().parents[2] / "demo_inputs"


@pytest.fixture(scope="module")
def story() -> Scenario:
    return parse(scenario_file.read(DEMO / "scenario.yaml"))


@pytest.fixture(scope="module")
def newest(story):
    """field -> (scene, state on the day of its newest survey)."""
    out = {}
    for name in story.fields:
        scene = build_scene(story, name)
        newest_day = max(s.day for s in story.surveys.values() if name in s.fields)
        out[name] = scene, state_at(scene, story.first_day, newest_day)
    return out


def rows(name: str) -> list[dict]:
    with open(DEMO / name, newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.frozen
def test_drawn_read_and_levelled_tables_are_what_the_scenario_gives(story):
    for field_id in story.fields:
        assert (DEMO / "features" / f"{field_id}.geojson").read_text() == crew.features(story, field_id)
    assert rows("readings.csv") == [{k: str(v) for k, v in r.items()} for r in crew.readings(story)]
    assert rows("control.csv") == crew.control(story)


@pytest.mark.analytic
def test_the_demo_draws_all_that_a_keep_out_sheet_and_hand_offs_are_about_where_it_belongs(story):
    """Each kind on some field; anchors located this season on three fields, last season on another, on one of two base sets; heads
    by the skin, in it or in the infield grass; a cable that crosses the skin and one that does not."""
    scenes = {name: build_scene(story, name) for name in story.fields}
    things = [(name, t, crew.shape(scenes[name], t, 1.0)) for name, f in story.fields.items() for t in f.in_ground]
    assert {t.role for _, t, _ in things} == {"irrigation_head", "valve_box", "cable", "inlet", "outlet", "gate", "accessible_route"}
    season = {name: {a.located_on.year == 2026 for a in f.anchors} for name, f in story.fields.items()}
    assert sum(True in found for found in season.values()) == 3 and {False} in season.values() and set() in season.values()
    assert story.fields["two-lamps"].other_layout and all(a.layout == "softball-60" for a in story.fields["two-lamps"].anchors)
    away = {(name, t.role, t.name): shape.distance(scenes[name].layout.skin) for name, t, shape in things}
    assert max(v for (_, role, _), v in away.items() if role == "irrigation_head") < 8.0 and sum(v == 0 for (_, role, _), v in away.items() if role == "irrigation_head") >= 3
    assert all(0.5 < v < 6 for (_, role, _), v in away.items() if role == "valve_box")
    cables = [shape.intersection(scenes[name].layout.skin).length for name, t, shape in things if t.role == "cable"]
    assert max(cables) > 10 and min(cables) < 1
    assert all(shape.intersects(scenes[name].layout.skin) for name, t, shape in things if t.role == "accessible_route")


@pytest.mark.invariant
def test_fields_and_surveys_tables_agree_with_the_scenario(story):
    for row in rows("fields.csv"):
        truth = story.fields[row["field_id"]]
        unit = unit_m(row["crs"])
        given = [(float(row[f"{p}_e"]) * unit, float(row[f"{p}_n"]) * unit) for p in ("home", "second")]
        assert np.abs(np.subtract(given, ends(truth))).max() < 1e-6
        said = row["crs"], row["layout"], row["other_layout"] or None
        assert said == (truth.table_crs, truth.layout, truth.other_layout)
    listed = {r["survey_id"]: r for r in rows("surveys.csv")}
    assert set(listed) == set(story.surveys)
    for name, survey in story.surveys.items():
        row = listed[name]
        said = row["flown_on"], row["fields"], row["path"]
        assert said == (survey.day.isoformat(), ";".join(survey.fields), survey.file)
        silent_on_height = "+" not in survey.file_crs
        assert row["vertical_unit"] == (survey.height_unit if silent_on_height else "")


@pytest.mark.invariant
def test_every_change_of_the_ground_by_work_stands_in_the_works_table(story):
    listed = {(r["field_id"], r["done_on"], r["work"]): r for r in rows("works.csv")}
    for field_id, field in story.fields.items():
        for event in field.events:
            assert (field_id, event.day.isoformat(), event.work) in listed


@pytest.mark.analytic
def test_the_mix_on_the_ticket_is_the_mix_on_the_ground(story, newest):
    ticket = next(r for r in rows("works.csv") if r["work"] == "mix_add")
    raised = next(e.raise_mm for e in story.fields[ticket["field_id"]].events if e.work == "mix_add")
    scene, _ = newest[ticket["field_id"]]
    e, n = (v.ravel() for v in scene.layout.grid.mesh())
    area = (scene.lines.find(e, n)[0] < 0).sum() * scene.layout.grid.cell_area_m2
    assert float(ticket["mix_amount"]) * SHORT_TON_T == pytest.approx(area * raised / 1000 * 1.70, rel=0.01)


@pytest.mark.analytic
def test_only_moth_is_plainly_unsafe(story, newest):
    lip_trip_mm, hole_trip_mm = 50, 60
    over = {}
    for name, (scene, state) in newest.items():
        holes = [row[2] * 1000 for row in state.pits if row[3] > 0.3]
        metres = (state.along.lip * 1000 > lip_trip_mm + 5).sum() * 0.1
        over[name] = (metres, max(holes))
    assert over["moth"][0] >= 6 and over["moth"][1] * 0.70 > hole_trip_mm + 5
    for name, (metres, hole) in over.items():
        if name != "moth":
            assert metres == 0 and hole < hole_trip_mm - 10


@pytest.mark.analytic
def test_the_planted_faults_are_there(story, newest):
    assert newest["kettle"][1].skin_m < -0.025 and (newest["kettle"][1].along.lip == 0).all()
    patches = {name: len(scene.patches) for name, (scene, _) in newest.items()}
    assert patches == {"heron": 7, "moth": 7, "sorrel": 7, "kettle": 8, "acorn": 7, "two-lamps": 3}
    heron = story.fields["heron"]
    assert not heron.events and all(p.growth_mm_per_year == 0 for p in (*heron.pits, *heron.lips))
    assert story.surveys["two-lamps-2025-07"].moved_m[0] > 150
    assert story.surveys["heron-2025-12"].drift.dome_mm > 40
    assert story.surveys["kettle-2025-10"].file_crs == "EPSG:6551+6360"
    assert story.fields["kettle"].table_crs == "EPSG:6550"
    assert len(story.surveys["otterlamp-2025-10"].fields) == 3
    left_in = {t.kind for t in story.surveys["sorrel-2025-07"].things}
    assert left_in >= {"player", "tarp_pile", "tarp_roll", "hose", "vehicle"}
    before, after = (story.surveys[f"sorrel-2025-11-{k}"].day for k in ("before", "after"))
    graded = [e for e in story.fields["sorrel"].events if e.work == "laser_grade"]
    assert before < graded[0].day < after
    done = list(story.fields["sorrel"].events)
    deep = [pit_depth_m(p, [], story.first_day, before) for p in story.fields["sorrel"].pits]
    left = [pit_depth_m(p, done, story.first_day, after) for p in story.fields["sorrel"].pits]
    assert max(deep) > 0.035 and max(left) < 0.003


@pytest.mark.invariant
def test_every_field_has_four_surveys_or_more_over_a_year(story):
    for name in story.fields:
        days = sorted(s.day for s in story.surveys.values() if name in s.fields)
        assert len(days) >= 4 and (days[-1] - days[0]).days > 0.7 * 365
        assert date(2025, 1, 1) <= days[0] and days[-1] < date(2027, 1, 1)


@pytest.mark.independent  # the pipeline's own way from tables to a layout ends on the grid that the truth is given on
def test_the_operators_tables_lead_to_the_layout_that_the_truth_stands_on(story, newest):
    from pipeline.diamond.layout import build
    from pipeline.steps import layout
    from pipeline.store.config import load

    project, folder = load(DEMO)
    for name, (scene, _) in newest.items():
        drawing, problems = layout.read(project.fields[name], str(folder), project.config.cell_size_m)
        assert not problems
        made = build(drawing)
        assert made.grid == scene.layout.grid
        assert [p.patch_id for p in made.patches] == [p.patch_id for p in scene.layout.patches]
        assert [e.edge_id for e in made.edges] == [e.edge_id for e in scene.layout.edges]
        for one, two in zip(made.edges, scene.layout.edges):
            assert one.line.hausdorff_distance(two.line) < 2e-3


@pytest.mark.independent  # PROJ's areas of use: both parks lie in the zones they are said to lie in
def test_the_parks_lie_inside_their_zones(story):
    from pyproj import CRS, Transformer

    for field in story.fields.values():
        crs = CRS(field.crs)
        lon, lat = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True).transform(*field.home)
        area = crs.area_of_use
        assert area.west < lon < area.east and area.south < lat < area.north


@pytest.mark.analytic
def test_the_demos_saturday_has_a_swap_that_fits_one_that_does_not_and_a_gap_for_a_drag(story):
    day = sorted((g for g in rows("games.csv") if g["on"] == "2026-04-18"), key=lambda g: (g["field_id"], g["starts"]))
    assert {g["field_id"] for g in day} == set(story.fields)
    free = {}
    for a, b in zip(day, day[1:]):
        if a["field_id"] == b["field_id"]:
            minutes = [int(t[:2]) * 60 + int(t[3:]) for t in (a["ends"], b["starts"])]
            free.setdefault((a["field_id"], a["layout"] != b["layout"]), []).append(minutes[1] - minutes[0])
    assert sorted(free["two-lamps", True]) == [10, 45] and free["kettle", False] == [90] and free["moth", False] == [30]


@pytest.mark.invariant
def test_every_two_sites_of_the_demo_have_a_way_and_its_stock_lies_on_them(story):
    sites = {r["site"] for r in rows("fields.csv")}
    assert {frozenset((r["from_site"], r["to_site"])) for r in rows("sites.csv")} == {frozenset(sites)}
    assert {r["site"] for r in rows("stock.csv")} == sites
