"""config.yaml: the schema file is the code's, the template loads, faults are named."""

from __future__ import annotations

import json
import runpy
from pathlib import Path

import pytest

from pipeline.errors import BadInput
from pipeline.settings import Config, from_handed, handed, of_field
from pipeline.store.config import load, read_config

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.invariant
def test_the_schema_file_is_the_one_the_code_makes():
    made = runpy.run_path(str(ROOT / "config" / "make_schema.py"))["schema"]()
    assert (ROOT / "config" / "schema.json").read_text() == made, "run: .venv/bin/python config/make_schema.py"


@pytest.mark.invariant
def test_the_template_is_a_project_that_loads():
    project, _ = load(ROOT / "config" / "templates")
    assert project.fields == {}


@pytest.mark.invariant
def test_every_key_of_the_config_says_what_it_is():
    undescribed = [n for n, f in Config.model_fields.items() if isinstance(f.default, (str, int, float)) and not f.description]
    assert not undescribed


@pytest.mark.invariant
def test_a_job_is_handed_its_own_section_and_no_other():
    config = Config(measure={"error_fields": 30}, grid={"cover_min_pct": 50})
    plain = handed(config, "measure")
    assert plain["measure"]["error_fields"] == 30 and "grid" not in plain
    assert from_handed(json.loads(json.dumps(plain))).measure == config.measure


@pytest.mark.invariant
def test_what_is_said_of_other_fields_can_be_left_out():
    signed = {"set_by": "A", "set_on": "2026-01-01"}
    config = Config(tolerances={"lip_mm": {"value": 25, "fields": {"moth": 30, "heron": 20}, **signed}}, grading={"form": "plane", "fields": {"moth": {"form": "crown"}}, **signed})
    plain = handed(config, "history")
    assert of_field(plain, "moth")["tolerances"]["lip_mm"]["fields"] == {"moth": 30.0} and "crown" in str(of_field(plain, "moth")["grading"])
    assert from_handed(of_field(plain, "heron")).grading.fields == {} and plain["grading"]["fields"]


def faults(tmp_path: Path, text: str) -> list[str]:
    (tmp_path / "config.yaml").write_text(text)
    return [str(p) for p in read_config(tmp_path / "config.yaml")[1]]


@pytest.mark.analytic
def test_an_unknown_key_is_named_with_its_line_and_a_likely_word(tmp_path):
    (said,) = faults(tmp_path, "units: us\ngrid:\n  cover_min_pt: 50\n")
    assert said.startswith("config.yaml, row 3, column grid.cover_min_pt") and "'cover_min_pct'" in said


@pytest.mark.analytic
def test_a_tolerance_without_an_owner_is_asked_for(tmp_path):
    (said,) = faults(tmp_path, "tolerances:\n  lip_mm: {value: 25, set_on: 2026-01-01}\n")
    assert "lip_mm.set_by" in said and "who set" in said


@pytest.mark.analytic
def test_a_bare_figure_takes_its_sections_signature():
    config = Config(material={"loose_t_per_m3": 1.4, "set_by": "A. Owner", "set_on": "2026-01-01"})
    assert (config.material.loose_t_per_m3.value, config.material.loose_t_per_m3.set_by) == (1.4, "A. Owner")


@pytest.mark.analytic
@pytest.mark.parametrize("text", ["a: [1,", "- 1\n- 2\n", "units: [us]\n", "cell_size_m: x\n"])
def test_broken_yaml_is_a_sentence_and_not_a_crash(tmp_path, text):
    assert len(faults(tmp_path, text)) == 1


@pytest.mark.analytic
def test_all_faults_of_config_and_tables_come_at_once(tmp_path):
    (tmp_path / "config.yaml").write_text("unitz: us\n")
    (tmp_path / "fields.csv").write_text("field_id,crs\nA b,EPSG:6564\n")
    (tmp_path / "surveys.csv").write_text("survey_id,flown_on,fields,path,source\ns1,2026-02-30,x,a.laz,lidar\n")
    with pytest.raises(BadInput) as caught:
        load(tmp_path)
    assert {p.file for p in caught.value.problems} == {"config.yaml", "fields.csv", "surveys.csv", "works.csv"}


SIGNED = "set_by: A, set_on: 2026-01-01"


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("lip_mm: {value: 0, SIGNED}", ["row 2, column tolerances.lip_mm.value: found 0; expected a figure from 3 to 300 mm", "unit"]),
        ("lip_mm: {value: .nan, SIGNED}", ["found nan; expected a number"]),
        ("lip_mm: {value: .inf, SIGNED}", ["found inf; expected a number"]),
        ("lip_mm: {value: 25000, SIGNED}", ["found 25000; expected a figure from 3 to 300 mm"]),
        ("low_spot_mm: {value: -20, SIGNED}", ["found -20; expected a figure from 3 to 300 mm"]),
        ("lip_mm: {value: yes, SIGNED}", ["found True; expected a figure from 3 to 300 mm"]),
        ("lip_mm: {value: 25, SIGNED, fields: {moth: 0.025}}", ["tolerances.lip_mm.fields.moth: found 0.025"]),
        ("straightedge_length_m: {value: 3000, SIGNED}", ["expected a figure from 0.5 to 10 m"]),
        ("lip_mm: 25", ["found 25; expected {value: ..., set_by: ..., set_on: ...}"]),
        ("lip_mm: {value: 25, set_on: 2026-01-01}", ["set_by: found nothing; expected a name"]),
        ("lip_mm: {value: 25, set_by: A, set_on: 2026-02-30}", ["row 2", "set_on: found '2026-02-30'; expected a date like 2026-03-01"]),
    ],
)
def test_a_tolerance_that_can_be_none_is_named_in_plain_words(tmp_path, text, says):
    (said,) = faults(tmp_path, "tolerances:\n  " + text.replace("SIGNED", SIGNED) + "\n")
    assert all(words in said for words in says), said


@pytest.mark.analytic
def test_a_key_that_stands_twice_is_named_once_wherever_it_stands(tmp_path):
    said = faults(tmp_path, f"units: us\ntolerances:\n  lip_mm: {{value: 25, {SIGNED}}}\n  lip_mm: {{value: 20, {SIGNED}}}\nunits: metric\n")
    assert said == [
        "config.yaml, row 4, column tolerances.lip_mm: found the key again (first in row 3); expected each key once. Remove one of them. [key-twice]",
        "config.yaml, row 5, column units: found the key again (first in row 1); expected each key once. Remove one of them. [key-twice]",
    ]


JARGON = ("input should", "field required", "dictionary", "instance of", "found found", "cannot start any token", "block", "node", "stream", "parse")


@pytest.mark.analytic
@pytest.mark.parametrize(
    "text",
    ["units: usa\n", "results: 5\n", "budget: 3\n", "material: 4\n", "plan: {years: 50, first_year: x}\n", "grid: {cover_min_pct: x}\n", "random_seed: 1.5\n",
     "machines: {g: {width_m: -1, set_by: A, set_on: 2026-01-01}}\n", "\tunits: us\n", "units: 'us\n", "a: b: c\n", "a: [1\n", "x: *a\n", "!x\n", "[a]: 3\n",
     "x: &a [*a]\n", "crew: {working_days: mon}\n", "report: {title: [a]}\n", "tolerances: {lip_mm: [1]}\n", "a: 1\n b: 2\n", "- a\nb: 1\n", "%x\n", "a: @b\n"],
)  # fmt: skip
def test_no_reader_s_own_words_reach_the_operator(tmp_path, text):
    said = faults(tmp_path, text)
    assert said and not [line for line in said for word in JARGON if word in line.lower()], said


def project(tmp_path: Path, config: str = "", fields: str = "", surveys: str = "") -> Path:
    for name in ("fields", "surveys", "works"):
        (tmp_path / f"{name}.csv").write_text((ROOT / "config" / "templates" / f"{name}.csv").read_text() + {"fields": fields, "surveys": surveys}.get(name, ""))
    (tmp_path / "config.yaml").write_text(config)
    return tmp_path


def problems(folder: Path) -> list[str]:
    with pytest.raises(BadInput) as caught:
        load(folder)
    return [str(p) for p in caught.value.problems]


@pytest.mark.analytic
@pytest.mark.parametrize("fields", ["", "moth: 10"])
def test_a_trip_limit_under_its_tolerance_is_named_with_its_line(tmp_path, fields):
    trip = 20 if not fields else 50
    config = f"tolerances:\n  lip_mm: {{value: 25, {SIGNED}}}\n  lip_trip_mm: {{value: {trip}, {SIGNED}, fields: {{{fields}}}}}\n"
    field = "moth,EPSG:6565,softball-60,2058597.917,275757.979,2058669.876,275802.944,,,\n"
    (said,) = problems(project(tmp_path, config, field))
    assert said.startswith("config.yaml, row 3, column tolerances.lip_trip_mm: found ") and "25 or more, as lip_mm is" in said


@pytest.mark.analytic
def test_results_that_would_stand_in_a_file_s_place_are_named(tmp_path):
    (said,) = problems(project(tmp_path, "units: us\nresults: fields.csv\n"))
    assert said.startswith("config.yaml, row 2, column results: found 'fields.csv', a file")


@pytest.mark.analytic
def test_a_table_of_fields_that_cannot_be_read_is_the_only_fault(tmp_path):
    folder = project(tmp_path, "", "", "s1,2026-04-01,moth,a.laz,lidar,,,,,,,,\n")
    (folder / "fields.csv").write_text("field_id;crs\nmoth;EPSG:6565\n")
    (said,) = problems(folder)
    assert "semicolons" in said


@pytest.mark.invariant
def test_the_rows_that_the_first_hour_shows_are_good_ones(tmp_path):
    shown = (ROOT / "docs" / "first-hour.md").read_text().split("```csv\n")[1].split("```")[0]
    fields, surveys = (part for part in "\n".join(line.strip() for line in shown.splitlines()).strip().split("\n\n"))
    for name, text in (("fields", fields), ("surveys", surveys)):
        assert text.splitlines()[0] == (ROOT / "config" / "templates" / f"{name}.csv").read_text().strip()
    project(tmp_path, "", fields.splitlines()[1] + "\n", surveys.splitlines()[1] + "\n")
    assert list(load(tmp_path)[0].surveys) == ["moth-2026-04"]
