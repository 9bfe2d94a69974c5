"""The operator's tables: every fault named with file, row, column, found, expected, what to do."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from pipeline import jobs
from pipeline.errors import BadInput
from pipeline.project import Project, check, diagonal_problem, in_the_future
from pipeline.settings import Config
from pipeline.store.tables import cell, parse_rows, read, read_rows, write
from pipeline.tables import TABLES
from pipeline.tables import read as read_table

FIELDS = "field_id,crs,layout,home_e,home_n,second_e,second_n\nf1,EPSG:6564,baseball-90,400000,80000,400000,80038.795\n"
SURVEYS = """survey_id,flown_on,fields,path,source,purpose,sigma_mm,height_reference
s1,2026-04-01,f1,a.laz,lidar,,,EPSG:5703
s2,2026-07-01,f1,b.laz,lidar,baseline,,EPSG:5703
s3,2026-10-01,all,c.laz,lidar,,,EPSG:5703
"""


def project(**texts: str) -> tuple[Project, list]:
    """A project from CSV texts, with the faults of its cells."""
    tables, problems, files = {name: () for name in TABLES}, [], {"config": "config.yaml"}
    for name, text in {"fields": FIELDS, "surveys": SURVEYS, **texts}.items():
        tables[name], found = read_table(name, parse_rows(text, f"{name}.csv"))
        files[name] = f"{name}.csv"
        problems += found
    return Project(Config(), tables, files), problems


def said(**texts: str) -> list[str]:
    made, problems = project(**texts)
    return [str(p) for p in problems + check(made)]


@pytest.mark.analytic
def test_good_tables_say_nothing():
    assert said() == []


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("table", "text", "expected"),
    [
        ("surveys", "survey_id,flown_on,fields,path,source\ns1,2026-04-01,f2,a.laz,lidar\n", "surveys.csv, row 2, column fields: found 'f2'"),
        ("surveys", "survey_id,flown_on,fields,path,source\ns1,2026-04-01,f1,a.laz,raster\n", "sigma_mm: found nothing"),
        ("surveys", "survey_id,flown_on,fields,path,sorce\ns1,2026-04-01,f1,a.laz,lidar\n", "Did you mean 'source'?"),
        ("surveys", SURVEYS.replace("s3,2026-10-01,all,c.laz,lidar,,,EPSG:5703", "s3,2026-10-01,f1,c.laz,lidar,,,EPSG:5773"), "share one height reference"),
        ("works", "work_id,field_id,done_on,work,mix_amount,mix_unit\nw1,f1,2026-05-01,mix_add,5,ton\n", "short_ton (2000 lb) or tonne"),
        ("works", "work_id,field_id,done_on,work,ended_on\nw1,f1,2026-05-01,level,2026-04-01\n", "2026-05-01 or later"),
        ("works", "work_id,field_id,done_on,work\nw1,f1,2026-05-01,levle\n", "Did you mean 'level'?"),
        ("works", "work_id,field_id,done_on,work,depth\nw1,f1,2026-05-01,level,5\n", "column depth_unit: found nothing"),
        ("works", "work_id,field_id,done_on,work\nw1,f1,2026-05-01,level\nw1,f1,2026-05-02,level\n", "'w1' again (first in row 2)"),
        ("readings", "reading_id,field_id,read_on,kind,value,unit\nr1,f1,2026-05-01,lip_rise,12,mm\n", "Say where the ruler stood"),
        ("readings", "reading_id,field_id,read_on,kind,value\nr1,f1,2026-05-01,seen,pudle\n", "Did you mean 'puddle'?"),
        ("readings", "reading_id,field_id,read_on,kind,value\nr1,f1,2026-05-01,turf_height,2.5\n", "column unit: found nothing"),
        ("fields", FIELDS.replace("baseball-90", ""), "Home and second are given: name the layout too"),
        ("fields", FIELDS.replace("400000,80000,", ",80000,"), "column home_e: found nothing"),
        ("fields", FIELDS.replace("f1", "F 1"), "Write it as 'f-1'"),
        ("surveys", SURVEYS.replace("f1,a.laz", "'f1,f2',a.laz").replace("'", '"'), "words separated by ;. Write 'f1;f2'"),
        ("surveys", SURVEYS.replace("2026-04-01", "1989-04-01"), "a day of 1990 or later"),
        ("surveys", SURVEYS.replace("lidar,,,", "drone,,,", 1), "From pictures: photogrammetry. From a laser scanner: lidar."),
        ("surveys", SURVEYS.replace("lidar,,,", "lidar,baseline,,", 1), "row 3, column purpose: found 'baseline' again for f1 (first in row 2)"),
        ("surveys", "survey_id,flown_on,fields,path,source,vertical_unit\ns1,2026-04-01,f1,a.laz,lidar,feet\n", "ft is the international foot, us-ft the US survey foot"),
        ("surveys", "survey_id,flown_on,fields,path,source,turf_height,turf_height_unit\ns1,2026-04-01,f1,a.laz,lidar,30,in\n", "found turf 30 in high; expected at most 11.8 in"),
        ("readings", "reading_id,field_id,read_on,kind,value,unit\nr1,f1,2026-05-01,turf_height,0.5,m\n", "found turf 0.5 m high"),
        ("fields", FIELDS.replace("baseball-90", "softball"), "Did you mean 'softball-55', 'softball-60' or 'softball-65'?"),
    ],
)  # fmt: skip
def test_a_fault_is_named_with_place_and_remedy(table, text, expected):
    assert any(expected in line for line in said(**{table: text})), said(**{table: text})


@pytest.mark.analytic
def test_a_faulty_cell_is_reported_once():
    (line,) = said(fields=FIELDS.replace("baseball-90", "basebal-90"))
    assert "Did you mean 'baseball-90'?" in line


@pytest.mark.analytic
def test_a_misspelt_column_is_taken_for_a_missing_one_only():
    assert not any("Did you mean" in line for line in said(works="work_id,field_id,done_on,work,moth\n"))
    assert any("Did you mean 'mix_unit'?" in line for line in said(works="work_id,field_id,done_on,work,mix_unt\n"))
    assert not any("'fields'" in line for line in said(surveys="survey_id,flown_on,fields,path,source,field\ns1,2026-04-01,f1,a.laz,lidar,\n"))


@pytest.mark.analytic
def test_a_header_in_capitals_is_one_fault_and_its_rows_are_read():
    (line,) = said(surveys="Survey_ID,FLOWN_ON,Fields,Path,Source\ns1,2026-04-01,f1,a.laz,lidar\n")
    assert line.startswith("surveys.csv, row 1: found capitals in the header: Survey_ID, FLOWN_ON") and "lower case" in line
    assert len(said(surveys="Survey_ID,FLOWN_ON,Fields,Path,Source\ns1,2026-04-01,f1,a.laz,drone\n")) == 2


@pytest.mark.analytic
def test_days_still_to_come_are_named_wherever_they_stand():
    works = "work_id,field_id,done_on,work\nw1,f1,2026-05-01,level\n"
    readings = "reading_id,field_id,read_on,kind,value,unit\nr1,f1,2026-05-02,turf_height,20,mm\n"
    made, problems = project(works=works, readings=readings)
    owned = {"lip_mm": {"value": 25, "set_by": "A", "set_on": "2026-06-01"}}
    material = {"truck_t": 16, "loose_t_per_m3": 1.5, "set_by": "A", "set_on": "2026-06-02"}
    made = replace(made, config=Config(tolerances=owned, material=material), lines={("tolerances", "lip_mm"): 9})
    places = {(p.file, p.row, p.column) for p in in_the_future(made, dt.date(2026, 4, 30))}
    assert not problems and places == {
        ("surveys.csv", 3, "flown_on"), ("surveys.csv", 4, "flown_on"), ("works.csv", 2, "done_on"), ("readings.csv", 2, "read_on"),
        ("config.yaml", 9, "tolerances.lip_mm.set_on"), ("config.yaml", None, "material.set_on"),
    }  # fmt: skip
    assert in_the_future(made, dt.date(2026, 10, 1)) == []


@pytest.mark.analytic
def test_where_the_fields_cannot_be_read_no_survey_is_blamed_for_it():
    made, problems = project(fields="fieldid,crs\nf1,EPSG:6564\n")
    assert [p.file for p in problems] == ["fields.csv"] * len(problems) and not any(p.file == "surveys.csv" for p in check(made))
    unread = replace(project()[0], tables={**project()[0].tables, "fields": ()}, unread=frozenset({"fields"}))
    assert check(unread) == []


@pytest.mark.analytic
def test_the_baseline_is_the_newest_marked_then_the_earliest():
    made, _ = project()
    assert made.baseline_order("f1") == ("s2", "s1", "s3")
    assert jobs.earlier_baselines(made, "f1", "s3") == ("s2", "s1") and jobs.earlier_baselines(made, "f1", "s2") == ()


@pytest.mark.independent
@pytest.mark.parametrize(("layout", "feet_in"), [("baseball-90", (127, 3.375)), ("baseball-60", (84, 10.25)), ("softball-65", (91, 11))])
def test_the_published_diagonal_passes_and_another_layouts_does_not(layout, feet_in):
    # Official Baseball Rules 2.01 (90 ft); trade dimension chart: common practice, no source (60 and 65 ft).
    distance = (feet_in[0] + feet_in[1] / 12) * 0.3048
    made, _ = project(fields=FIELDS.replace("baseball-90", layout))
    assert diagonal_problem(made, "f1", distance) is None
    problem = diagonal_problem(made, "f1", distance * 0.85)
    assert problem is not None and problem.column == "second_e"
    twins = {"60": "baseball-60 or softball-60"}.get(layout.rsplit("-", 1)[1])
    other = diagonal_problem(project(fields=FIELDS.replace("baseball-90", "baseball-50"))[0], "f1", distance)
    assert f"The points fit {twins or layout}." in str(other)
    assert "look like feet" in str(diagonal_problem(made, "f1", distance / 0.3048))


@pytest.mark.invariant
def test_a_job_is_handed_the_same_line_when_rows_above_it_or_unused_columns_change():
    before, _ = project()
    after, _ = project(surveys=SURVEYS.replace("s1,", "s0,2025-04-01,f1,z.laz,lidar,,,\ns1,").replace("\n", ",\n").replace("reference,\n", "reference,notes\n", 1))
    assert jobs.given(before, "measure", ".", "f1", "s3") == jobs.given(after, "measure", ".", "f1", "s3")
    assert jobs.given(before, "change", ".", "f1") != jobs.given(after, "change", ".", "f1")


@pytest.mark.invariant
def test_a_job_reads_back_what_it_was_handed():
    made, _ = project()
    job = jobs.job(jobs.given(made, "tie", "tables", "f1", "s3"), "f1", "s3")
    assert job.survey_row["flown_on"].isoformat() == "2026-10-01" and job.order == ("s2", "s1") and job.tables_dir == "tables"


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("text", "expected"),
    [("", "an empty file"), ("a;b\n1;2\n", "semicolons"), ("a\tb\n1\t2\n", "tabs between the columns"), ("a,b\n1,2,3\n", "found 3 cells"),
     ('a,b\n1,2\n"3,4\n5,6\n', "t.csv, row 3, column a: found a double quote that is not closed"),
     ('a,b\n1,"2\n3,4\n5,"6\n7,8\n', "row 2, column b"), ('a,b\n1,"2', "row 2, column b: found a double quote"), ('a,b\n1,"two\nlines"\n', "row 2, column b")],
)  # fmt: skip
def test_a_text_that_is_no_table_is_said_so(text, expected):
    with pytest.raises(BadInput, match=expected):
        parse_rows(text, "t.csv")


@pytest.mark.analytic
def test_a_quote_within_a_cell_closes_nothing():
    assert parse_rows('a,b\n5" pipe,"say ""so"", or not"\n', "t.csv").rows == ((2, {"a": '5" pipe', "b": 'say "so", or not'}),)


@pytest.mark.analytic
def test_a_table_in_another_alphabet_of_bytes_is_named(tmp_path):
    for codec, words in (("utf-16-le", "NUL bytes"), ("utf-16", "not UTF-8"), ("latin-1", "not UTF-8")):
        (tmp_path / "t.csv").write_bytes("a,b\n1,\u00e9\n".encode(codec) if codec != "utf-16-le" else "a,b\n1,2\n".encode(codec))
        with pytest.raises(BadInput, match=words):
            read_rows(tmp_path / "t.csv")


@pytest.mark.analytic
def test_cells_are_printed_as_the_contract_says():
    assert [cell(v, k) for v, k in [(1.23456, "m"), (1.26, "mm"), (-0.04, "mm"), (float("nan"), "mm"), (None, "word"), (True, "flag"), (3, "count")]] == [
        "1.235", "1.3", "0.0", "", "", "true", "3"
    ]  # fmt: skip


@pytest.mark.invariant
def test_a_result_table_is_sorted_by_its_keys_and_reads_back(tmp_path):
    rows = [{"from_survey": "a", "to_survey": "b", "edge_id": "outer", "station_m": s, "growth_mm": 1.0, "growth_sigma_mm": 0.5, "detected": False} for s in (None, 12.5, 2.5)]
    write(tmp_path / "lip_change.csv", "lip_change", rows)
    assert [r["station_m"] for r in read(tmp_path / "lip_change.csv", "lip_change")] == [2.5, 12.5, None]
    with pytest.raises(ValueError, match="no column"):
        write(tmp_path / "x.csv", "lip_change", [{"growht_mm": 1}])
